"""Which rows of two issues are the same observation or point, and what is known of those that differ."""

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates import mixed_with, text_hashes
from pipeline.geodesy.axes import NAMES, Axes
from pipeline.reissue.known_again import (
    are_held,
    metres_between,
    numbers,
)
from pipeline.reissue.left_over import ranked
from pipeline.reissue.means import bare
from pipeline.reissue.side import Side

#: Metres. A point that got another name lies within it of where it lay; common practice, no source.
RENAMED = 0.5

#: Some rows of the earlier issue and of the later one, each None where there are none there.
Pairs = tuple[Integers | None, Integers | None]


class KnownRows(Struct, frozen=True):
    """The rows of two issues that differ, and which of them are known again.

    Args:
        before: the rows of the earlier issue.
        after: those of the later one.
        axes: how the grid writes coordinates.
        old: (k,) rows of the earlier issue that are known again.
        new: (k,) what they are in the later one.
        gone: rows of the earlier issue that are not known again.
        came: rows of the later issue that none of the earlier one is.
        was_held: (k,) which of the former are held back in the earlier issue.
        is_held: (k,) which are in the later one.
    """

    before: pa.Table
    after: pa.Table
    axes: Axes
    old: Integers
    new: Integers
    gone: Integers
    came: Integers
    was_held: Flags
    is_held: Flags

    @classmethod
    def of(cls, before: pa.Table, after: pa.Table, there: Integers, axes: Axes) -> "KnownRows":
        """Return what is known where row i of ``after`` is row ``there[i]`` of ``before``, (n,) with -1 for none."""
        new, came = np.flatnonzero(there >= 0), np.flatnonzero(there < 0)
        old, gone = there[new], _unmatched(there, before.num_rows)
        return cls(before, after, axes, old, new, gone, came, are_held(before)[old], are_held(after)[new])

    @property
    def points(self) -> Flags:
        """Return (k,) which are points in both issues."""
        return ~self.is_held & ~self.was_held

    def changed(self) -> Flags:
        """Return (k,) which have other attributes."""
        was, is_ = (np.asarray(table.column("attributes")) for table in (self.before, self.after))
        return np.asarray(was[self.old] != is_[self.new])

    def renamed(self) -> Flags:
        """Return (k,) which have another name: of several points with one name another one may come first now."""
        was, is_ = self.before.column("name"), self.after.column("name")
        names = was.take(pa.array(self.old)), is_.take(pa.array(self.new))
        return np.asarray(pc.not_equal(*(pc.fill_null(each, "") for each in names)), bool)

    def off(self) -> Floats:
        """Return (k,) by how much they moved along the axis along which they moved most, metres."""
        off = np.zeros(len(self.new))
        for name, count in zip(NAMES, self.axes.counts(), strict=True):
            apart = (numbers(self.after, name)[self.new] - numbers(self.before, name)[self.old]) * count
            off = np.maximum(off, np.abs(apart))
        return off

    def pairs(self, those: Flags) -> Pairs:
        """Return those of (k,) rows."""
        return self.old[those], self.new[those]


def know_renamed(before: pa.Table, after: pa.Table, there: Integers, axes: Axes) -> None:
    """Match points that got another name: take them up in ``there``."""
    gone, came = _unmatched(there, before.num_rows), np.flatnonzero((there < 0) & ~are_held(after))
    gone = gone[~are_held(before)[gone]]
    if not len(gone) or not len(came):
        return
    times, rows = [], []
    for table, chosen in ((before, gone), (after, came)):
        observed = np.asarray(table.column("observed").cast(pa.int64()))[chosen]
        own, at, count = np.unique(observed, return_index=True, return_counts=True)
        times.append(own[count == 1])
        rows.append(chosen[at[count == 1]])
    _, one, other = np.intersect1d(times[0], times[1], assume_unique=True, return_indices=True)
    was, now = rows[0][one], rows[1][other]
    apart = metres_between(before, after, was, now, axes)
    near = np.hypot(apart[:, 0], apart[:, 1]) <= RENAMED
    there[now[near]] = was[near]


def match(one: tuple[pa.Table, Side], other: tuple[pa.Table, Side]) -> Integers:
    """Return for each row of one issue the row of the other that is the same observation, -1 where none is.

    Of what is left then, names that were told apart since, or are no more, are taken without their numbers. Each issue
    is the rows that differ and its side, which has all.
    """
    (rows, side), (among, its) = one, other
    found = _matched(_keys(rows), _keys(among))
    left, free = np.flatnonzero(found < 0), _unmatched(found, among.num_rows)
    if len(left) and len(free):
        wanted = _without_numbers(rows.take(pa.array(left)), side)
        there = _without_numbers(among.take(pa.array(free)), its)
        again = _matched(_keys(wanted), _keys(there))
        found[left] = np.where(again >= 0, free[again], -1)
    return found


def _unmatched(there: Integers, count: int) -> Integers:
    """Return which of so many rows are not among those matched, -1 for none."""
    free = np.ones(count, bool)
    free[there[there >= 0]] = False
    return np.flatnonzero(free)


def _without_numbers(table: pa.Table, side: Side) -> pa.Table:
    """Return rows with their names as they were before they were told apart.

    A1_3 may be a name of the field itself. The number was put there only if the issue has a point A1, which kept the
    name. What is held back has the name of its export.
    """
    names = table.column("name").combine_chunks()
    plain = bare(names)
    put = ~are_held(table) & np.asarray(pc.fill_null(pc.not_equal(names, plain), False))
    put[put] = side.has_names(text_hashes(plain.filter(pa.array(put))))
    return table.set_column(table.schema.get_field_index("name"), "name", pc.if_else(pa.array(put), plain, names))


def _matched(wanted: NDArray[np.uint64], keys: NDArray[np.uint64]) -> Integers:
    if np.array_equal(wanted, keys):  # nearly always the same rows in the same order
        return np.arange(len(keys))
    order = np.argsort(keys, kind="stable")
    at = np.searchsorted(keys[order], wanted)
    found = np.where(at < len(keys), at, 0)
    if not len(keys):
        return np.full(len(wanted), -1)
    return np.where(keys[order][found] == wanted, order[found], -1)


def _keys(table: pa.Table) -> NDArray[np.uint64]:
    """Return a key per row: hash of name and time, and which of those alike it is."""
    pieces = [
        mixed_with(text_hashes(batch.column("name")), np.asarray(batch.column("observed").cast(pa.int64())))
        for batch in table.to_batches(max_chunksize=65_536)
    ]
    return ranked(np.concatenate(pieces or [np.zeros(0, np.uint64)]))
