"""Matches points between two issues by name and place where their times differ."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.draft.merged import REPLACED
from pipeline.duplicates import text_hashes
from pipeline.geodesy.axes import NAMES, Axes
from pipeline.reissue.means import bare
from pipeline.words import Reason

#: Metres in plan within which what has the name and another time is the same point; common practice, no source.
SAME_PLACE = 0.5
#: Metres: points of a session whose shift became another move alike to within it, whatever the way between them.
_ALIKE = 0.1
#: So many points that moved alike are no chance.
_SEVERAL = 3


def take_readings(before: pa.Table, after: pa.Table, there: Integers, axes: Axes) -> None:
    """Match a point with itself where another of its readings is issued now: take it up in ``there``.

    Args:
        before: the rows of one issue.
        after: those of another.
        there: (n,) for each row after the row before that is the same observation, -1 where none is.
        axes: of the grid.
    """
    if not before.num_rows or not after.num_rows:
        return
    back = _back(there, before.num_rows)
    was_held, is_held = are_held(before), are_held(after)
    gave_way, stood = _duplicates(after), _duplicates(before)
    gone = np.flatnonzero(~was_held & ((back < 0) | is_held[back]))
    came = np.flatnonzero(~is_held & ((there < 0) | was_held[there]))
    was, now = _one_name(before, after, gone, came)
    apart = metres_between(before, after, was, now, axes)
    one = _near(apart)
    one &= ((back[was] >= 0) & gave_way[back[was]]) | ((there[now] >= 0) & stood[there[now]])
    was, now = was[one], now[one]
    instead = back[was]
    there[instead[instead >= 0]] = -1
    there[now] = was


def keep_names(before: pa.Table, after: pa.Table, there: Integers, axes: Axes) -> None:
    """Let a point that lost or got readings of its own keep its row by its name: take it up in ``there``.

    Where each reading was a point (P, P_2) and one stands for all of them now, that one is P, which lay elsewhere, and
    P_2 is issued no more, although it may be P_2's reading; and the other way round. Arguments as of `take_readings`.
    """
    if not before.num_rows or not after.num_rows:
        return
    back = _back(there, before.num_rows)
    was_held, is_held = are_held(before), are_held(after)
    was, now = _one_name(before, after, np.flatnonzero(~was_held), np.flatnonzero(~is_held))
    apart = metres_between(before, after, was, now, axes)
    one = _near(apart)
    one &= there[now] != was
    was, now = was[one], now[one]
    instead, of = back[was], there[now]  # the reading of the one, and what the other was
    less = _numbered(before, of, was) & ~was_held[of] & ((instead < 0) | _duplicates(after)[instead])
    more = _numbered(after, instead, now) & ~is_held[instead] & ((of < 0) | _duplicates(before)[of])
    swapped = less | more
    was, now, instead, of = was[swapped], now[swapped], instead[swapped], of[swapped]
    there[instead[instead >= 0]] = of[instead >= 0]
    there[now] = was


def _numbered(table: pa.Table, rows: Integers, named: Integers) -> Flags:
    """Return (k,) which rows, -1 for none, have the names of others and a number that tells them apart."""
    names, others = (table.column("name").take(pa.array(np.maximum(at, 0))).combine_chunks() for at in (rows, named))
    told = pc.and_(pc.equal(bare(names), others), pc.not_equal(names, others))
    return np.asarray(pc.fill_null(told, False)) & (rows >= 0)


def at_other_times(before: pa.Table, after: pa.Table, there: Integers, axes: Axes) -> int:
    """Match rows with another time that have one name and one place: take them up in ``there``, and return how many.

    The place is the same too where several points of a session moved by one vector, as another shift moves them. All
    arguments are those of `take_readings`.
    """
    found = 0
    for held_before, held_after in ((False, False), (False, True), (True, False)):
        gone = np.flatnonzero((_back(there, before.num_rows) < 0) & (are_held(before) == held_before))
        came = np.flatnonzero((there < 0) & (are_held(after) == held_after))
        was, now = _one_name(before, after, gone, came)
        apart = metres_between(before, after, was, now, axes)
        same = np.hypot(apart[:, 0], apart[:, 1]) <= SAME_PLACE
        if not held_before and not held_after:
            same |= _moved_alike(apart, after.column("session"), now)
        there[now[same]] = was[same]
        found += int(same.sum())
    return found


def _moved_alike(apart: Floats, session: pa.ChunkedArray, now: Integers) -> Flags:
    """Return (k,) which points moved as most of several of their session did."""
    alike = np.zeros(len(now), bool)
    names = np.asarray(pc.fill_null(session.cast(pa.string()), "").take(pa.array(now)).to_numpy(), str)
    for name in np.unique(names):
        rows = np.flatnonzero((names == name) & np.isfinite(apart).all(axis=1))
        if len(rows) >= _SEVERAL:
            near = (np.abs(apart[rows] - np.median(apart[rows], axis=0)) <= _ALIKE).all(axis=1)
            if near.sum() >= max(_SEVERAL, len(rows) / 2):
                alike[rows[near]] = True
    return alike


def _one_name(before: pa.Table, after: pa.Table, gone: Integers, came: Integers) -> tuple[Integers, Integers]:
    """Return which rows before and which after have a name that no other of those ``gone`` or that ``came`` has."""
    (names, one), (others, other) = _once(before, gone), _once(after, came)
    _, here, there = np.intersect1d(names, others, assume_unique=True, return_indices=True)
    return one[here], other[there]


def _near(apart: Floats) -> Flags:
    """Return (k,) which rows (k, 3) metres apart may be readings of one point; without heights the plan says it."""
    return (np.hypot(apart[:, 0], apart[:, 1]) <= REPLACED) & ~(np.abs(apart[:, 2]) > REPLACED)


def _once(table: pa.Table, rows: Integers) -> tuple[NDArray[np.uint64], Integers]:
    """Return hashes of the names that one row alone has, and those rows; a name may be missing."""
    column = table.column("name").take(pa.array(rows)).combine_chunks()
    named = np.asarray(pc.fill_null(pc.greater(pc.utf8_length(column), 0), False))
    hashes, at, count = np.unique(text_hashes(column)[named], return_index=True, return_counts=True)
    return hashes[count == 1], rows[named][at[count == 1]]


def metres_between(before: pa.Table, after: pa.Table, was: Integers, now: Integers, axes: Axes) -> Floats:
    """Return (k, 3) metres to the east, north and up from rows before to rows after."""
    return np.asarray((on_grid(after)[now] - on_grid(before)[was]) * axes.counts())


def on_grid(table: pa.Table) -> Floats:
    """Return (n, 3) easting, northing, height as the grid writes them, NaN where there are none."""
    return np.column_stack([numbers(table, name) for name in NAMES])


def numbers(table: pa.Table | pa.RecordBatch, name: str) -> Floats:
    """Return (n,) a column's numbers, NaN where there are none."""
    return np.asarray(pc.fill_null(table.column(name), np.nan), np.float64)


def _back(there: Integers, count: int) -> Integers:
    """Return for each of so many rows before the row after that is the same, -1 where none is."""
    back = np.full(count, -1)
    back[there[there >= 0]] = np.flatnonzero(there >= 0)
    return back


def are_held(table: pa.Table) -> Flags:
    """Return (n,) which rows are held back."""
    return np.asarray(table.column("held"), bool)


def _duplicates(table: pa.Table) -> Flags:
    return np.asarray(pc.fill_null(pc.equal(table.column("reason").cast(pa.string()), str(Reason.DUPLICATE)), False))
