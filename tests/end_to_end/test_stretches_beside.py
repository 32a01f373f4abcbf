"""A second position of the rows that is off by one vector for a while, and no mark that says which is right."""

from pathlib import Path

import pytest
from pyproj import Transformer
from running import Row, record_of, rewrite_export
from simulate import Plan, simulate

from pipeline.issue.record_types import Record

PLAN = Plan(sessions=1, points=60, ties=1, checks=4, marks=4)
#: Metres to the east by which the second position is off.
OFF = 0.62


def judged(folder: Path, first: int, last: int, marks: bool = False, code: int = 0, shift: bool = False) -> Record:
    """Return the record of a day whose points from the first to the last of these have another second position."""
    job = simulate(PLAN)
    if shift:
        start = job.job["session"][0]["start"]
        job.job["session"][0]["field_shift"] = {"from": start, "east": 0.0, "north": 0.0, "up": 0.0}
    path = job.write(folder)
    to_grid = Transformer.from_crs("EPSG:4959", "EPSG:2193", always_xy=True)
    at = 0

    def beside(row: Row) -> Row:
        nonlocal at
        at += 1
        east, north = to_grid.transform(float(row["Lon"]), float(row["Lat"]))
        on_mark = row["Code"] in ("TIE", "CHK") or "-T" in row["Point"] or "-C" in row["Point"]
        off = OFF if first <= at <= last and (marks or not on_mark) else 0.0
        return {**row, "East": f"{east + off:.4f}", "North": f"{north:.4f}"}

    rewrite_export(folder / "rover001.csv", beside)
    return record_of(path, code)


def test_a_quarter_of_the_day_is_in_doubt(tmp_path: Path) -> None:
    record = judged(tmp_path, 20, 35, code=3)
    (doubt,) = record["doubts"]
    assert doubt["kind"] == "place" and "in 16 rows (rows 21 to 36)" in doubt["what"]
    assert "one vector of 0.62 m" in doubt["what"] and 'not_measured = ["East", "North"]' in doubt["what"]


def test_five_rows_are_a_note(tmp_path: Path) -> None:
    record = judged(tmp_path, 20, 24)
    told = [note for note in record["notes"] if "one vector" in note]
    assert record["doubts"] == [] and len(told) == 1 and "in 5 rows (rows 21 to 25)" in told[0]


@pytest.mark.parametrize(("first", "last"), [(30, 999), (1, 30), (999, 999), (1, 999)])
def test_a_calibration_to_the_end_of_the_day_or_from_its_start_is_how_crews_work(
    first: int, last: int, tmp_path: Path
) -> None:
    record = judged(tmp_path, first, last, marks=True)
    assert record["doubts"] == [] and not any("one vector" in note for note in record["notes"])


def test_a_stated_field_shift_says_why(tmp_path: Path) -> None:
    record = judged(tmp_path, 20, 35, shift=True)
    assert record["doubts"] == [] and not any("one vector" in note for note in record["notes"])
