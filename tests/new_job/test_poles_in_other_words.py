"""Columns of pole heights in other languages and orders of words: no candidates for heights, and asked after."""

from pathlib import Path

import pytest
from folders_made import cells, job_of, lay, write

from pipeline.new_job import new_job

_HEADS = {"name": "Point", "time": "Time UTC", "latitude": "Latitude", "longitude": "Longitude",
          "solution": "Solution", "base": "Base"}  # fmt: skip


@pytest.mark.parametrize("heading", ["Высота вехи", "Висота віхи", "杆高", "ポール高", "폴 높이", "Hauteur de canne"])
def test_pole_heights_are_offered_as_such_and_as_no_heights(heading: str, tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    up = [f"{float(text) + 1.9:.3f}" for text in cells(job, "height", lambda at: f"{at:%X}")]
    poles = ["2.000" if number < len(up) // 2 else "1.800" for number in range(len(up))]
    write(tmp_path / "rover.csv", job, _HEADS | {"up": "Antenna over all", "pole": heading},
          told={"up": up, "pole": poles})  # fmt: skip
    asked = {one.question.key: [each.value for each in one.question.candidates] for one in new_job(tmp_path).asked}
    assert asked["height"] == ['"Antenna over all"'] and asked["pole_height"] == [f'"{heading}"']


def test_lengths_as_of_poles_under_unknown_headings_come_last(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    up = cells(job, "height", lambda at: f"{at:%X}")
    poles = ["2.000" if number < len(up) // 2 else "1.800" for number in range(len(up))]
    write(tmp_path / "rover.csv", job, _HEADS | {"pole": "Quux", "up": "Frob"}, told={"up": up, "pole": poles})
    asked = {one.question.key: [each.value for each in one.question.candidates] for one in new_job(tmp_path).asked}
    assert asked["height"] == ['"Frob"', '"Quux"']
