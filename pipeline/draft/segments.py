"""Readings of strings put in order and parted into strings: arrays in, arrays out.

A string begins with a reading that says so, and goes on, in time, to one that ends or closes it. What neither starts
nor ends is a string too here; that it is not drawn, and why, is found in `draft/joined.py`.
"""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.codes.writing import Says
from pipeline.draft.string_rows import StringRows


class Segments(Struct, frozen=True):
    """Strings (s,) as pieces of ``rows``, which are rows of `StringRows` in the order of the strings, then of time.

    Args:
        rows: (k,) rows.
        first: (s,) at which of ``rows`` each begins; ``last`` its last.
        key: (s,) which code, number and source it has; alike in several sessions.
        starts: (s,) whether its first reading says so; ``ends`` whether its last does.
        closes: (s,) whether that says that it closes.
        unplaced: (u,) rows that lie in no string, since they have no time, or no session where a string lies in one;
            ``unplaced_key`` their keys, -1 of readings that nobody can read.
    """

    rows: Integers
    first: Integers
    last: Integers
    key: Integers
    starts: Flags
    ends: Flags
    closes: Flags
    unplaced: Integers
    unplaced_key: Integers

    def any_of(self, which: Flags) -> Integers:
        """Return (s,) the first of ``rows`` in each string for which it is so, -1 for none; ``which`` (k,) by rows."""
        far = len(self.rows)
        place = np.where(which, np.arange(far), far)
        found = np.minimum.reduceat(place, self.first) if len(self.first) else np.zeros(0, np.int64)
        return np.where(found < far, found, -1)

    def span(self, values: Integers) -> tuple[Integers, Integers]:
        """Return (s,) the least and the most of ``values`` (k,), by rows, in each string."""
        if not len(self.first):
            return values[:0], values[:0]
        return np.minimum.reduceat(values, self.first), np.maximum.reduceat(values, self.first)


def parted(rows: StringRows, which: Integers, source: Integers, in_session: bool) -> Segments:
    """Part readings into strings.

    Args:
        rows: the readings.
        which: (n,) those of them that count.
        source: (k,) what a string lies within, beside a session: its rover's exports.
        in_session: whether a string lies within one session.
    """
    key = _keys(rows, source)
    key[rows.code < 0] = -1
    nowhere = (rows.time[which] < 0) | (rows.code[which] < 0)
    if in_session:
        nowhere |= rows.session[which] < 0
    unplaced, placed = which[nowhere], which[~nowhere]
    session = rows.session[placed] if in_session else np.zeros(len(placed), np.int64)
    order = placed[np.lexsort((rows.number[placed], rows.time[placed], session, key[placed]))]
    session = rows.session[order] if in_session else np.zeros(len(order), np.int64)
    says = rows.says[order]
    ending = (says & int(Says.END | Says.CLOSE)) != 0
    begins = np.ones(len(order), bool)
    begins[1:] = (key[order][1:] != key[order][:-1]) | (session[1:] != session[:-1])
    begins[1:] |= ((says[1:] & int(Says.START)) != 0) | ending[:-1]
    first = np.flatnonzero(begins)
    last = np.append(first[1:], len(order))[: len(first)] - 1
    return Segments(
        rows=order,
        first=first,
        last=last,
        key=key[order][first],
        starts=(says[first] & int(Says.START)) != 0,
        ends=ending[last],
        closes=(says[last] & int(Says.CLOSE)) != 0,
        unplaced=unplaced,
        unplaced_key=key[unplaced],
    )


def _keys(rows: StringRows, source: Integers) -> Integers:
    """Return (k,) a number for each code, number of a string and source together."""
    whole = (rows.code * max(1, len(rows.labels)) + rows.label) * (int(source.max(initial=0)) + 1) + source
    return np.asarray(np.unique(whole, return_inverse=True)[1], np.int64).ravel()


def first_within(key: Integers, low: Integers, high: Integers, of_key: Integers, value: Integers) -> Integers:
    """Return (s,) which of some values is the first within each range of its key, both ends counted; -1 for none.

    Args:
        key: (s,) of the ranges, none below zero; ``low`` and ``high`` their ends.
        of_key: (u,) of the values; ``value`` themselves.
    """
    if not len(key) or not len(value):
        return np.full(len(key), -1)
    least, most = min(low.min(), value.min()), max(high.max(), value.max())
    span = int(most - least) + 1
    order = np.lexsort((value, of_key))
    together = of_key[order] * span + (value[order] - least)
    start = np.searchsorted(together, key * span + (low - least), "left")
    stop = np.searchsorted(together, key * span + (high - least), "right")
    return np.where(stop > start, order[np.minimum(start, len(order) - 1)], -1)


def one_source(export: Integers, other: Integers, count: int) -> Integers:
    """Return (count,) the source of each export: those that repeat readings of one another are one rover's.

    ``export`` and ``other`` (n,) are exports of which the one repeats a reading of the other.
    """
    source = np.arange(count)
    pairs = np.unique(np.column_stack([export, other]), axis=0) if len(export) else np.zeros((0, 2), np.int64)
    for one, another in pairs.tolist():
        kept, gone = sorted((int(source[one]), int(source[another])))
        source[source == gone] = kept
    return source
