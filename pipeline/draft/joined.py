"""Which strings are drawn as lines, and why the others are not.

A line joins issued points only: a string with a reading that is held back, on a mark or not understood is not drawn
past it. A reading that a later copy or measurement of the same is issued for is drawn where that lies.
"""

from collections.abc import Mapping

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Integers
from pipeline.codes.writing import Says, Writing
from pipeline.draft.second_pass import Drafter
from pipeline.draft.segments import Segments, first_within, one_source, parted
from pipeline.draft.string_rows import NOT_READ, STANDS_FOR_OTHERS, StringRows
from pipeline.words import Reason, Unjoined, reason_code

#: Codes of why a string is not drawn: 0 is "drawn", n is UNJOINED[n - 1].
UNJOINED: tuple[Unjoined, ...] = tuple(Unjoined)
#: Points that a line has at the least, open and closed.
_LEAST, _LEAST_CLOSED = 2, 3
#: Not told: readings of a line that is drawn already.
DRAWN_ELSEWHERE = len(UNJOINED) + 1


class Joined(Struct, frozen=True):
    """The strings of a job.

    Args:
        rows: their readings.
        segments: the strings.
        point: (k,) for each of ``segments.rows`` the row at whose place it is drawn, -1 where it is not issued.
        closed: (s,) whether a string is closed.
        why: (s,) why it is not drawn (see `UNJOINED`), 0 where it is.
        at: (s,) the row of `rows` for whose sake it is held back or not understood, -1 for none.
        strays: rows that lie in no string.
    """

    rows: StringRows
    segments: Segments
    point: Integers
    closed: Flags
    why: NDArray[np.int64]
    at: Integers
    strays: Integers

    @property
    def drawn(self) -> Integers:
        """Return (k,) the strings that are drawn, in the order of the exports."""
        found = np.flatnonzero(self.why == 0)
        number = self.rows.number[self.segments.rows[self.segments.first[found]]]
        return found[np.argsort(number)]

    def sizes(self, strings: Integers) -> Integers:
        """Return how many readings each of some strings has."""
        return self.segments.last[strings] - self.segments.first[strings] + 1


def join(rows: StringRows, drafter: Drafter, writing: Writing) -> Joined:
    """Part readings into strings, and say which of them are drawn."""
    linework = drafter.survey.job.linework
    assert linework is not None
    copy_of, stands = _copies(rows, drafter), _stand_ins(rows, drafter)
    if linework.within == "job":
        source = np.zeros(len(rows.number), np.int64)
    else:
        copies = np.flatnonzero(copy_of >= 0)
        exports = len(drafter.survey.exports)
        source = one_source(rows.export[copies], rows.export[copy_of[copies]], exports)[rows.export]
    which = np.flatnonzero((rows.code != STANDS_FOR_OTHERS) & (copy_of < 0))
    found = parted(rows, which, source, linework.within == "session")
    issued = (rows.held == 0) & ~rows.on_mark
    place = np.where(issued, np.arange(len(issued)), np.where(stands >= 0, stands, -1))
    point = np.where((place >= 0) & issued[place], place, -1)[found.rows] if len(place) else place
    area = np.array([one.area for one in writing.strings], bool)[rows.code[found.rows[found.first]]]
    closed = found.closes | (found.ends & area)
    why, at = _whys(rows, found, point, closed)
    why = _told_once(why, found, point, np.isin(rows.number, drafter.merged.by))
    strays = found.unplaced[found.unplaced_key >= 0]
    return Joined(rows=rows, segments=found, point=point, closed=closed, why=why, at=at, strays=strays)


def _copies(rows: StringRows, drafter: Drafter) -> Integers:
    """Return (k,) the row that each repeats, as one observation exported twice with one code; -1 for none."""
    passed = drafter.survey.first_pass
    found = np.full(len(rows.number), -1)
    if not len(passed.duplicates) or not len(rows.number):
        return found
    at = np.minimum(np.searchsorted(passed.duplicates, rows.number), len(passed.duplicates) - 1)
    again = (passed.duplicates[at] == rows.number) & (rows.held == reason_code(Reason.DUPLICATE))
    first = _row_of(rows, passed.duplicate_of[at])
    same = (first >= 0) & (rows.code[first] == rows.code) & (rows.label[first] == rows.label)
    return np.where(again & same, first, -1)


