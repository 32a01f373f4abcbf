"""Every collector of the first pass is handed every batch, and what it found is asked for by its class."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from sifted_batches import sifted_batch

from pipeline.intake.collectors import COLLECTORS, Collectors, Found
from pipeline.intake.filled_blanks import FilledBlanks
from pipeline.intake.filled_down import FilledDown
from pipeline.intake.pasted_cells import PastedCells
from pipeline.intake.sifted_batch import SiftedBatch
from pipeline.job.model import Columns, Points
from pipeline.read.exports import Export


def walk(count: int = 60) -> SiftedBatch:
    """A walk with points metres apart, one easting in rows 22 to 31 of the file."""
    east, north, up = np.random.default_rng(7).normal(0.0, 5.0, (3, count)).cumsum(axis=1).round(3)
    east[20:30] = east[20]
    batch = pa.RecordBatch.from_pydict(
        {
            "name": [f"P{number}" for number in range(count)],
            "first": 400_000.0 + east,
            "second": 5_800_000.0 + north,
            "third": 100.0 + up,
            "time": pa.array(np.arange(count) * 10_000, pa.timestamp("ms", "UTC")),
            "source_row": np.arange(count) + 2,
        }
    )
    columns = Columns(name="Name", time="Time", height="H", easting="E", northing="N")
    points = Points(files=("rover.csv",), crs="EPSG:32633", columns=columns)
    return sifted_batch(batch, Export(Path("rover.csv"), "rover.csv", 0, points, "", ()))


def test_what_one_of_them_found_is_asked_for_by_its_class() -> None:
    collectors = Collectors()
    collectors.take(walk())
    found = collectors.found()
    (filled,) = found.of(FilledDown)
    assert (filled.first, filled.last, filled.axis) == (22, 31, 0)
    assert found.of(FilledBlanks) == ()  # the same rows, told once


@pytest.mark.parametrize("collector", COLLECTORS)
def test_nothing_was_found_before_any_batch(collector: type) -> None:
    assert collector().found() == () == Collectors().found().of(collector) == Found().of(PastedCells)
