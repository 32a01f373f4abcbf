"""What the readers of text and of vector files have in common: a batch as it stands in the file."""

import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers


class Geometry(Struct, frozen=True):
    """A batch's geometries: X, Y, Z as stored (NaN where there is none) and the rows that are no single point.

    ``broken`` says per row why a geometry cannot be read, null where it can; None where all can.
    """

    x: Floats
    y: Floats
    z: Floats
    other: Flags
    broken: pa.Array | None = None


class CutRow(Struct, frozen=True):
    """The line of a row that a file seems to end within, and what speaks for that.

    Or that of a ``gap``, where rows are lost, though others may follow.
    """

    line: int
    why: str
    gap: bool = False

    def told(self, shown: str) -> str:
        """Return that the file, as it is ``shown``, seems to end there, or what is lost there."""
        return f"{shown}:{self.line}: {self.why if self.gap else f'the file seems to end within this row ({self.why})'}"


class Raw(Struct, frozen=True):
    """A batch of rows: the export's columns by name, the rows' numbers in the file, and what made a row unreadable.

    Every column has as many values as ``row``; ``fault`` is null where the row could be taken apart,
    and ``unsplit``, of texts alone, is the beginning of a line that could not be split into cells, null elsewhere.
    ``cut_off`` says what speaks for it that the file ends within the last row, None where nothing does; ``gaps`` are
    where rows are lost among the others.
    """

    columns: dict[str, pa.Array]
    row: Integers
    fault: pa.Array | None = None
    geometry: Geometry | None = None
    cut_off: str | None = None
    gaps: tuple[CutRow, ...] = ()
    unsplit: pa.Array | None = None

    @property
    def size(self) -> int:
        """Return how many bytes of memory the values take."""
        places = () if self.geometry is None else (self.geometry.x, self.geometry.y, self.geometry.z)
        return sum(column.nbytes for column in (*self.columns.values(), *places))
