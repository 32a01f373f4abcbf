"""What the order of a file's rows is judged by: the readings of one export and base id, in some order."""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Integers
from pipeline.intake.ledger import NAMED, ReadingRows
from pipeline.intake.moved_blocks import Moved
from pipeline.replace import replace

#: Rows that a session names count so much: where they lie is said by the job.
_SAID = 5


class Astray(Struct, frozen=True, kw_only=True):
    """Rows of an export that are out of its order.

    Args:
        export: its number.
        row, last_row: in the file, of the first and the last of them.
        count: how many.
        first, last: UTC milliseconds of these two.
        before, behind: rows and times of the neighbours, None where the file ends.
        session: of the first of those that are in another session by their time than by their place; else of the first.
        place: the session of the neighbours.
        doubted: sessions that have readings which may belong to others, none where no session changes by it.
        wrapped: milliseconds by which the rows are early, where a clock or a date went on from the beginning; else 0.
        lag: milliseconds, whole days or hours, with which the rows would run on from those around them; else 0.
    """

    export: int
    row: int
    last_row: int
    count: int
    first: int
    last: int
    before: tuple[int, int] | None
    behind: tuple[int, int] | None
    session: int
    place: int
    doubted: tuple[int, ...]
    wrapped: int = 0
    lag: int = 0


class FileSequence(Struct, frozen=True):
    """Readings of one ``export`` and ``base`` id: (n,) their numbers, times, sessions and flags, in some order.

    ``rows`` is every reading of the job, which the numbers count.
    """

    export: int
    base: str | None
    rows: ReadingRows
    number: Integers
    time: Integers
    session: NDArray[np.int32]
    flags: NDArray[np.uint16]

    def __len__(self) -> int:
        return len(self.time)

    def turned(self) -> "FileSequence":
        """Return the same from the last to the first."""
        return replace(
            self,
            number=self.number[::-1],
            time=self.time[::-1],
            session=self.session[::-1],
            flags=self.flags[::-1],
        )

    def source_rows(self, places: slice | Sequence[int]) -> Integers:
        """Return (k,) the rows in their file of the readings at some places."""
        return self.rows.source_row(self.number[places])

    def neighbour(self, place: int) -> tuple[int, int] | None:
        """Return the row in its file and the time of the reading at a place; None beyond the ends."""
        if not 0 <= place < len(self):
            return None
        return int(self.source_rows([place])[0]), int(self.time[place])

    def weight(self, which: range) -> int:
        """Return how much the readings at some places count, by which the lighter of two sets is out of order."""
        named = np.count_nonzero(self.flags[which.start : which.stop] & NAMED)
        return len(which) + (_SAID - 1) * int(named)

    def astray(self, which: range, among: Flags, place: int, doubted: tuple[int, ...]) -> Astray:
        """Return rows out of order: those ``among`` (k,) ``which``, and the session of their place."""
        mine = np.flatnonzero(among) + which.start
        ordered = np.sort(self.number[mine])
        row, last_row = (int(each) for each in self.rows.source_row(ordered[[0, -1]]))
        first, last = (int(self.time[self.number == number][0]) for number in ordered[[0, -1]].tolist())
        neighbours = sorted(filter(None, (self.neighbour(which.start - 1), self.neighbour(which.stop))))
        return Astray(
            export=self.export,
            row=row,
            last_row=last_row,
            count=len(mine),
            first=first,
            last=last,
            before=next((each for each in neighbours if each[0] < row), None),
            behind=next((each for each in neighbours[::-1] if each[0] > row), None),
            session=int(self.session[mine[0]]),
            place=place,
            doubted=doubted,
        )

    def of_block(self, block: Moved) -> Astray:
        """Return a block of rows at a wrong time as rows out of order."""
        sessions = self.session[block.rows.start : block.rows.stop][block.changed]
        doubted = tuple(np.unique(sessions).tolist()) if block.certain else ()
        return replace(self.astray(block.rows, block.changed, block.place, doubted), lag=block.lag)
