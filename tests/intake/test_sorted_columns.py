"""One coordinate that was sorted alone, in a batch of readings, and sections across a road that look like it."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from sifted_batches import sifted_batch

from pipeline.arrays import Floats
from pipeline.intake.positions import local_metres
from pipeline.intake.sorted_columns import SortedColumns, SortedRows
from pipeline.job.model import Columns, Points
from pipeline.read.exports import Export

#: Points, and sections of a road.
COUNT, SECTIONS = 80, 80
#: Metres along a meridian in one degree, near enough.
DEGREE = 111_000.0


def export(crs: str, **columns: str) -> Export:
    points = Points(files=["rover.csv"], crs=crs, columns=Columns(name="Name", time="Time", height="H", **columns))
    return Export(Path("rover.csv"), "rover.csv", 0, points, "", ())


#: Metres left and right of its axis at which stakes, or points of a road with a ditch, stand.
STAKES, DITCH = (-14.5, -4.0, 0.0, 4.0, 14.5), (-18.0, -12.0, -4.0, 0.0, 4.0, 12.0, 18.0)


def from_the_left(azimuth: float, offsets: tuple[float, ...], missing: float = 0.0) -> tuple[Floats, Floats]:
    """Return eastings and northings (n,) of sections every 20 m; a share of the points are not there."""
    random = np.random.default_rng(4)
    section = np.repeat(np.arange(SECTIONS), len(offsets))
    kept = random.uniform(size=len(section)) >= missing
    count = np.count_nonzero(kept)
    along = 20.0 * section[kept] + random.normal(0.0, 0.05, count)
    across = np.tile(offsets, SECTIONS)[kept] + random.normal(0.0, 0.05, count)
    sine, cosine = np.sin(np.radians(azimuth)), np.cos(np.radians(azimuth))
    return along * sine + across * cosine, along * cosine - across * sine


@pytest.mark.parametrize("missing", [0.0, 0.1])
@pytest.mark.parametrize("offsets", [STAKES, DITCH, (-6.0, 0.0, 6.0), (-5.0, -0.72, 0.72, 5.0)])
def test_sections_that_are_walked_from_one_side_are_not_taken_for_sorted(
    offsets: tuple[float, ...], missing: float
) -> None:
    """Of some azimuths every point lies further east, or north, than the one before, though sections overlap."""
    assert [one for one in range(0, 360, 2) if looked_at(*from_the_left(one, offsets, missing))] == []


def test_of_a_road_at_random_distances_a_sorted_column_is_found() -> None:
    random = np.random.default_rng(6)
    east, north = random.uniform(0.0, 150.0, (2, COUNT))
    assert looked_at(np.sort(east), north)


@pytest.mark.parametrize("drift", [(1.5, 1.0, 5.0), (2.0, 1.2, 8.0), (1.0, 0.7, 4.0)])
def test_of_a_long_walk_one_way_no_stretch_is_taken_for_sorted(drift: tuple[float, float, float]) -> None:
    """Some stretches of tens of rows lead on without exception, and from side to side: there are thousands of them."""
    ahead, scatter, aside = drift
    for seed in range(6):
        random = np.random.default_rng(seed)
        east, north = np.cumsum(random.normal(ahead, scatter, 50_000)), np.cumsum(random.normal(0.0, aside, 50_000))
        assert looked_at(east, north) == []


@pytest.mark.parametrize("block", [range(60, 150), range(0, 120), range(180, 300)])
def test_a_block_of_rows_that_was_sorted_amid_others_is_found(block: range) -> None:
    found = 0
    for seed in range(20):
        east, north = np.random.default_rng(seed).uniform(0.0, 300.0, (2, 300))
        east[block] = np.sort(east[block])
        found += any(set(block) <= set(range(one.first - 2, one.last - 1)) for one in looked_at(east, north))
    assert found >= 17


def looked_at(east: Floats, north: Floats) -> list[SortedRows]:
    """Return what is found in one batch of an export of eastings and northings, a point every ten seconds."""
    batch = pa.RecordBatch.from_pydict(
        {
            "first": east,
            "second": north,
            "third": np.random.default_rng(1).normal(100.0, 5.0, len(east)),
            "time": pa.array(np.arange(len(east)) * 10_000, pa.timestamp("ms", "UTC")),
            "source_row": np.arange(len(east)) + 2,
        }
    )
    found = SortedColumns()
    found.take(sifted_batch(batch, export("EPSG:32633", easting="E", northing="N")))
    return list(found.found())


def test_a_road_across_the_meridian_at_180_degrees_is_as_any_other() -> None:
    """Kerb pairs that cross it four times: the way to the other side is a few metres, not round the earth."""
    along, off = np.divmod(np.arange(COUNT), 2)
    east = np.where(off == 1, 6.0, -6.0) + 40.0 * np.sin(along / 6.0)
    longitude = 180.0 + east / DEGREE / np.cos(np.radians(16.8))
    place = np.where(longitude > 180.0, longitude - 360.0, longitude), np.full(COUNT, -16.8), np.zeros(COUNT)
    metres, _, _ = local_metres(place, export("EPSG:4326", longitude="E", latitude="N"))
    assert np.ptp(metres) == pytest.approx(np.ptp(east), abs=0.2)
