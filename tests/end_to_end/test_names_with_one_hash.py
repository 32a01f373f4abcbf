"""Points whose names share half a hash stay two points, however repeated points are issued.

Expectations: the truth that is simulated; the names are found by search, among the numbers that a rover counts up.
"""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from issued import read_layer
from numpy.typing import NDArray
from repeated_days import days, reading
from running import run_written

from pipeline.duplicates import text_hashes

COUNTED = pa.array([str(number) for number in range(1, 300_001)])
LOWER, UPPER = np.uint64(0), np.uint64(32)


def sharing(shift: np.uint64) -> tuple[str, str]:
    """Return two numbers whose hashes have 32 bits in common: of 300,000 about ten pairs, by n² / 2^33."""
    halves: NDArray[np.uint32] = (text_hashes(COUNTED) >> shift).astype(np.uint32)
    order = np.argsort(halves, kind="stable")
    at = int(np.flatnonzero(np.diff(halves[order]) == 0)[0])
    one, other = sorted(COUNTED[int(place)].as_py() for place in order[at : at + 2])
    return one, other


@pytest.mark.parametrize("repeats", ["all", "last", "mean"])
@pytest.mark.parametrize("half", [LOWER, UPPER])
def test_points_of_two_names_stay_two(tmp_path: Path, half: np.uint64, repeats: str) -> None:
    names = sharing(half)
    assert names[0] != names[1]
    work = days()
    work.job["issue"] = {"repeats": repeats}
    for day, name in enumerate(names, 1):  # P1 of both days is one place, which the second finds 6 mm to the east
        work.rows["name"][reading(work, "P1", day)] = name
    work.displace(reading(work, names[1], 2), (0.006, 0.0, 0.0))
    issue = run_written(work.write(tmp_path))
    points = {row["name"]: row for row in read_layer(issue.package, "points").rows}
    assert set(names) <= set(points)
    apart = points[names[1]]["easting"] - points[names[0]]["easting"]
    assert apart == pytest.approx(0.006, abs=2e-4)
    assert not {row["name"] for row in read_layer(issue.package, "repeats").rows} & {*names}
    assert not [row for row in read_layer(issue.package, "held_back").rows if row["name"] in names]
