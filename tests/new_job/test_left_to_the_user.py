"""What no job file can say: told with what to do, instead of a question whose answers are all refused."""

import os
from pathlib import Path

import pytest
from folders_made import job_of, lay, write

from pipeline.new_job import new_job
from pipeline.problems import JobError

_HEADS = {"name": "Point", "latitude": "Lat", "longitude": "Lon", "height": "EllHt", "solution": "Sol"}


@pytest.mark.parametrize("holds", [False, True])
def test_a_register_without_heights_is_told_unless_its_marks_hold_position_only(holds: bool, tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    lines = ["mark,easting,northing" + (",holds" if holds else "")]
    for mark, east, north in zip(*(job.register[word] for word in ("mark", "easting", "northing")), strict=True):
        lines.append(f"{mark},{east:.4f},{north:.4f}" + (",position" if holds else ""))
    (tmp_path / "control.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    write(tmp_path / "rover.csv", job, {**_HEADS, "time": "Time (UTC)"})
    assert any("has no heights" in note for note in new_job(tmp_path).notes) is not holds


def test_the_question_after_the_foot_says_that_a_grid_in_metres_takes_none(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    heads = {"name": "Point", "easting": "Easting ft", "northing": "Northing ft", "height": "EllHt ft", "time": "Time"}
    write(tmp_path / "rover.csv", job, heads)
    (asked,) = (one.question for one in new_job(tmp_path).asked if one.question.key == "units")
    assert "export them in metres" in asked.asks


@pytest.mark.skipif(os.name == "nt", reason="such a path is one there")
def test_a_folder_of_windows_that_is_not_there_is_said_to_be_one() -> None:
    with pytest.raises(JobError, match="path of Windows"):
        new_job(Path(r"D:\jobs\site"))
