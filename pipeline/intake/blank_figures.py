"""What of its quality each reading lacks: a rover's has sigmas, satellites, PDOP and a base, as its export has them.

A point that a total station measured, that was typed in or computed has none, and a mean of readings may have none.
"""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Flags
from pipeline.intake.positions import column_numbers, stated_sigmas
from pipeline.read.correction_headings import correction_heading, satellite_heading
from pipeline.read.exports import Export
from pipeline.read.mapping import mapped
from pipeline.read.precision_headings import precision_in_heading
from pipeline.tables import has_text

#: What a reading may lack. `left_columns.MOST` is as many as there are ways to lack some of them.
FIGURES = ("sigma", "solution", "satellites", "pdop", "base")
#: What is kept of a reading that lacks nothing, and of one that no satellite took part in, whatever else it lacks.
WHOLE, NO_SATELLITE = "nothing", "all"
#: A cell that says nothing, or that there is none.
_NOTHING = r"^[\s0.,+-]*$"
#: A number of none in a text.
_ZERO = r"^\s*0+(?:[.,]0*)?\s*$"


def blank_figures(batch: pa.RecordBatch, export: Export) -> pa.Array:
    """Return (n,) in words which of `FIGURES` each reading of a batch lacks, parted by blanks.

    A figure that the job does not map is looked for in the columns that are headed so. Zero stands for none.
    """
    columns, rows = export.points.columns, batch.num_rows
    taken = set(mapped(columns).values())
    there = {figure: np.zeros(rows, bool) for figure in FIGURES}
    there["sigma"] = np.asarray((np.column_stack(stated_sigmas(batch)) > 0.0).any(axis=1))
    there["solution"], there["base"] = has_text(batch.column("solution")), has_text(batch.column("base"))
    there["satellites"], there["pdop"] = (column_numbers(batch, each) > 0.0 for each in ("satellites", "pdop"))
    none = column_numbers(batch, "satellites") == 0.0
    for field in export.carried:
        figure = _figure(field.name) if field.name not in taken else ""
        if not figure or there[figure].all():
            continue
        cells = batch.column(field.name)
        there[figure] |= _filled(cells)
        if figure == "satellites":
            none |= _zero(cells)
    code = sum((~there[figure]).astype(np.int64) << at for at, figure in enumerate(FIGURES))
    code = np.where(none & ~there["satellites"], len(_LACKED) - 1, code)
    return pa.array(_LACKED).take(pa.array(code))


def lacked(text: str) -> frozenset[str]:
    """Return which of `FIGURES` a text of `blank_figures` names."""
    return frozenset(FIGURES) if text == NO_SATELLITE else frozenset(text.split()) & frozenset(FIGURES)


def _figure(heading: str) -> str:
    """Return which of `FIGURES` a heading says; "" for none."""
    word = correction_heading(heading)
    if word in FIGURES:
        return word
    return satellite_heading(heading) or ("sigma" if precision_in_heading(heading) is not None else "")


def _filled(cells: pa.Array) -> Flags:
    """Return (n,) which cells hold a text that is not of zeros and strokes, or a number above zero."""
    if pa.types.is_string(cells.type):
        nothing = pc.fill_null(pc.match_substring_regex(cells, _NOTHING), True)
        return ~np.asarray(nothing, bool)
    if not (pa.types.is_integer(cells.type) or pa.types.is_floating(cells.type)):
        return np.asarray(cells.is_valid(), bool)
    return np.asarray(pc.fill_null(pc.greater(cells, 0), False), bool)


def _zero(cells: pa.Array) -> Flags:
    """Return (n,) which cells hold a zero."""
    if pa.types.is_string(cells.type):
        return np.asarray(pc.fill_null(pc.match_substring_regex(cells, _ZERO), False), bool)
    if not (pa.types.is_integer(cells.type) or pa.types.is_floating(cells.type)):
        return np.zeros(len(cells), bool)
    return np.asarray(pc.fill_null(pc.equal(cells, 0), False), bool)


#: The texts of `blank_figures`, by the figures that are lacked as the bits of a number.
_LACKED = [
    " ".join(figure for at, figure in enumerate(FIGURES) if code >> at & 1) or WHOLE
    for code in range(2 ** len(FIGURES))
] + [NO_SATELLITE]
