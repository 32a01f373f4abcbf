"""Takes the small units of a row of units below a header: millimetres for precisions, as a heading may say them."""

from collections.abc import Iterator
from itertools import chain

import pyarrow as pa

from pipeline.read.columns import ReadingPlan
from pipeline.read.heading_units import metres_in_heading
from pipeline.read.headings import is_row_of_units, small_units_below
from pipeline.read.mapping import DEGREES, LENGTHS
from pipeline.read.raw_batch import Raw
from pipeline.replace import replace


def with_units_below(how: ReadingPlan, batches: Iterator[Raw]) -> tuple[ReadingPlan, Iterator[Raw]]:
    """Return the plan with the small units that the first row says, and the batches; a heading's own unit stays.

    Raises `Unusable` where the first rows cannot be read.
    """
    first = next(batches, None)
    if first is None:
        return how, iter(())
    below = {word: unit for word, unit in _units_of(how, first).items() if not metres_in_heading(how.names[word])}
    return replace(how, small=small_units_below(below) | how.small), chain(iter([first]), batches)


def _units_of(how: ReadingPlan, raw: Raw) -> dict[str, str]:
    """Return the cells of the first row by our words where it is a row of units, else none."""
    if not len(raw.row):
        return {}
    cells = {word: raw.columns[name] for word, name in how.names.items() if word in LENGTHS | DEGREES}
    first = {word: cell[0].as_py() for word, cell in cells.items() if pa.types.is_string(cell.type)}
    return {word: str(cell) for word, cell in first.items() if cell} if is_row_of_units(first.values()) else {}
