"""GeoJSON and GeoPackage as batches of columns, read without touching the file."""

from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import pyarrow as pa
from msgspec import Struct

from pipeline.digest import Sum
from pipeline.job.model import Points
from pipeline.read import geojson, geopackage_layers
from pipeline.read.findings import Unusable
from pipeline.read.mapping import fitted, mapped, mapped_by_number
from pipeline.read.raw_batch import Raw


class Layer(Struct, frozen=True):
    """A vector layer that is open: its columns as delivered, its CRS as "EPSG:n" where it has a code, its batches.

    ``points`` is the block with the names of its columns as the layer spells them.
    """

    points: Points
    schema: pa.Schema
    crs: str | None
    spatial: bool
    batches: Iterator[Raw]


@contextmanager
def open_layer(path: Path, layer: str | None, points: Points, rows_per_batch: int, seen: Sum) -> Iterator[Layer]:
    """Open a layer of a GeoPackage, or a GeoJSON file (``layer`` None), to read it once.

    All bytes that are read of a GeoJSON file are added to ``seen``. Raises `Unusable` where the file or layer cannot be
    read, also while its batches are.
    """
    if mapped_by_number(points.columns):
        what = "the block maps columns by number, which works only for text files and spreadsheets"
        raise Unusable(0, what, "map them by name")
    if layer is None:
        found = geojson.properties_of(path)
        # Columns are what features have: of a collection without any, those that the job file maps hold.
        wanted = pa.schema([(name, pa.string()) for name in mapped(points.columns).values()])
        schema = found.schema if found.rows else wanted
        points = fitted(points, schema.names)
        with closing(geojson.batches(path, points, found, rows_per_batch, seen)) as batches:
            yield Layer(points, schema, found.crs, True, batches)
        return
    points = fitted(points, geopackage_layers.columns_of(path, layer))
    held = geopackage_layers.look_into(path, layer, points)
    with closing(geopackage_layers.batches(path, points, held, rows_per_batch)) as batches:
        yield Layer(points, held.schema, held.layer.crs, held.layer.geometry is not None, batches)
