"""Readings of a job that are copies of another under another name and time: what a frozen or mistyped row becomes."""

from collections.abc import Iterator

import numpy as np
import pyarrow as pa
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Integers
from pipeline.clock import lasting
from pipeline.duplicates import having, occurring_again
from pipeline.duplicates.exact import Hashes, mixed, place_hashes
from pipeline.duplicates.one_place import Crowd, cells, copies, nearby
from pipeline.intake.ledger import CANDIDATE, ReadingRows, name_hashes
from pipeline.intake.prepare import Prepared
from pipeline.near import and_more
from pipeline.words import counted

#: Readings that share a position with others beyond which none is taken for a copy.
_MOST = 20_000
#: Pairs that a sentence lists.
_LISTED = 3


#: Readings one after the other that have one position, and milliseconds that they take, from which on a controller
#: stood still: one shot may be stored under the codes of all that meets in a corner.
_FROZEN, _WHILE = 5, 60_000


class Copied(Struct, frozen=True):
    """Rows that have the position of another to the last digit: (k,) their numbers, ascending, and those of the others.

    Args:
        numbers: of readings in a row, of which the first was measured: a controller that stood still.
        first: the number of that one.
        on_marks: (m, 2) numbers of readings that may stand on marks, and of the one that each may be a copy of; whether
            it is, only the other occupations say, by how well they agree.
        notes: in words.
    """

    numbers: Integers
    first: Integers
    on_marks: Integers
    notes: tuple[str, ...] = ()


def sharing(rows: ReadingRows, fresh: Flags) -> tuple[Integers, Hashes]:
    """Return the numbers (k,), ascending, of those of ``fresh`` (n,) readings whose position others have, and (k,) it.

    Positions are told apart to the last digit.
    """
    positions = _Positions(rows)
    return having(occurring_again(positions, fresh), positions, fresh)


def find_copies(rows: ReadingRows, fresh: Flags, shared: tuple[Integers, Hashes], prepared: Prepared) -> Copied:
    """Find the readings that have another's position to the last digit, though of another time.

    ``fresh`` (n,) says which readings have a place and repeat no other row; ``shared`` is what `sharing` gives of them.
    """
    numbers, position = shared
    if not len(numbers):
        return Copied(numbers, numbers, np.zeros((0, 2), np.int64))
    if len(numbers) > _MOST:
        none = np.zeros(0, np.int64)
        many = counted(len(numbers), "reading")
        told = (
            f"{many} share positions with others to the last digit, like computed coordinates: check whether they"
            " were measured"
        )
        return Copied(none, none, np.zeros((0, 2), np.int64), (told,))
    of, candidate = rows.observed(numbers), rows.having(CANDIDATE)
    here = cells(of.longitude, of.latitude)
    sessions = max(len(prepared.windows), 1)
    every, marks = (
        Crowd(nearby(here, _cells(rows, which)), len(occurring_again(Cells(rows), which)) / sessions)
        for which in (fresh, fresh & candidate)
    )
    found = copies(of, position, np.isin(of.name, _tie_names(prepared)), candidate[numbers], every, marks)
    order = np.argsort(found.place)
    pairs = np.column_stack([numbers[found.place[order]], numbers[found.of[order]]])
    later = of.time[found.place[order]] - of.time[found.of[order]]
    on_marks = candidate[pairs].all(axis=1)
    frozen = _in_a_row(pairs, later) & ~on_marks
    notes = (
        note
        for which, what in ((frozen, _STOOD_STILL), (~frozen & ~on_marks, _MAY_BE_COPIED))
        for note in _sentences(rows, prepared, pairs[which], later[which], what)
    )
    return Copied(pairs[frozen, 0], pairs[frozen, 1], pairs[on_marks], tuple(notes))


