"""Takes small units that stand below a header: millimetres for precisions, as a heading may say them.

They stand in a row of units, or behind every number of a column: "7.0 mm".
"""

from collections.abc import Iterator
from itertools import chain

import pyarrow as pa
import pyarrow.compute as pc

from pipeline.read.columns import ReadingPlan
from pipeline.read.heading_units import metres_in_heading
from pipeline.read.headings import is_row_of_units, small_units_below
from pipeline.read.mapping import DEGREES, LENGTHS
from pipeline.read.raw_batch import Raw
from pipeline.replace import replace

#: A number with a small unit behind it.
_BEHIND = r"^[+-]?\d+(?:[.,]\d+)?\s?(?P<unit>mm|cm)\.?$"


def with_units_below(how: ReadingPlan, batches: Iterator[Raw]) -> tuple[ReadingPlan, Iterator[Raw]]:
    """Return the plan with the small units that the first row says, and the batches; a heading's own unit stays.

    Raises `Unusable` where the first rows cannot be read.
    """
    first = next(batches, None)
    if first is None:
        return how, iter(())
    said = {**_units_behind(how, first), **_units_of(how, first)}
    below = {word: unit for word, unit in said.items() if not metres_in_heading(how.names[word])}
    return replace(how, small=small_units_below(below) | how.small), chain(iter([first]), batches)


def _units_of(how: ReadingPlan, raw: Raw) -> dict[str, str]:
    """Return the cells of the first row by our words where it is a row of units, else none."""
    if not len(raw.row):
        return {}
    cells = {word: raw.columns[name] for word, name in how.names.items() if word in LENGTHS | DEGREES}
    first = {word: cell[0].as_py() for word, cell in cells.items() if pa.types.is_string(cell.type)}
    return {word: str(cell) for word, cell in first.items() if cell} if is_row_of_units(first.values()) else {}


def _units_behind(how: ReadingPlan, raw: Raw) -> dict[str, str]:
    """Return by our words the unit behind every number of the first rows, "mm" of "7.0 mm", where it is one."""
    found = {}
    for word, name in how.names.items():
        cells = raw.columns[name].drop_null() if word in LENGTHS else None
        if cells is None or not len(cells) or not pa.types.is_string(cells.type):
            continue
        units = pc.unique(pc.struct_field(pc.extract_regex(pc.utf8_trim_whitespace(cells), _BEHIND), "unit"))
        if len(units) == 1 and units.null_count == 0:
            found[word] = units[0].as_py()
    return found