def _stand_ins(rows: StringRows, drafter: Drafter) -> Integers:
    """Return (k,) the row that is issued for each that gave way to a later measurement of its point; -1 for none."""
    merged = drafter.merged
    if not len(merged.gone) or not len(rows.number):
        return np.full(len(rows.number), -1)
    at = np.minimum(np.searchsorted(merged.gone, rows.number), len(merged.gone) - 1)
    return np.where(merged.gone[at] == rows.number, _row_of(rows, merged.by[at]), -1)


def _row_of(rows: StringRows, number: Integers) -> Integers:
    """Return the rows that have some numbers in the job, -1 where a number is none of them."""
    at = np.minimum(np.searchsorted(rows.number, number), len(rows.number) - 1)
    return np.where(rows.number[at] == number, at, -1)


def _whys(rows: StringRows, found: Segments, point: Integers, closed: Flags) -> tuple[Integers, Integers]:
    """Return (s,) why strings are not drawn, 0 where they are, and the row that is to blame; -1 for none."""
    size = found.last - found.first + 1
    not_issued = found.any_of(point < 0)
    unknown = found.any_of((rows.says[found.rows] & int(Says.UNKNOWN)) != 0)
    between = _between(rows, found)
    held = np.where(not_issued >= 0, found.rows[not_issued] if len(found.rows) else -1, between)
    blame = found.rows[unknown] if len(found.rows) else unknown
    cases: Mapping[Unjoined, Flags] = {
        Unjoined.UNKNOWN_WORD: unknown >= 0,
        Unjoined.NEITHER: ~found.starts & ~found.ends,
        Unjoined.NO_START: ~found.starts,
        Unjoined.NO_END: ~found.ends,
        Unjoined.ONE_POINT: size < _LEAST,
        Unjoined.TOO_FEW: closed & (size < _LEAST_CLOSED),
        Unjoined.HELD_BACK: held >= 0,
    }
    codes = [UNJOINED.index(word) + 1 for word in cases]
    why = np.select(list(cases.values()), codes, 0) if len(size) else np.zeros(0, np.int64)
    at = np.where(why == UNJOINED.index(Unjoined.HELD_BACK) + 1, held, -1)
    return why, np.where(why == UNJOINED.index(Unjoined.UNKNOWN_WORD) + 1, blame, at)


def _between(rows: StringRows, found: Segments) -> Integers:
    """Return (s,) a reading that belongs to each string and could not be put in its place: -1 for none.

    By its time where it has one, else by its row among those of the export, as a reading that nobody can read.
    """
    first, last = found.rows[found.first], found.rows[found.last]
    own, any_code = found.unplaced_key >= 0, rows.code[found.unplaced] == NOT_READ
    timed = own & (rows.time[found.unplaced] >= 0)
    by_time = _within(found.key, rows.time[first], rows.time[last], found.unplaced[timed], found.unplaced_key[timed],
                      rows.time)  # fmt: skip
    one = np.equal(*found.span(rows.export[found.rows]))
    low, high = found.span(rows.number[found.rows])
    untimed = own & ~timed
    by_row = _within(found.key, low, high, found.unplaced[untimed], found.unplaced_key[untimed], rows.number)
    not_read = found.unplaced[any_code]
    of_file = _within(rows.export[first], low, high, not_read, rows.export[not_read], rows.number)
    by_row = np.where(one, np.where(by_row >= 0, by_row, of_file), -1)
    return np.where(by_time >= 0, by_time, by_row)


def _within(
    key: Integers, low: Integers, high: Integers, chosen: Integers, of_key: Integers, values: Integers
) -> Integers:
    """Return (s,) the first of ``chosen`` rows whose value lies within each range of its key, -1 for none."""
    at = first_within(key, low, high, of_key, values[chosen])
    return np.where(at >= 0, chosen[at], -1) if len(chosen) else at


def _told_once(why: Integers, found: Segments, point: Integers, stands: Flags) -> Integers:
    """Return (s,) why strings are not drawn, without those that say again what is drawn already.

    Such are strings measured again by name, whose points are the same, and single readings that stand for points of
    another string; ``stands`` says of every row whether it is issued for others.
    """
    if not stands.any():
        return why
    told, seen = why.copy(), set[bytes]()
    for string in np.flatnonzero(why == 0).tolist():
        points = point[found.first[string] : found.last[string] + 1].tobytes()
        if points in seen:
            told[string] = DRAWN_ELSEWHERE
        seen.add(points)
    stray = why == UNJOINED.index(Unjoined.NEITHER) + 1
    others = found.any_of(~stands[found.rows]) < 0
    told[stray & others] = DRAWN_ELSEWHERE
    return told
