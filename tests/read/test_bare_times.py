"""The first time of an export without an offset from UTC: a row of units below the heading is none."""

import numpy as np
import pyarrow as pa
import pytest

from pipeline.read.bare_times import bare_time
from pipeline.read.raw_batch import Raw


@pytest.mark.parametrize(
    ("cells", "found"),
    [
        (["[UTC]", "2026-03-10T07:00:00Z"], None),
        (["[UTC]", None, "2026-03-10T07:00:00"], (4, "2026-03-10T07:00:00")),
        (["hh:mm:ss"], None),
    ],
)
def test_a_row_of_units_is_no_time(cells: list[str | None], found: tuple[int, str] | None) -> None:
    raw = Raw({"Time": pa.array(cells, pa.string())}, np.arange(2, 2 + len(cells)))
    assert bare_time([raw], "Time", None) == found