def _in_a_row(pairs: Integers, later: Integers) -> Flags:
    """Return (k,) which copies stand in a row with what they copy and its other copies, enough of them and for long."""
    if not len(pairs):
        return np.zeros(0, bool)
    order = np.argsort(pairs[:, 1], kind="stable")
    first, starts, group = np.unique(pairs[order, 1], return_index=True, return_inverse=True)
    number, gap = pairs[order, 0], later[order]
    most, least = (of.reduceat(number, starts) for of in (np.maximum, np.minimum))
    count = np.bincount(group) + 1
    in_a_row = np.maximum(most, first) - np.minimum(least, first) == count - 1
    took = np.maximum(np.maximum.reduceat(gap, starts), 0) - np.minimum(np.minimum.reduceat(gap, starts), 0)
    found = np.zeros(len(pairs), bool)
    found[order] = (in_a_row & (count >= _FROZEN) & (took >= _WHILE))[group]
    return found


_STOOD_STILL = (
    "they are held back as duplicate: the controller seems to have repeated its last position;"
    " measure the missing points again"
)
_MAY_BE_COPIED = "check whether a row was copied, or the controller repeated its last position"
_NEIGHBOURS = (
    "; where that is the row before or behind, positions may have been moved by a row, which shows in no other way:"
    " compare the rows around with the controller, which may have their neighbours' positions as well"
)


def _sentences(rows: ReadingRows, prepared: Prepared, pairs: Integers, later: Integers, what: str) -> Iterator[str]:
    """Yield for each export in words what its readings (k,) have the position of, and ``what`` that means."""
    exports = rows.export(pairs[:, 0])
    for export in np.unique(exports).tolist():
        here = np.flatnonzero(exports == export)
        some = here[:_LISTED]
        named = zip(*(named_rows(rows, prepared, pairs[some, column]) for column in (0, 1)), strict=True)
        listed = "; ".join(
            f"{one} that of {other}, {lasting(abs(by))} {'later' if by > 0 else 'earlier'}"
            for (one, other), by in zip(named, later[some].tolist(), strict=True)
        )
        more = and_more(len(here) - _LISTED)
        beside = what == _MAY_BE_COPIED and bool((np.abs(pairs[here, 0] - pairs[here, 1]) == 1).any())
        have = counted(len(here), "reading has", "readings have")
        yield (
            f"{prepared.exports[export].shown}: {have} the position of another to the last digit, at another time, and"
            f" no measurement repeats like that: {what}: {listed}{more}{_NEIGHBOURS if beside else ''}"
        )


def named_rows(rows: ReadingRows, prepared: Prepared, numbers: Integers) -> list[str]:
    """Return readings (k,) by the files that they are of, and their rows there."""
    places = zip(rows.export(numbers).tolist(), rows.source_row(numbers).tolist(), strict=True)
    return [f"{prepared.exports[export].shown}:{row}" for export, row in places]


def _tie_names(prepared: Prepared) -> NDArray[np.uint32]:
    """Return the hashes of the names of all points that sessions are tied by."""
    sessions = [window.session for window in prepared.windows]
    names = [tie.point for session in sessions for tie in session.ties]
    names += [stated.tie for session in sessions for stated in session.field_shifts if stated.tie is not None]
    return name_hashes(pa.array(names, pa.string())).astype(np.uint32)


class _Positions(Struct, frozen=True):
    """Hashes of the position of every reading, piece by piece as often as needed."""

    rows: ReadingRows

    def __iter__(self) -> Iterator[Hashes]:
        for _, place in self.rows.columns.pieces("longitude", "latitude", "height"):
            yield place_hashes(np.zeros(len(place[0]), np.uint32), *place)


class Cells(Struct, frozen=True):
    """Hashes of the cell of every reading, likewise."""

    rows: ReadingRows

    def __iter__(self) -> Iterator[Hashes]:
        for _, place in self.rows.columns.pieces("longitude", "latitude"):
            yield mixed(cells(*place).view(np.uint64))


def _cells(rows: ReadingRows, which: Flags) -> Iterator[tuple[NDArray[np.int64], Flags]]:
    for at, place in rows.columns.pieces("longitude", "latitude"):
        yield cells(*place), which[at]
