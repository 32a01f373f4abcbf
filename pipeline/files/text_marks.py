"""Signs by which a spreadsheet keeps a cell a text, left in an export's names: ="0007" and '0007."""

import re
from collections.abc import Iterable

#: Cells of a column from which on they are a habit and no name: one place may be called 's-Gravenhage.
_LEAST = 3
_FORMULA = re.compile(r'="[^"]*"')


def text_mark(cells: Iterable[str | None]) -> str | None:
    """Return the sign that all cells of a column carry as texts of a spreadsheet, as it is told; None for none."""
    given = {cell for cell in cells if cell}
    if len(given) < _LEAST:
        return None
    if all(map(_FORMULA.fullmatch, given)):
        return 'are written ="..."'
    digits = any(map(str.isdecimal, "".join(given)))
    quoted = digits and all(cell.startswith("'") and not cell.endswith("'") for cell in given)
    return "begin with '" if quoted else None
