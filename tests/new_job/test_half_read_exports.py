"""Exports of which all is known but their times, position or heights: a job file is written, and the rest is asked."""

import datetime as dt
import re
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from command import tiedown
from folders_made import cells, job_of, lay, write

from pipeline import check_job
from pipeline.new_job import new_job
from pipeline.problems import JobError

_HEADS = {"name": "Point", "latitude": "Latitude", "longitude": "Longitude", "height": "Ellipsoidal height",
          "solution": "Solution", "base": "Base", "code": "Code"}  # fmt: skip
#: A notation of times that is not read: a month by its name in a language that job files do not know.
_UNREAD = "%d mars %Y %H:%M:%S"
_Said = Callable[[dt.datetime], str]


def _written(folder: Path, heads: dict[str, str], **told: _Said) -> tuple[dict[str, Any], str, list[str]]:
    """Lay the folder; return the job file as it is, its text, and the keys that are asked."""
    job = job_of()
    lay(folder, job)
    write(folder / "rover.csv", job, heads, told={word: cells(job, "time", said) for word, said in told.items()})
    started = new_job(folder)
    text = Path(started.path).read_text("utf-8")
    return tomllib.loads(text), text, [one.question.key for one in started.asked]


def _seconds(at: dt.datetime) -> str:
    return str(float(3600 * at.hour + 60 * at.minute + at.second))


@pytest.mark.parametrize(
    ("heads", "told", "asked", "known"),
    [
        ({"d": "Date", "t": "Second count"}, {"d": lambda at: f"{at:%d.%m.%Y}", "t": _seconds}, "time",
         {"date": "Date"}),
        ({"d": "Date", "t": "Time UTC"}, {"d": lambda at: f"{at.year - 1911}/{at:%m/%d}", "t": lambda at: f"{at:%X}"},
         "date", {"time": "Time UTC"}),
        ({"d": "Date", "t": "Time UTC"}, {"d": lambda at: f"{at:%d/%m}/{at.year + 543}", "t": lambda at: f"{at:%X}"},
         "date", {"time": "Time UTC"}),
        ({"t": "Time UTC"}, {"t": lambda at: f"{at:{_UNREAD}}"}, "time", {}),
    ],
    ids=["seconds-of-day", "minguo", "buddhist", "french-month"],
)  # fmt: skip
def test_times_that_are_not_read_are_asked_and_all_else_is_filled_in(
    heads: dict[str, str], told: dict[str, _Said], asked: str, known: dict[str, str], tmp_path: Path
) -> None:
    made, text, keys = _written(tmp_path, _HEADS | heads, **told)
    (block,) = made["points"]
    assert {asked, "sessions"} <= set(keys) and asked not in block["columns"]
    assert known.items() <= block["columns"].items()
    assert {"name": "Point", "latitude": "Latitude", "longitude": "Longitude", "height": "Ellipsoidal height",
            "solution": "Solution", "base": "Base", "code": "Code"}.items() <= block["columns"].items()  # fmt: skip
    assert made["control"]["file"] == "control.csv" and "session" not in made
    # the grid is known from marks and readings alone, the ties from their names and places
    assert "EPSG:2193" in text and "# [[session]]" in text and "# ties = [{ point = " in text


def test_the_blocks_of_sessions_have_the_bases_and_ties_that_times_would_give(tmp_path: Path) -> None:
    """Readings come in order of time: the blocks are those of the same folder with times that are read."""
    (tmp_path / "a").mkdir()
    made, _, _ = _written(tmp_path / "a", _HEADS | {"t": "Time"}, t=lambda at: f"{at:%Y-%m-%dT%H:%M:%SZ}")
    (tmp_path / "b").mkdir()
    _, text, _ = _written(tmp_path / "b", _HEADS | {"t": "Time"}, t=lambda at: f"{at:{_UNREAD}}")
    behind = "\n".join(line[2:] for line in text[text.index("# [[session]]") :].splitlines() if line.startswith("# "))
    filled = behind.replace("start = ", "start = 2026-03-02T00:00:00Z").replace("end = ", "end = 2026-03-03T00:00:00Z")
    sketched = tomllib.loads(filled)["session"]
    assert [(one["base"], one["ties"]) for one in sketched] == [(one["base"], one["ties"]) for one in made["session"]]


