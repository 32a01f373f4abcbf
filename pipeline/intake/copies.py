"""Readings of a job that are copies of another under another name and time: what a frozen or mistyped row becomes."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.arrays import Flags, Integers
from pipeline.clock import lasting
from pipeline.duplicates import having, occurring_again
from pipeline.duplicates.exact import Hashes, mixed, place_hashes
from pipeline.duplicates.one_place import Crowd, cells, copies, nearby
from pipeline.intake.ledger import CANDIDATE, Rows, name_hashes
from pipeline.intake.prepare import Prepared
from pipeline.words import counted

#: Pairs that a sentence lists.
_LISTED = 3


@dataclass(frozen=True)
class Copied:
    """Rows that are copies: (k,) their numbers, ascending, the numbers of the rows that they copy, and ``notes``."""

    numbers: Integers
    first: Integers
    notes: tuple[str, ...] = ()


def find_copies(rows: Rows, fresh: Flags, prepared: Prepared) -> Copied:
    """Find the readings that have another's position to the last digit, though of another time.

    ``fresh`` (n,) says which readings have a place and repeat no other row.
    """
    positions = _Positions(rows)
    numbers, position = having(occurring_again(positions, fresh), positions, fresh)
    if not len(numbers):
        return Copied(numbers, numbers)
    of, candidate = rows.observed(numbers), rows.having(CANDIDATE)
    here = cells(of.longitude, of.latitude)
    sessions = max(len(prepared.windows), 1)
    every, marks = (
        Crowd(nearby(here, _cells(rows, which)), len(occurring_again(_Cells(rows), which)) / sessions)
        for which in (fresh, fresh & candidate)
    )
    found = copies(of, position, np.isin(of.name, _tie_names(prepared)), candidate[numbers], every, marks)
    order = np.argsort(found.place)
    copied, first = numbers[found.place[order]], numbers[found.of[order]]
    apart = of.time[found.place[order]] - of.time[found.of[order]]
    return Copied(copied, first, tuple(_told(rows, prepared, copied, first, apart)))


def _told(rows: Rows, prepared: Prepared, copied: Integers, first: Integers, apart: Integers) -> Iterator[str]:
    """Yield for each export in words what its readings copy."""
    exports = rows.export(copied)
    for export in np.unique(exports).tolist():
        here = np.flatnonzero(exports == export)
        some = here[:_LISTED]
        pairs = zip(_named(rows, prepared, copied[some]), _named(rows, prepared, first[some]), strict=True)
        listed = "; ".join(
            f"{one} that of {other}, {lasting(abs(by))} {'later' if by > 0 else 'earlier'}"
            for (one, other), by in zip(pairs, apart[some].tolist(), strict=True)
        )
        more = f" and {len(here) - _LISTED:,} more" if len(here) > _LISTED else ""
        have = counted(len(here), "reading has", "readings have")
        yield (
            f"{prepared.exports[export].shown}: {have} the position of another, to the last digit, at another time:"
            f" nobody measures so, and {'it is' if len(here) == 1 else 'they are'} held back as duplicate; see whether"
            f" a row was copied or the controller stood still, and measure again what is missing: {listed}{more}"
        )


def _named(rows: Rows, prepared: Prepared, numbers: Integers) -> list[str]:
    places = zip(rows.export(numbers).tolist(), rows.source_row(numbers).tolist(), strict=True)
    return [f"{prepared.exports[export].shown}:{row}" for export, row in places]


def _tie_names(prepared: Prepared) -> NDArray[np.uint32]:
    """Return the hashes of the names of all points that sessions are tied by."""
    sessions = [window.session for window in prepared.windows]
    names = [tie.point for session in sessions for tie in session.ties]
    names += [stated.tie for session in sessions for stated in session.field_shifts if stated.tie is not None]
    return name_hashes(pa.array(names, pa.string())).astype(np.uint32)


@dataclass(frozen=True)
class _Positions:
    """Hashes of the position of every reading, piece by piece as often as needed."""

    rows: Rows

    def __iter__(self) -> Iterator[Hashes]:
        for _, place in self.rows.columns.pieces("longitude", "latitude", "height"):
            yield place_hashes(np.zeros(len(place[0]), np.uint32), *place)


@dataclass(frozen=True)
class _Cells:
    """Hashes of the cell of every reading, likewise."""

    rows: Rows

    def __iter__(self) -> Iterator[Hashes]:
        for _, place in self.rows.columns.pieces("longitude", "latitude"):
            yield mixed(cells(*place).view(np.uint64))


def _cells(rows: Rows, which: Flags) -> Iterator[tuple[NDArray[np.int64], Flags]]:
    for at, place in rows.columns.pieces("longitude", "latitude"):
        yield cells(*place), which[at]
