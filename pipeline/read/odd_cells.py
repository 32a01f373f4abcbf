"""Describes unreadable cells a column at a time: cells that look alike share one description."""

from collections.abc import Callable

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Flags
from pipeline.files.odd_text import LONGEST


def described(cells: pa.Array, bad: Flags, describe: Callable[[str], str]) -> pa.Array:
    """Return (n,) what ``describe`` says of every cell where ``bad`` (n,), null elsewhere.

    Cells with figures in the same places are described alike, by the first of them.
    """
    said = pa.nulls(len(cells), pa.string())
    if not bad.any():
        return said
    text = cells if pa.types.is_string(cells.type) else pc.cast(cells, pa.string())
    # so much of a long one is enough: longer texts than `LONGEST` look like nothing
    look = pc.utf8_slice_codeunits(text.filter(pa.array(bad)), 0, LONGEST + 1)
    look = pc.replace_substring_regex(look, r"[0-9]", "0")
    coded = pc.dictionary_encode(look)
    words = pa.array([describe(each) for each in coded.dictionary.to_pylist()], pa.string())
    place = np.zeros(len(cells), np.int64)
    place[np.flatnonzero(bad)] = np.asarray(pc.fill_null(coded.indices, 0), np.int64)
    return pc.take(words, pa.array(place, mask=~bad))
