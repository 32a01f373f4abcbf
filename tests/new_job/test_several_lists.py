"""A folder with a list of sessions for each day, and with files of an issue that somebody copied beside the exports."""

import shutil
from pathlib import Path

from answered import answer
from folders_made import HEIGHT, job_of, lay, write

from pipeline import run_job
from pipeline.new_job import new_job

_HEADS = {"name": "Point", "latitude": "Latitude", "longitude": "Longitude", "height": "Ellipsoidal height",
          "time": "Time (UTC)", "solution": "Solution", "base": "Base", "code": "Code"}  # fmt: skip
_FORM = "%Y-%m-%dT%H:%M:%SZ"


def _list(path: Path, *places: int) -> None:
    sessions = [job_of().job["session"][place] for place in places]
    rows = [f"{each['name']},{each['base']},{each['start']:{_FORM}},{each['end']:{_FORM}}" for each in sessions]
    path.write_text("\n".join(["Session,Base,Start,End", *rows]) + "\n", encoding="utf-8")


def _laid(folder: Path) -> None:
    job = job_of()
    lay(folder, job)
    write(folder / "rover.csv", job, _HEADS)


def test_lists_of_different_days_are_taken_together(tmp_path: Path) -> None:
    _laid(tmp_path)
    _list(tmp_path / "monday.csv", 0)
    _list(tmp_path / "tuesday.csv", 1)
    started = new_job(tmp_path)
    roles = {one[0]: one[1] for one in started.files}
    assert roles["monday.csv"] == roles["tuesday.csv"] == "sessions"
    page = Path(started.path).read_text(encoding="utf-8")
    assert "# monday.csv:2, " in page and "# tuesday.csv:2, " in page
    answer(Path(started.path), HEIGHT)
    record = run_job(started.path).record
    assert record["verdict"] == "proven" and len(record["sessions"]) == 2


def test_of_lists_that_say_the_same_base_ran_at_once_the_first_is_taken(tmp_path: Path) -> None:
    _laid(tmp_path)
    _list(tmp_path / "a.csv", 0, 1)
    _list(tmp_path / "b.csv", 1)
    told = {one[0]: one[1:] for one in new_job(tmp_path).files}
    assert told["a.csv"][0] == "sessions"
    assert told["b.csv"] == ("neither", "seems to be a list of sessions, but a.csv is one too, which is used")


def test_files_of_an_issue_beside_the_exports_are_no_exports(tmp_path: Path) -> None:
    (tmp_path / "job").mkdir()
    _laid(tmp_path / "job")
    started = new_job(tmp_path / "job")
    page = Path(started.path).read_text(encoding="utf-8")
    Path(started.path).write_text(page + '\n[issue]\nformats = ["gpkg", "csv", "geojson"]\n', encoding="utf-8")
    answer(Path(started.path), HEIGHT)
    run_job(started.path)
    again = tmp_path / "again"
    again.mkdir()
    _laid(again)
    issued = [path for path in (tmp_path / "job" / "out" / "issues" / "001").iterdir()
              if path.suffix in (".gpkg", ".csv", ".geojson")]  # fmt: skip
    for path in issued:
        shutil.copy(path, again)
    told = {name: (role, why) for name, role, why in new_job(again).files}
    points = [path.name for path in issued if "held" not in path.name and "check" not in path.name]
    assert points
    for name in points:
        assert told[name][0] == "neither" and "of an issue, not raw readings" in told[name][1]
    assert [name for name, (role, _) in told.items() if role in ("export", "register")] == ["control.csv", "rover.csv"]
