"""A layer that is to be written."""

from collections.abc import Iterable

import pyarrow as pa
from msgspec import Struct

from pipeline.issue.geopackage.layers import POINT_Z
from pipeline.issue.geopackage.written_counts import KEPT


class LayerSource(Struct, frozen=True):
    """One layer to be written.

    ``schema`` is one of `pipeline.issue.geopackage.layers`; ``batches`` has that schema, is taken once, in order, and
    may run in another thread than the caller's. ``description`` names the height datum, such as "heights: NZVD2016".
    ``kept`` is how many rows are kept for comparing one by one. ``like`` is a layer before it that has the same columns
    and geometry type, where there may be many such: they are all like the same one, and come last.
    """

    name: str
    schema: pa.Schema
    batches: Iterable[pa.RecordBatch]
    description: str = ""
    identifier: str = ""
    geometry_type: str = POINT_Z
    kept: int = KEPT
    like: str | None = None
