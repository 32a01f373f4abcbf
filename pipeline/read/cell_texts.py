"""Turns the cells of a column into texts, whatever a spreadsheet or a database stores there."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc


def cell_texts(cells: pa.Array) -> pa.Array:
    """Return cells (n,) as texts: numbers with all of their figures and a minus before a zero, times as ISO 8601."""
    if pa.types.is_timestamp(cells.type):
        return pc.strftime(cells, "%Y-%m-%dT%H:%M:%S")
    if pa.types.is_floating(cells.type):
        texts = [None if value is None else np.format_float_positional(value, trim="-") for value in cells.to_pylist()]
        return pa.array(texts, pa.string())
    return cells if pa.types.is_string(cells.type) else pc.cast(cells, pa.string())
