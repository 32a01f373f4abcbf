"""Ages of corrections, mapped or by their heading: a few readings with far older ones than the rest of their export.

Corrections that did not arrive are used on for a while, and the solution goes astray with their age, at first unseen.
"""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.read.correction_headings import says_correction_age
from pipeline.read.exports import Export
from pipeline.read.mapping import mapped
from pipeline.read.numeric import plain_numbers

#: Seconds: corrections of a link that works are younger; older ones tell that it was lost. Common practice, no source.
FRESH, STALE = 10.0, 20.0
#: Seconds behind the number of a cell.
_UNIT = r"(\d)\s*(?:s|sec)\.?$"


class Ages(Struct):
    """A column of ages: how many sound readings have one, how many are at most `FRESH`, how many more than `STALE`.

    Numbers below zero stand for none. ``row`` is the first reading of more than `STALE`, ``oldest`` [s] the oldest.
    """

    known: int = 0
    fresh: int = 0
    stale: int = 0
    row: int = 0
    oldest: float = 0.0

    def take(self, values: Floats, rows: Integers) -> None:
        """Take sound readings: (n,) ages [s], NaN where none, and their numbers in the file."""
        old = values > STALE
        count = int(np.count_nonzero(old))
        if count:
            self.row = self.row or int(rows[int(np.argmax(old))])
            self.oldest = max(self.oldest, float(values[old].max()))
        self.stale += count
        self.known += int(np.count_nonzero(values >= 0.0))
        self.fresh += int(np.count_nonzero((values >= 0.0) & (values <= FRESH)))


def note_ages(found: dict[str, Ages], batch: pa.RecordBatch, export: Export, sound: Flags) -> None:
    """Take a batch of an export: its ``sound`` (n,) readings, by the heading of each column that may be of ages."""
    columns = mapped(export.points.columns)
    here: dict[str, str] = {}
    if "correction_age" in columns:
        here[columns["correction_age"]] = "correction_age"
    else:
        taken = set(columns.values())
        here = {one.name: one.name for one in export.carried if one.name not in taken and says_correction_age(one.name)}
    for heading, name in here.items():
        cells = batch.column(name)
        if pa.types.is_string(cells.type):
            values = plain_numbers(pc.replace_substring_regex(cells, _UNIT, r"\1"))
        elif pa.types.is_integer(cells.type) or pa.types.is_floating(cells.type):
            values = np.asarray(cells.cast(pa.float64(), safe=False).fill_null(np.nan), np.float64)
        else:
            continue
        rows = np.asarray(batch.column("source_row"), np.int64)
        found.setdefault(heading, Ages()).take(np.asarray(values, np.float64)[sound], rows[sound])
