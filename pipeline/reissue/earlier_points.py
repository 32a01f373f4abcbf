"""Spools the points of the previous issue in row order, for comparison with the second pass.

They lie on disk where they are many, so that memory does not grow with them.
"""

from collections.abc import Iterable, Iterator, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.draft.earlier_numbers import OfFile
from pipeline.intake.columns import DiskColumns
from pipeline.solve.correct import VALUES
from pipeline.solve.proof import PROOFS

#: What is read of a point: where it came from, and what a change may reach.
READ = ("source_file", "source_row", "session", "proof", *VALUES)
_KINDS = {
    "source_file": np.int32,
    "source_row": np.int64,
    "session": np.int32,
    "proof": np.int8,
    **dict.fromkeys(VALUES, np.float64),
}


class Piece(Struct, frozen=True):
    """Some points of the previous issue, (n,) in the order of its rows.

    Args:
        file: index of each point's raw file, -1 for none of them.
        source_row: its row there.
        session: index of its session now, -1 where that is gone.
        proof: code of its proof word.
        values: (n, 8) its numbers.
    """

    file: NDArray[np.int32]
    source_row: Integers
    session: NDArray[np.int32]
    proof: NDArray[np.int8]
    values: Floats

    def __len__(self) -> int:
        return len(self.source_row)

    def some(self, rows: slice | Flags | Integers) -> "Piece":
        """Return some of its points, by their places (k,) or a mask (n,)."""
        return Piece(self.file[rows], self.source_row[rows], self.session[rows], self.proof[rows], self.values[rows])

    def leading(self, file: int, last: int) -> int:
        """Return how many of the first points are rows of one raw file, in their order and up to row ``last``."""
        inside = (self.file == file) & (self.source_row <= last)
        inside[1:] &= np.diff(self.source_row) > 0
        return len(inside) if inside.all() else int(np.argmin(inside))

    def rows(self) -> OfFile:
        """Return row, session and numbers of its points, which are of one raw file and in the order of its rows."""
        return self.source_row, self.session, self.values


def _joined(pieces: Sequence[Piece]) -> Piece:
    return pieces[0] if len(pieces) == 1 else Piece(*map(np.concatenate, zip(*map(_columns, pieces), strict=True)))


class EarlierPoints:
    """All of them."""

    def __init__(self, batches: Iterable[pa.RecordBatch], sessions: Sequence[str], files: Sequence[str]) -> None:
        """Lay them down; ``batches`` have the columns `READ`, the others are the names of sessions and files now."""
        self._columns = DiskColumns(_KINDS)
        self.files = set[int]()
        words = {"source_file": files, "session": sessions, "proof": [str(proof) for proof in PROOFS]}
        for batch in batches:
            columns = {name: position(batch.column(name), said).to_numpy() for name, said in words.items()}
            columns["source_row"] = batch.column("source_row").to_numpy()
            columns |= {name: np.asarray(batch.column(name), np.float64) for name in VALUES}  # NaN for null
            self._columns.add(columns)
            self.files |= set(np.unique(columns["source_file"]).tolist())

    @property
    def rows(self) -> int:
        """Return how many they are."""
        return len(self._columns)

    def pieces(self) -> Iterator[Piece]:
        """Yield them from the first one on."""
        for _, (file, source_row, session, proof, *values) in self._columns.pieces(*READ):
            yield Piece(file, source_row, session, proof, np.column_stack(values))


class Passing:
    """The points while the second pass comes past them, batch by batch."""

    def __init__(self, points: EarlierPoints) -> None:
        self._pieces = points.pieces()
        self._left: Piece | None = next(self._pieces, None)
        self._to_come = set(points.files)

    def among(self, file: int, source_row: Integers) -> Piece | None:
        """Return the next points in a raw file, up to the last of (n,) rows of it; None where there are none.

        Points of other files that lie before those are passed over.
        """
        if file not in self._to_come:
            return None
        self._come_to(file)
        found, last = list[Piece](), int(source_row.max(initial=0))
        while self._left is not None:
            count = self._left.leading(file, last)
            if count:
                found.append(self._left.some(slice(count)))
            if count < len(self._left):
                self._left = self._left.some(slice(count, None))
                break
            self._left = next(self._pieces, None)
        return _joined(found) if found else None

    def _come_to(self, file: int) -> None:
        while self._left is not None and self._left.file[0] != file:
            others = self._left.file != file
            count = len(others) if others.all() else int(np.argmin(others))
            self._to_come -= set(np.unique(self._left.file[:count]).tolist())
            self._left = self._left.some(slice(count, None)) if count < len(others) else next(self._pieces, None)


def position(column: pa.Array, words: Sequence[str]) -> pa.Array:
    """Return (n,) at which place among the words a column has its word, -1 where it is none of them."""
    return pc.fill_null(pc.index_in(column, pa.array(words, pa.string())), -1)


def _columns(piece: Piece) -> tuple[NDArray[np.generic], ...]:
    return piece.file, piece.source_row, piece.session, piece.proof, piece.values
