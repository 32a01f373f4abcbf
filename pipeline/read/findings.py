"""What reading finds wrong: with a whole file (`Unusable`) or with single rows of a batch (`Findings`)."""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Flags
from pipeline.limits import CELLS
from pipeline.words import Reason, counted, reason_code

#: Characters of a cell that are repeated in a detail.
SHOWN = 60


class Unusable(Exception):
    """A file that cannot be read as it stands; becomes a `Problem` with the file's shown name."""

    def __init__(self, line: int, what: str, fix: str = "") -> None:
        self.line, self.what, self.fix = line, what, fix
        super().__init__(f"line {line}: {what}")


def check_cells(rows: int, columns: int, size: int) -> None:
    """Raise `Unusable` where a file of ``size`` bytes has many more cells than it can hold values for."""
    if rows * columns > CELLS + size:
        what = f"it has {counted(rows, 'row')} with {counted(columns, 'column')}, nearly all of them empty"
        raise Unusable(0, what, "export it without the columns that are not needed")


@dataclass
class Findings:
    """Reasons and details of one batch of ``rows`` rows.

    Where a row has several faults the first of `words.REASONS` is its reason (that list stands in the order in which
    reading checks) and the details are joined.
    """

    rows: int
    held: npt.NDArray[np.uint8] = field(init=False)
    _details: list[pa.Array] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.held = np.zeros(self.rows, dtype=np.uint8)

    def add(self, reason: Reason, bad: Flags, says: "pa.Array | str") -> None:
        """Hold back the rows where ``bad`` (n,); ``says`` is one text for all or a text for every row of the batch."""
        if not bad.any():
            return
        code = reason_code(reason)
        stronger = bad & ((self.held == 0) | (self.held > code))
        self.held[stronger] = code
        text = pa.scalar(says, pa.string()) if isinstance(says, str) else says
        self._details.append(pc.if_else(pa.array(bad), text, pa.scalar(None, pa.string())))

    def add_cells(self, reason: Reason, bad: Flags, word: str, cells: pa.Array, says: "pa.Array | str") -> None:
        """Hold back the rows where ``bad`` (n,), each with the text of its cell: ``word: "text" says``.

        ``says`` is one text for all or a text for every row of the batch.
        """
        if bad.any():
            self.add(reason, bad, _quoted(word, cells, says))

    def detail(self) -> pa.Array:
        """Return every row's detail, null where nothing is wrong."""
        details = pa.nulls(self.rows, pa.string())
        for further in self._details:
            # Null where either is: not null_handling="skip", which drops rows where both are.
            both = pc.binary_join_element_wise(details, further, "; ")
            details = pc.coalesce(both, details, further)
        return details


def _quoted(word: str, cells: pa.Array, says: "pa.Array | str") -> pa.Array:
    """Return ``word: "the cell's text" says`` for every cell, long texts cut; null where the cell is."""
    text = cells if pa.types.is_string(cells.type) else pc.cast(cells, pa.string())
    cut = pc.utf8_slice_codeunits(text, 0, SHOWN)
    dots = pc.if_else(pc.greater(pc.utf8_length(text), SHOWN), "…", "")
    return pc.binary_join_element_wise(f'{word}: "', cut, dots, '" ', says, "")
