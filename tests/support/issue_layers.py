"""Invented layers for the tests of issues: points along a slope in the grid, some without a position."""

from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layers import points_schema, wkb_points
from pipeline.issue.geopackage.write import write_geopackage
from pipeline.issue.geopackage.written_counts import Written

DATA_TO = datetime(2026, 3, 2, 3, 45, tzinfo=UTC)
CRS = "EPSG:2193"
CARRIED = (pa.field("Depth", pa.float64()), pa.field("Remark", pa.string()))


def positions(rows: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Easting, northing, height in metres of some rows; every 97th has no height."""
    east = 1_600_000.0 + rows * 0.137
    north = 5_400_000.0 + (rows * 7919 % 10_007) * 0.251
    return east, north, np.where(rows % 97 == 96, np.nan, 12.0 + np.sin(rows))


def points(count: int, size: int = 1000) -> Iterator[pa.RecordBatch]:
    """Batches of a ``points`` layer with two carried columns."""
    schema = points_schema(CARRIED)
    for start in range(0, count, size):
        rows = np.arange(start, min(count, start + size))
        east, north, height = positions(rows)
        text = pa.array([f"{row:05d}" for row in rows])
        columns: dict[str, Any] = dict(
            easting=east,
            northing=north,
            height=height,
            ellipsoid_height=height + 14.0,
            longitude=np.full(len(rows), 173.0),
            latitude=np.full(len(rows), -41.5),
            observed=pa.array(1_772_400_000_000 + rows * 1000, pa.int64()).cast(pa.timestamp("ms", "UTC")),
            hu95=np.full(len(rows), 0.02),
            vu95=np.full(len(rows), 0.03),
            source_row=rows + 2,
            Depth=rows / 4,
            geometry=wkb_points(east, north, height),
        )
        yield pa.record_batch([pa.array(columns.get(name, text)) for name in schema.names], schema=schema)


def source(count: int, name: str = "points", size: int = 1000) -> LayerSource:
    """A layer of `points`."""
    return LayerSource(name, points_schema(CARRIED), points(count, size), "heights: NZVD2016")


def written_to(path: Path, *, at: datetime = DATA_TO, **counts: int) -> tuple[Written, ...]:
    """Write a GeoPackage with layers of the given names and numbers of points, of data up to a moment."""
    layers = [source(count, name) for name, count in counts.items()]
    return write_geopackage(path, layers, Georeference(CRS, metadata={"height_datum": "NZVD2016 height"}), at)
