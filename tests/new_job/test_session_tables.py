"""A table of sessions in the folder is used whatever its times look like; their clock is asked where none is said."""

import datetime as dt
from pathlib import Path

import numpy as np
import openpyxl
import pytest
from answered import answer
from folders_made import HEIGHT, NZ, job_of, lay, write
from issued import current_issue
from simulate_files import write_sessions

from pipeline import run_job
from pipeline.new_job import new_job

_HEADS = {"name": "Point", "latitude": "Latitude", "longitude": "Longitude", "height": "Ellipsoidal height",
          "time": "Time (UTC)", "solution": "Solution", "base": "Base", "code": "Code"}  # fmt: skip


def laid(folder: Path, hours: int, time: str = "%Y-%m-%dT%H:%M:%SZ") -> None:
    """Lay a job with a table of sessions on a clock so many hours east, which it does not say."""
    job = job_of()
    lay(folder, job)
    write_sessions(job.job["session"], folder / "sessions.csv")
    lines = (folder / "sessions.csv").read_text(encoding="utf-8").splitlines()
    for number, session in enumerate(job.job["session"], start=1):
        for word in ("start", "end"):
            local = np.datetime64(session[word].replace(tzinfo=None)) + np.timedelta64(hours, "h")
            lines[number] = lines[number].replace(session[word].isoformat(), str(local.astype("datetime64[s]")))
    assert "+" not in "".join(line.split("=")[0] for line in lines)
    (folder / "sessions.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    write(folder / "rover.csv", job, _HEADS, time=time)


@pytest.mark.parametrize(("hours", "zone"), [(13, NZ), (0, '"UTC"')])  # daylight saving time in March
@pytest.mark.parametrize("time", ["%Y-%m-%dT%H:%M:%SZ", "%Y-%m-%d %H:%M:%S"])
def test_the_clock_of_a_table_without_offsets_is_asked_and_comes_to_the_truth(
    hours: int, zone: str, time: str, tmp_path: Path
) -> None:
    laid(tmp_path, hours, time)
    started = new_job(tmp_path)
    (asked,) = (one.question for one in started.asked if one.question.key == "source.time_zone")
    assert "sessions.csv" in asked.asks and asked.candidates[0].value == zone  # the sessions hold all readings then
    answer(Path(started.path), {"source.time_zone": zone, **HEIGHT})
    outcome = run_job(started.path)
    issue = current_issue(tmp_path / "out")
    known = np.array([job_of().truth.of(row["name"]) for row in issue.points.rows])
    assert outcome.record["verdict"] == "proven"
    assert np.abs(issue.points.xyz() - known).max() < 0.001


def test_where_the_exports_clock_is_asked_the_table_is_named_with_it(tmp_path: Path) -> None:
    laid(tmp_path, 0)
    text = (tmp_path / "rover.csv").read_text(encoding="utf-8").replace("Z,", ",").replace("Time (UTC)", "Time")
    (tmp_path / "rover.csv").write_text(text, encoding="utf-8")
    (asked,) = (one.question for one in new_job(tmp_path).asked if "time_zone" in one.question.key)
    assert "sessions.csv" in asked.asks and '"Time"' in asked.asks


@pytest.mark.parametrize(
    ("rows", "told"),
    [
        ("name,start,end\nmorning,2026-03-19T19:00Z,\n", "sessions.csv:2: the column 'end' is empty"),
        ("name,start,end\nmorning,soon,2026-03-19T23:00Z\n", "sessions.csv:2: the column 'start' holds 'soon'"),
        ("name,start,end\na,2026-03-19T19:00Z,2026-03-19T20:00Z\na,2026-03-19T20:00Z,2026-03-19T23:00Z\n",
         "sessions.csv:3: there is a session 'a' already"),
        ("name,start,end,end\na,2026-03-19T19:00Z,2026-03-19T20:00Z,\n", "the column 'end' appears twice"),
        ("name,start,end\nm\udcfcde,2026-03-19T19:00Z,2026-03-19T20:00Z\n", "sessions.csv:2: this is not UTF-8 text"),
        ("name,start,end\n", "there is no session in this table"),
        ("name,start,end,epoch\na,2026-03-19T19:00Z,2026-03-19T23:00Z,2026.2\n", "no column ties"),
        ("name,start,end\na,2026-03-29T19:00Z,2026-03-29T23:00Z\n", "no reading lies in a session"),
    ],
)  # fmt: skip
def test_a_table_that_is_not_as_it_should_be_is_named_and_told(rows: str, told: str, tmp_path: Path) -> None:
    laid(tmp_path, 0)
    (tmp_path / "sessions.csv").write_bytes(rows.encode("utf-8", "surrogateescape"))
    started = new_job(tmp_path)
    page = Path(started.path).read_text(encoding="utf-8")
    assert '[sessions]\nfile = "sessions.csv"' in page and "[[session]]" not in page
    assert any(told in note for note in started.notes)


def test_of_two_tables_it_is_asked_which(tmp_path: Path) -> None:
    laid(tmp_path, 0)
    (tmp_path / "log.csv").write_bytes((tmp_path / "sessions.csv").read_bytes() + b"\n")  # not the same bytes
    asked = {one.question.key: one.question for one in new_job(tmp_path).asked}
    assert [each.value for each in asked["sessions.file"].candidates] == ['"log.csv"', '"sessions.csv"']


def test_a_spreadsheet_of_sessions_is_one_too(tmp_path: Path) -> None:
    laid(tmp_path, 13)
    book = openpyxl.Workbook()
    for number, line in enumerate((tmp_path / "sessions.csv").read_text(encoding="utf-8").splitlines()):
        cells: list[object] = list(line.split(","))
        if number:
            cells[1:3] = [dt.datetime.fromisoformat(str(cell)) for cell in cells[1:3]]
        book.active.append(cells)
    book.save(tmp_path / "log.xlsx")
    (tmp_path / "sessions.csv").unlink()
    started = new_job(tmp_path)
    assert ("log.xlsx", "sessions") in [one[:2] for one in started.files]
    answer(Path(started.path), {"source.time_zone": NZ, **HEIGHT})
    assert run_job(started.path).record["verdict"] == "proven"


def test_an_export_with_start_and_end_of_each_reading_is_no_table_of_sessions(tmp_path: Path) -> None:
    laid(tmp_path, 0)
    (tmp_path / "sessions.csv").unlink()
    lines = (tmp_path / "rover.csv").read_text(encoding="utf-8").splitlines()
    head = lines[0].replace("Point", "name").replace("Time (UTC)", "start") + ",end"
    at = lines[0].split(",").index("Time (UTC)")
    rows = [f"{line},{line.split(',')[at]}" for line in lines[1:]]
    (tmp_path / "rover.csv").write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    assert ("rover.csv", "export") in [one[:2] for one in new_job(tmp_path).files]


def _listed(folder: Path, heads: str, form: str = "%Y-%m-%dT%H:%M:%SZ") -> None:
    """Write when which base ran as a list of its own, in UTC; a column is the name, the base, the start or the end."""
    rows = [
        ",".join(
            {"n": each["name"], "b": each["base"], "s": f"{each['start']:{form}}", "e": f"{each['end']:{form}}"}[letter]
            for letter in heads.split(":")[0]
        )
        for each in job_of().job["session"]
    ]
    (folder / "sessions.csv").write_text("\n".join([heads.split(":")[1], *rows]) + "\n", encoding="utf-8")


@pytest.mark.parametrize(
    ("heads", "form"),
    [
        ("nseb:name,start,end,base", "%Y-%m-%dT%H:%M:%SZ"),
        ("nse:name,start,end", "%Y-%m-%dT%H:%M:%SZ"),
        ("nbse:Session,Base,Start,End", "%Y-%m-%dT%H:%M:%SZ"),
        ("bse:Base,Start,End", "%Y-%m-%dT%H:%M:%SZ"),
        ("nse:Session,Start time (UTC),End time (UTC)", "%Y-%m-%d %H:%M:%S"),
        ("nbse:Sitzung,Basis,Beginn (UTC),Ende (UTC)", "%d.%m.%Y %H:%M"),
        ("bse:Tukiasema,Alku,Loppu", "%Y-%m-%dT%H:%M:%SZ"),
    ],
)
def test_a_table_without_ties_gives_its_sessions_and_the_readings_their_ties(
    heads: str, form: str, tmp_path: Path
) -> None:
    """The table says when which base ran, and the folder is proven as it is without it: two lists of one truth."""
    laid(tmp_path, 0)
    _listed(tmp_path, heads, form)
    started = new_job(tmp_path)
    assert ("sessions.csv", "sessions") in [one[:2] for one in started.files]
    page = Path(started.path).read_text(encoding="utf-8")
    assert "[sessions]" not in page and "sessions.csv" in page
    answer(Path(started.path), HEIGHT)
    outcome = run_job(started.path)
    assert outcome.record["verdict"] == "proven"
    starts = {each["start"] for each in outcome.record["sessions"]}
    assert len(starts) == len(job_of().job["session"])


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("Session,Start,End\nall,2026-03-19T05:00:00Z,2026-03-23T17:00:00Z\n", "no base for session all"),
        ("Session,Start,End\n{0}{0}", "in two of its sessions at once"),
        ("Session,Start,End\n{0}", "in none of its sessions"),
    ],
)
def test_a_list_that_says_less_than_the_readings_is_not_used(text: str, told: str, tmp_path: Path) -> None:
    """One row over both bases, one twice, and the list of one day beside two: drafted is what is without a list."""
    laid(tmp_path, 0)
    first = job_of().job["session"][0]
    row = f"a,{first['start']:%Y-%m-%dT%H:%M:%SZ},{first['end']:%Y-%m-%dT%H:%M:%SZ}\n"
    (tmp_path / "sessions.csv").write_text(text.format(row), encoding="utf-8")
    started = new_job(tmp_path)
    (note,) = [note for note in started.notes if "is not used as a table of sessions" in note]
    assert told in note
    ((role, why),) = [one[1:] for one in started.files if one[0] == "sessions.csv"]
    assert role == "neither" and told in why and "not used" in why
    answer(Path(started.path), HEIGHT)
    assert run_job(started.path).record["verdict"] == "proven"


