"""Times that are a number (seconds since 1970, GPS week and seconds, a spreadsheet's serial day) into milliseconds."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct

from pipeline.arrays import Flags, Floats
from pipeline.clock import DAY
from pipeline.read.clock_fields import Fields
from pipeline.read.numeric import numbers

#: Milliseconds from 1970 to the beginnings that times are counted from: 1980-01-06, 1899-12-30 and 1904-01-01.
_GPS, _SERIAL, _SERIAL_1904 = 3_657 * DAY, -25_569 * DAY, -24_107 * DAY
_WEEK_SECONDS = 604_800
#: Years 1980 to 2100: a count beyond them counts something else.
_FIRST_MS, _LAST_MS = 3_652 * DAY, 47_847 * DAY

_PAIR = r"^(?P<first>\d{1,6})(?:[.,]0+)?[ :;/]+(?P<then>\d{0,6}(?:[.,]\d+)?)$"


class Counted(Struct, frozen=True):
    """How a count becomes milliseconds: those of one ``unit`` and of the ``beginning``, and whether it is a ``pair``.

    A pair is a week or day and what has passed of it: of weeks always, of days where date and time are two columns.
    """

    unit: float
    beginning: int
    pair: int = 0

    def matched(self, cells: pa.Array) -> Flags:
        """Return (n,) which cells hold a count."""
        return self.read(cells).matched

    def read(self, cells: pa.Array) -> Fields:
        """Take a column of numbers, or of texts of numbers, into milliseconds of the clock that they count on."""
        values = self._alone(cells) if self.pair != _WEEK_SECONDS else np.full(len(cells), np.nan)
        if self.pair and pa.types.is_string(cells.type):
            paired = self._paired(cells)
            values = np.where(np.isnan(paired), values, paired)
        with np.errstate(invalid="ignore"):
            found = values * self.unit + self.beginning
            there = (found >= _FIRST_MS) & (found < _LAST_MS)
        milliseconds = np.rint(np.where(there, found, 0.0)).astype(np.int64)
        none = np.zeros(len(cells), np.int64)
        return Fields(there, there, none.astype(bool), milliseconds, none)

    def _alone(self, cells: pa.Array) -> Floats:
        if pa.types.is_string(cells.type):
            cells = pc.replace_substring(cells, ",", ".")
        return numbers(cells, ".")[0]

    def _paired(self, cells: pa.Array) -> Floats:
        """Return weeks as seconds, or days, of cells that hold two numbers; NaN where one does not."""
        parts = pc.extract_regex(cells, _PAIR)
        first, then = (self._alone(pc.struct_field(parts, part)) for part in (0, 1))
        with np.errstate(invalid="ignore"):
            within: Flags = then < self.pair
        return np.where(within, first * self.pair + then, np.nan)


#: By the words of `job.time_format.COUNTS`.
COUNTED = {
    "unix-seconds": Counted(1000.0, 0),
    "unix-milliseconds": Counted(1.0, 0),
    "gps-seconds": Counted(1000.0, _GPS),
    "gps-week-seconds": Counted(1000.0, _GPS, _WEEK_SECONDS),
    "serial-days": Counted(float(DAY), _SERIAL, 1),
    "serial-days-1904": Counted(float(DAY), _SERIAL_1904, 1),
}
