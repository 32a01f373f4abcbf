"""Folders with many files, or many folders deep: nothing that was not looked at goes unsaid."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from folders_made import job_of, lay, write

from pipeline import run_job
from pipeline.new_job import folder_files, new_job
from pipeline.problems import JobError

_HEADS = {"name": "Point", "latitude": "Lat", "longitude": "Lon", "height": "Ell Ht", "time": "Time UTC",
          "solution": "Solution", "code": "Code", "base": "Base"}  # fmt: skip


@pytest.fixture
def _few(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    monkeypatch.setattr(folder_files, "NEW_FILES", 4)
    monkeypatch.setattr(folder_files, "NEW_DEEP", 3)
    yield


def _lay(folder: Path, *places: str) -> None:
    job = job_of()
    lay(folder, job)
    for place in places:
        (folder / place).parent.mkdir(parents=True, exist_ok=True)
        write(folder / place, job, _HEADS, time="%Y-%m-%d %H:%M:%S")


def _photos(folder: Path, count: int) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    for number in range(count):
        (folder / f"IMG_{number:04}.jpg").touch()


@pytest.mark.usefixtures("_few")
def test_photographs_do_not_count_and_are_told_in_one_line(tmp_path: Path) -> None:
    _photos(tmp_path / "day1/photos", 30)
    _photos(tmp_path, 40)
    _lay(tmp_path, "day2/rover.csv")
    started = new_job(tmp_path)
    assert ("day2/rover.csv", "export") in [(name, role) for name, role, _ in started.files]
    (photos,) = [name for name, _, _ in started.files if "jpg" in name]
    assert photos.startswith("70 files .jpg from ")
    assert not [one for one in started.asked if one.question.key == "files"]


def test_few_files_of_a_format_are_told_one_by_one(tmp_path: Path) -> None:
    _photos(tmp_path, 2)
    _lay(tmp_path, "rover.csv")
    assert [name for name, _, _ in new_job(tmp_path).files if "jpg" in name] == ["IMG_0000.jpg", "IMG_0001.jpg"]


def test_an_export_in_folders_of_month_day_crew_and_rover_is_found(tmp_path: Path) -> None:
    _lay(tmp_path, "2026/03/18/crew B/rover 2/export/rover.csv")
    assert "export" in [role for _, role, _ in new_job(tmp_path).files]


@pytest.mark.usefixtures("_few")
@pytest.mark.parametrize(
    ("places", "said"),
    [
        (("a/r.csv", "b/r.csv", "c/r.csv", "d/r.csv"), "left out: c (1 file), d (1 file)"),
        (("a/r.csv", "a/b/c/d/e/r.csv"), "left out: a/b/c/d"),
    ],
)
def test_what_a_limit_cuts_off_is_named_and_stops_the_job_until_it_is_decided(
    places: tuple[str, ...], said: str, tmp_path: Path
) -> None:
    _lay(tmp_path, *places)
    started = new_job(tmp_path)
    (asks,) = [one.question.asks for one in started.asked if one.question.key == "files"]
    assert said in asks
    with pytest.raises(JobError, match="this question is still open: not all was looked at"):
        run_job(Path(started.path), dry_run=True)


@pytest.mark.usefixtures("_few")
def test_no_export_is_not_said_of_what_was_not_looked_at(tmp_path: Path) -> None:
    for number in range(5):
        (tmp_path / f"{number}.csv").write_text("a,b\n1,2\n", encoding="utf-8")
    _lay(tmp_path, "day/rover.csv")
    with pytest.raises(JobError, match=r"looked at.*left out: this folder \(3 files\), day \(1 file\)"):
        new_job(tmp_path)
