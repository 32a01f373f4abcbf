"""The heights of poles as an export has them: taken off every reading, and carried along as they were written."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Floats
from pipeline.files.written_numbers import plain_lengths
from pipeline.read.columns import lengths_of
from pipeline.read.exports import Export
from pipeline.read.heading_units import metres_in_heading
from pipeline.read.mapping import mapped
from pipeline.read.numeric import numbers
from pipeline.read.pole_headings import says_pole
from pipeline.tables import READING, each_once


def pole_heights(batch: pa.RecordBatch, export: Export) -> Floats | None:
    """Return (n,) metres of a batch's mapped pole heights, NaN where there is none; None where none are mapped."""
    heading = export.headings.get("pole_height")
    if heading is None:
        return None
    name = f"{heading}_export" if heading in READING.names else heading  # as `mapping.carried_fields` calls it
    if name not in batch.schema.names:
        return None
    cells = batch.column(name)
    metre = export.small.get("pole_height", lengths_of(export.points).other)
    return np.asarray(each_once(cells, _numbers), np.float64) * metre


def left_pole_columns(export: Export) -> list[str]:
    """Return the columns that are of pole heights by their headings where the job file maps none as such."""
    if export.points.columns.pole_height is not None:
        return []
    taken = set(mapped(export.points.columns).values())
    return [field.name for field in export.carried if field.name not in taken and says_pole(field.name)]


def left_pole_heights(batch: pa.RecordBatch, export: Export, name: str) -> Floats | None:
    """Return (n,) metres of one of the `left_pole_columns`, NaN where there is no number; None where it has none."""
    cells = batch.column(name)
    if not (pa.types.is_string(cells.type) or pa.types.is_integer(cells.type) or pa.types.is_floating(cells.type)):
        return None
    metre = (metres_in_heading(name) or (lengths_of(export.points).other,))[0]
    return np.asarray(each_once(cells, _numbers), np.float64) * metre


def _numbers(cells: pa.Array) -> Floats:
    """Return numbers of a column that was read already: what is no number was held back."""
    if pa.types.is_string(cells.type):
        cells = plain_lengths(cells, lambda _: True)  # those in another unit than the column's were held back
    comma = pa.types.is_string(cells.type) and pc.any(pc.match_substring(cells, ",")).as_py()
    return numbers(cells, "," if comma else ".")[0]
