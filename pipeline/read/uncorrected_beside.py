"""Columns beside the mapped position that by their headings hold it before a correction: whether the two differ."""

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.read.degrees_beside import cells_as_numbers
from pipeline.read.mapping import DEGREES
from pipeline.read.numeric import numbers
from pipeline.read.raw_batch import Raw
from pipeline.read.sources import Source
from pipeline.read.uncorrected_headings import but_for_uncorrected, uncorrected_twin
from pipeline.sphere import DEGREE

#: Metres, or feet, that two writings of one number may differ by: no correction is as small.
_ROUNDED = 0.006


class UncorrectedBeside(Struct, frozen=True):
    """Columns that hold mapped coordinates before a correction, by their headings, and where the two differ.

    Args:
        columns: pairs of what is mapped and what is not.
        compared: rows in which both are known.
        differ: rows in which they differ.
        first: the number of the first of these.
    """

    columns: tuple[tuple[str, str], ...]
    compared: int
    differ: int
    first: int


def uncorrected_beside(source: Source, first: Sequence[Raw]) -> UncorrectedBeside | None:
    """Return the columns of the first rows that hold the mapped position before a correction; None without any.

    None too where they are equal in all rows but for rounding.
    """
    if not first or not len(first[0].row):
        return None
    how, raw = source.how, first[0]
    free = [name for name, _ in how.carried if but_for_uncorrected(name)]
    pairs = []
    differ, compared = np.zeros(len(raw.row), bool), np.zeros(len(raw.row), bool)
    for word in how.position.words if free else ():
        mapped = how.names.get(word, "")
        other = next((name for name in free if uncorrected_twin(name, (mapped,))), None)
        if other is None:
            continue
        one, two = (_numbers(raw.columns[name], how.decimal) for name in (mapped, other))
        known = np.isfinite(one) & np.isfinite(two)
        apart = known & (np.abs(one - two) > (_ROUNDED / DEGREE if word in DEGREES else _ROUNDED))
        compared |= known
        if apart.any():
            pairs.append((mapped, other))
            differ |= apart
    if not pairs:
        return None
    row = int(raw.row[np.flatnonzero(differ)[0]])
    return UncorrectedBeside(tuple(pairs), int(compared.sum()), int(differ.sum()), row)


def _numbers(cells: pa.Array, decimal: str) -> Floats:
    return numbers(cells, decimal)[0] if pa.types.is_string(cells.type) else cells_as_numbers(cells, len(cells))
