"""Cells of one column pasted over others are told with both rows, in plan as a doubt; no check need be near them."""

from pathlib import Path

import numpy as np
import pytest
from running import record_of
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate

PASTED = "as where a spreadsheet pasted cells of that column over others"


def day(seed: int = 1) -> Simulation:
    return simulate(Plan(sessions=1, points=60, checks=3, place=ELLIPSOIDAL, seed=seed))


@pytest.mark.parametrize("column", ["latitude", "longitude"])
def test_pasted_cells_are_a_doubt_with_both_rows(column: str, tmp_path: Path) -> None:
    job = day()
    job.rows[column][30:36] = job.rows[column][10:16]
    record = record_of(job.write(tmp_path), code=3)
    (doubt,) = record["doubts"]
    assert doubt["what"].startswith(f"rover001.csv:32: 6 rows in a row (to row 37) have the {column}s of rows 12 to 17")
    assert (doubt["kind"], doubt["sessions"]) == ("place", ["session-01"]) and record["verdict"] == "unchecked"


@pytest.mark.parametrize(("column", "count"), [("height", 6), ("latitude", 3)])
def test_heights_and_the_least_of_rows_are_noted(column: str, count: int, tmp_path: Path) -> None:
    """Heights recur by design."""
    job = day()
    job.rows[column][30 : 30 + count] = job.rows[column][10 : 10 + count]
    record = record_of(job.write(tmp_path))
    (note,) = (note for note in record["notes"] if PASTED in note)
    assert note.startswith(f"rover001.csv:32: {count} rows in a row (to row {31 + count}) have the {column}s of rows")
    assert record["doubts"] == []


@pytest.mark.parametrize("decimals", [2, 3])
def test_a_day_with_rounded_heights_is_not_noted(decimals: int, tmp_path: Path) -> None:
    job = day(2)
    job.rows["height"] = np.round(job.rows["height"], decimals)
    assert not [note for note in record_of(job.write(tmp_path))["notes"] if PASTED in note]