def test_check_asks_for_what_is_open_and_the_command_ends_as_with_open_questions(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS | {"time": "Time"}, time=_UNREAD)
    result = tiedown("new", tmp_path)
    assert result.exit_code == 3 and "a month in a language other than" in result.output
    (path,) = tmp_path.glob("*.toml")
    with pytest.raises(JobError) as refused:
        check_job(path)
    said = [problem.what for problem in refused.value.problems]
    assert any("this question is still open: which column holds the times" in each for each in said)
    assert any("this question is still open: when did which base run" in each for each in said)


@pytest.mark.parametrize("timed", [True, False])
def test_positions_that_are_not_read_are_asked_and_sessions_come_from_the_times(timed: bool, tmp_path: Path) -> None:
    """Degrees and minutes in one number, with their hemispheres beside them, as receivers send them."""

    def packed(value: float, width: int) -> str:
        size = abs(value)
        return f"{int(size):0{width}d}{size % 1 * 60:010.7f}"

    job = job_of()
    lay(tmp_path, job)
    rows = job.rows
    told = {
        "name": [re.sub(r"S0\d-T1", "CM1", name) for name in rows["name"].tolist()],
        "lat": [packed(value, 2) for value in rows["latitude"]], "ns": ["S"] * len(rows["latitude"]),
        "lon": [packed(value, 3) for value in rows["longitude"]], "ew": ["E"] * len(rows["latitude"]),
    }  # fmt: skip
    heads = {"name": "Pt", "lat": "LatDDMM", "ns": "NS", "lon": "LonDDDMM", "ew": "EW", "height": "EllHgt",
             "solution": "Solution", "base": "Base", "time": "Time UTC"}  # fmt: skip
    form = "%Y-%m-%d %H:%M:%S" if timed else _UNREAD
    write(tmp_path / "rover.csv", job, heads, told=told, time=form)
    started = new_job(tmp_path)
    text = Path(started.path).read_text("utf-8")
    made = tomllib.loads(text)
    keys = [one.question.key for one in started.asked]
    assert "latitude" in keys and ("time" in keys) is not timed
    assert '# latitude = "LatDDMM"' in text and '# longitude = "LonDDDMM"' in text
    assert made["points"][0]["columns"] == {
        "name": "Pt",
        "height": "EllHgt",
        "solution": "Solution",
        "base": "Base",
    } | ({"time": "Time UTC"} if timed else {})
    assert len(made.get("session", [])) == (2 if timed else 0)
    assert not timed or made["session"][0]["ties"] == [{"point": "CM1", "mark": "CM1"}]  # by the names of marks


def test_beside_an_export_that_is_read_such_a_file_is_told_as_before(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    write(tmp_path / "rover.csv", job, _HEADS | {"time": "Time"})
    write(tmp_path / "other.csv", job, _HEADS | {"time": "Time"}, time=_UNREAD)
    started = new_job(tmp_path)
    assert {file: role for file, role, _ in started.files if file.endswith("r.csv")} == {
        "other.csv": "neither", "rover.csv": "export",
    }  # fmt: skip
    assert "time" not in [one.question.key for one in started.asked]


def test_registers_and_notes_alone_are_no_exports(tmp_path: Path) -> None:
    lay(tmp_path, job_of())
    (tmp_path / "dated.csv").write_text(
        "Mark,Easting,Northing,Height,Day of year,Year\nA1,1568031.910,5183174.797,45.180,70,2020\n"
        "A2,1567269.380,5183285.028,26.735,71,2020\nA3,1567817.716,5184016.706,44.453,72,2020\n",
        encoding="utf-8",
    )
    (tmp_path / "diary.csv").write_text(
        "Point,Remark,Time\nA1,windy,2026-070T07:42:10Z\nA2,trees,2026-070T08:42:10Z\nA3,none,2026-070T09:42:10Z\n",
        encoding="utf-8",
    )
    with pytest.raises(JobError, match="there is no export in this folder"):
        new_job(tmp_path)
    assert not list(tmp_path.glob("*.toml"))