def test_a_list_with_one_date_for_each_session_may_go_over_midnight(tmp_path: Path) -> None:
    """By a clock on which the work begins in the evening and ends on the next day, as a night shift on a road does."""
    laid(tmp_path, 0)
    first = min(each["start"] for each in job_of().job["session"])
    ahead = (23 - first.hour) % 24
    zone = dt.timezone(dt.timedelta(hours=ahead - 24 if ahead > 12 else ahead))
    hours = ahead - 24 if ahead > 12 else ahead
    rows = []
    for each in job_of().job["session"]:
        since, until = (each[word].astimezone(zone) for word in ("start", "end"))
        rows.append(f"{each['name']},{each['base']},{since:%Y-%m-%d},{since:%H:%M:%S},{until:%H:%M:%S}\n")
    assert any(row.split(",")[4] < row.split(",")[3] for row in rows)
    heads = f"Session,Base,Date,Start [UTC{hours:+03.0f}:00],End [UTC{hours:+03.0f}:00]\n"
    (tmp_path / "sessions.csv").write_text(heads + "".join(rows), encoding="utf-8")
    started = new_job(tmp_path)
    assert ("sessions.csv", "sessions") in [one[:2] for one in started.files]
    answer(Path(started.path), HEIGHT)
    outcome = run_job(started.path)
    assert outcome.record["verdict"] == "proven"
    assert len(outcome.record["sessions"]) == len(job_of().job["session"])


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("Session,Base,Start,End\na,BS1,07:21,08:00\n", "holds times of day"),
        ("Session,Base,Start,End\na,BS1,2026-03-19T20:00Z,2026-03-19T19:00Z\n", "no start and end in this order"),
        ("Session,Base,Start,End,Ties\na,BS1,2026-03-19T19:00Z,2026-03-19T20:00Z,CM1\n", "ties and checks"),
    ],
)
def test_a_list_that_cannot_be_used_is_told_what_to_call_its_columns(text: str, told: str, tmp_path: Path) -> None:
    laid(tmp_path, 0)
    (tmp_path / "sessions.csv").write_text(text, encoding="utf-8")
    ((role, why),) = [one[1:] for one in new_job(tmp_path).files if one[0] == "sessions.csv"]
    assert role == "neither" and "list of sessions" in why and told in why and "name, start, end" in why
    assert "easting" not in why
