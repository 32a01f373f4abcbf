"""Finds readings that two sessions have at one position to the last digit: copies, if their bases stood elsewhere.

Whether they did, the shifts say: of a base that stood, and was set, as before, two such readings are both right.
"""

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Integers
from pipeline.clock import lasting
from pipeline.duplicates import having, occurring_again, of_pairs, pairs_among
from pipeline.duplicates.exact import Hashes
from pipeline.duplicates.other_sessions import agreeing_by_chance, in_other_sessions, no_chance
from pipeline.intake.copies import Cells, named_rows
from pipeline.intake.ledger import SOUND, WHOLE, ReadingRows, code_hashes, name_hashes
from pipeline.intake.prepare import Prepared

#: Share of an export's rows that another has by another clock from which on it is an export made anew, so that it is
#: known which of the two counts; of a few rows among others it is not.
_ANEW = 0.8
#: Pairs beyond which some of them, evenly spread, stand for all: loggers with few digits give any number of them.
_MOST = 200_000
#: Pairs that are named; which of them are told, the shifts say.
_NAMED = 60
#: Names or codes of rows in which a controller writes down where the base was set, beside the base ids themselves.
#: Common practice, no source.
_BASE_ROWS = ("base", "base station", "basis", "ref", "reference")


class Recurring(Struct, frozen=True):
    """Readings of two sessions, (k,) pairs, that have one position each.

    Args:
        session: (k, 2) indices of the sessions, the two that all are of in either order; the earlier reading first.
        time: (k, 2) UTC milliseconds.
        export: (k, 2) numbers of the exports.
        base: (k, 2) keys of the base ids, None where a reading has none.
        named: of the first pairs, in words.
        row: (k,) number of the later reading in its file.
    """

    session: Integers
    time: Integers
    export: Integers
    base: NDArray[np.object_]
    named: tuple[str, ...]
    row: Integers


def find_recurring(
    rows: ReadingRows,
    prepared: Prepared,
    shared: tuple[Integers, Hashes],
    fresh: Flags,
    late: Integers,
    on_marks: Integers,
) -> tuple[Recurring, ...]:
    """Find the readings of which two sessions have the position, those of each two sessions together.

    Of occupations that are told as copies already nothing is told. A reading that is held back as exported by another
    clock counts, unless its export is one made anew: that of two files the one with more rows is right says nothing of
    rows that somebody copied from one into the other.

    Args:
        rows: all readings.
        prepared: the job's exports.
        shared: numbers of the readings whose position others have, and what tells positions apart.
        fresh: (n,) which readings have a place and repeat no other row.
        late: (p, 2) numbers of readings that are one by two clocks, of which one is held back.
        on_marks: (m, 2) numbers of occupations that are copies.
    """
    numbers, position = shared
    here = fresh[numbers] & (rows.session[numbers] >= 0)
    numbers, position = numbers[here], position[here]
    found = np.zeros((0, 2), np.int64)
    if len(numbers):
        (time,) = rows.columns.take(numbers, "time")
        found = numbers[in_other_sessions(time, position, rows.session[numbers].astype(np.int64))]
        found = found[~pairs_among(found, on_marks)]
        found = found[:: len(found) // _MOST + 1]
        found = found[_no_chance(rows, fresh, found)]
    pairs = np.concatenate([found, _some_rows(rows, fresh, late)])
    pairs = pairs[((rows.flags[pairs] & SOUND) != 0).any(axis=1)]
    pairs = pairs[~_of_the_base(rows, prepared, pairs)]
    if not len(pairs):
        return ()
    of, _, places = of_pairs(rows, pairs)
    pairs = np.take_along_axis(pairs, np.argsort(of.time[places], axis=1, kind="stable"), axis=1)
    session = np.sort(rows.session[pairs].astype(np.int64), axis=1)
    return tuple(
        _recurring(rows, prepared, pairs[(session == both).all(axis=1)]) for both in np.unique(session, axis=0)
    )


def _of_the_base(rows: ReadingRows, prepared: Prepared, pairs: Integers) -> Flags:
    """Return (p,) which pairs are rows of the base itself: it may broadcast one position on several days."""
    if not len(pairs):
        return np.zeros(0, bool)
    ids = [window.session.base for window in prepared.windows]
    known = pa.array([name for name in (*_BASE_ROWS, *rows.bases, *ids) if name], pa.string())
    of, numbers, places = of_pairs(rows, pairs)
    (code,) = rows.columns.take(numbers, "code")
    of_base = np.isin(of.name, name_hashes(known).astype(of.name.dtype))
    of_base |= np.isin(code, code_hashes(known).astype(code.dtype))
    return np.asarray(of_base[places].all(axis=1))


def _recurring(rows: ReadingRows, prepared: Prepared, pairs: Integers) -> Recurring:
    pairs = pairs[np.lexsort((pairs[:, 0], pairs[:, 1]))]
    of, _, places = of_pairs(rows, pairs)
    time = of.time[places]
    some = pairs[:_NAMED]
    named = zip(named_rows(rows, prepared, some[:, 1]), named_rows(rows, prepared, some[:, 0]), strict=True)
    told = tuple(
        f"{one} that of {other}" + (f", {lasting(by)} later" if by else "")
        for (one, other), by in zip(named, np.diff(time[: len(some)], axis=1).ravel().tolist(), strict=True)
    )
    export = rows.export(pairs).astype(np.int64)
    row = rows.source_row(pairs[:, 1])
    base = np.array(rows.bases, np.object_)[of.base[places]]
    return Recurring(rows.session[pairs].astype(np.int64), time, export, base, told, row)


def _no_chance(rows: ReadingRows, fresh: Flags, pairs: Integers) -> Flags:
    """Return (p,) which pairs are no chance, by how many readings of both sessions could have agreed."""
    told = np.zeros(len(pairs), bool)
    if not len(pairs):
        return told
    of, _, places = of_pairs(rows, pairs)
    chances = agreeing_by_chance(of)[places].max(axis=1)
    sessions = np.sort(rows.session[pairs].astype(np.int64), axis=1)
    cells, within = Cells(rows), fresh & np.isin(rows.session, np.unique(sessions))
    numbers, cell = having(occurring_again(cells, within), cells, within)
    place, session = np.unique(cell, return_inverse=True)[1].ravel(), rows.session[numbers].astype(np.int64)
    for both in np.unique(sessions, axis=0):
        here = np.flatnonzero((sessions == both).all(axis=1))
        one, other = (np.bincount(place[session == number], minlength=int(place.max()) + 1) for number in both.tolist())
        told[here] = no_chance(chances[here], int(one @ other))
    return told


def _some_rows(rows: ReadingRows, fresh: Flags, late: Integers) -> Integers:
    """Return those of pairs by two clocks, (q, 2), that two sessions have and that are but some of their exports."""
    if not len(late):
        return late
    exports, whole = rows.export(late).astype(np.int64), rows.having(WHOLE)
    counts = np.array([np.count_nonzero(whole[start : start + count]) for start, count in _spans(rows)])
    share = np.bincount(rows.export(np.unique(late)), minlength=len(counts)) / np.maximum(counts, 1)
    held = np.where(fresh[late], 0.0, share[exports]).max(axis=1)
    session = rows.session[late]
    found: Integers = late[(held < _ANEW) & (session >= 0).all(axis=1) & (session[:, 0] != session[:, 1])]
    return found


def _spans(rows: ReadingRows) -> Sequence[tuple[int, int]]:
    return list(zip(rows.starts.tolist(), rows.counts().tolist(), strict=True))
