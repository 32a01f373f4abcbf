"""Finds rows that repeat the observation of another row, and pairs of which that cannot be decided."""

from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.clock import lasting
from pipeline.duplicates import (
    Alike,
    agreeing,
    alike,
    by_another_clock,
    clock_lags,
    grouped,
    having,
    occurring_again,
    of_pairs,
    pairs_among,
    repeated,
)
from pipeline.duplicates.near import offsets
from pipeline.intake.copies import Copied, find_copies, named_rows, sharing
from pipeline.intake.ledger import CANDIDATE, CODED, NAMED, PLACED, REFUSED, SOUND, WHOLE, Names, Places, ReadingRows
from pipeline.intake.mean_rows import MeanRows
from pipeline.intake.prepare import Prepared
from pipeline.intake.recurring import Recurring, find_recurring
from pipeline.intake.shifted_copies import ShiftedCopies, find_shifted
from pipeline.near import and_more
from pipeline.replace import replace
from pipeline.words import counted, plural

#: Metres within which two readings of one name and time are one point that was computed, corrected or reduced twice.
_NEAR = 10.0
#: Two exports have a day in common where so many, and this share, of one's rows have name and time in the other.
_DAY, _SHARE = 3, 0.5
#: A logger that rounds its times gives many readings one name and time: above this share of an export it is a habit.
_HABIT = 0.05
#: Pairs that a sentence lists.
_LISTED = 3


class DuplicateRows(Struct, frozen=True):
    """Rows that repeat another: (k,) their numbers, ascending, and the numbers of the rows that count; ``notes``.

    ``on_marks`` are as `copies.Copied` has them: they repeat nothing as far as is known yet. ``shifted`` repeat nothing
    either: which of each two is right, nobody can say. ``recurring`` are what two sessions have at one position.
    """

    numbers: Integers
    first: Integers
    on_marks: Integers
    notes: tuple[str, ...]
    shifted: tuple[ShiftedCopies, ...] = ()
    recurring: tuple[Recurring, ...] = ()


def find_duplicates(rows: ReadingRows, prepared: Prepared) -> DuplicateRows:
    """Find the readings that are one observation, within the rounding of the exports.

    Of several writings the one counts that was refused for its quality, as the others merely do not say so; else the
    one that a session names, with a name, with a code, the finest, the first. Of two clocks the one of the export with
    more rows counts: a list of marks alone is a report made of them.
    """
    whole = rows.having(WHOLE)
    again, first = repeated(rows.each("hashes"), whole)
    fresh = rows.having(WHOLE, PLACED)
    fresh[again] = False
    pairs_alike = alike(rows, fresh)
    pairs = np.concatenate([np.column_stack([again, first]), pairs_alike.same])
    if len(pairs):
        again, first = grouped(pairs, _better(rows, pairs))
    fresh[again] = False
    late = _late(rows, fresh)
    notes = [*_exports(rows, prepared, again, first), *_by_clock(rows, prepared, late)]
    if len(late):
        pairs = np.concatenate([pairs, late])
        again, first = grouped(pairs, _better(rows, pairs, late))
    fresh[again] = False
    shared = sharing(rows, fresh)
    copied = find_copies(rows, fresh, shared, prepared)
    again, first = _with_copies(again, first, copied)
    fresh[again] = False
    recurring = find_recurring(rows, prepared, shared, fresh, late, copied.on_marks)
    shifted = find_shifted(rows, prepared, pairs_alike.apart, pairs_alike.together)
    named = np.concatenate([np.zeros((0, 2), np.int64), *(one.pairs for one in shifted if one.named)])
    pairs_alike = replace(pairs_alike, apart=pairs_alike.apart[~pairs_among(pairs_alike.apart, named)])
    notes = [*notes, *copied.notes, *_undecided(rows, prepared, pairs_alike)]
    return DuplicateRows(again, first, copied.on_marks, tuple(notes), shifted, recurring)


def with_means(found: DuplicateRows, means: Sequence[MeanRows], rows: ReadingRows) -> DuplicateRows:
    """Return what repeats another with the means of rows that are there too: they say nothing that those do not.

    One that a session names is meant to tie or to check.
    """
    if not means:
        return found
    numbers, epochs = (
        np.concatenate(parts) for parts in zip(*((one.numbers, one.epochs) for one in means), strict=True)
    )
    names = rows.observed(numbers).name
    apart = names != rows.observed(epochs).name
    fresh = ~np.isin(numbers, found.numbers) & ~(apart & ((rows.flags[numbers] & NAMED) != 0))
    numbers, epochs = numbers[fresh], epochs[fresh]
    counts = dict(zip(found.numbers.tolist(), found.first.tolist(), strict=True))
    epochs = np.array([counts.get(epoch, epoch) for epoch in epochs.tolist()], np.int64)
    means_of = dict(zip(numbers.tolist(), epochs.tolist(), strict=True))
    first = np.array([means_of.get(each, each) for each in found.first.tolist()], np.int64)
    numbers, first = np.concatenate([found.numbers, numbers]), np.concatenate([first, epochs])
    order = np.argsort(numbers)
    return replace(found, numbers=numbers[order], first=first[order])


def _with_copies(again: Integers, first: Integers, copied: Copied) -> tuple[Integers, Integers]:
    """Return the repeating readings and what they repeat with those that are copies: a copy of a copy is one too."""
    if not len(copied.numbers):
        return again, first
    at = np.minimum(np.searchsorted(copied.numbers, first), len(copied.numbers) - 1)
    first = np.where(copied.numbers[at] == first, copied.first[at], first)
    again, first = np.concatenate([again, copied.numbers]), np.concatenate([first, copied.first])
    order = np.argsort(again)
    return again[order], first[order]


def _late(rows: ReadingRows, fresh: Flags) -> Integers:
    """Return (p, 2) numbers of those of ``fresh`` (n,) readings that are one observation by two clocks."""
    places = Places(rows.columns)
    numbers, place = having(occurring_again(places, fresh), places, fresh)
    of = rows.observed(numbers)
    named = of.name != 0
    numbers, place, of = numbers[named], place[named], of.at(np.flatnonzero(named))
    candidate = (rows.flags[numbers] & CANDIDATE) != 0
    pairs = by_another_clock(of, place, rows.session[numbers].astype(np.int64), candidate)
    if len(pairs):
        names = Names(rows.columns)
        several = occurring_again(names, fresh)
        every, _ = having(several[several != 0], names, fresh)
        pairs = pairs[agreeing(of, pairs, rows.observed(every))]
    found: Integers = numbers[pairs]
    return found[np.lexsort((found[:, 1], found[:, 0]))]


def _better(rows: ReadingRows, pairs: Integers, late: Integers | None = None) -> Integers:
    """Return (k, 2) the rank of the readings of pairs; of two clocks that counts by which more readings were exported.

    ``late`` are pairs of two clocks among them.
    """
    of, numbers, places = of_pairs(rows, pairs)
    flags = rows.flags[numbers].astype(np.int64)
    two_clocks = np.isin(numbers, late) if late is not None else np.zeros(len(numbers), bool)
    parts = (
        (flags & REFUSED) != 0,
        np.where(two_clocks, _by_size(rows, late)[of.export], 0),
        ((flags & SOUND) != 0) + 2 * ((flags & NAMED) != 0),
        of.name != 0,
        (flags & CODED) != 0,
        (of.east.astype(np.int64) + of.north) // 2,
        of.up,
        3 - of.clock.astype(np.int64),
    )
    rank = np.zeros(numbers.shape, np.int64)
    for part in parts:
        rank = rank * 256 + part
    return rank[places]


def _by_size(rows: ReadingRows, late: Integers | None) -> Integers:
    """Return (E,) the rank of exports by their rows, as far as a byte holds it; of one size by their sound rows.

    No two of those that ``late`` pairs are of have one rank: what is kept of a day is to be by one clock, although some
    of a copy lies outside its session.
    """
    counts = rows.counts()
    ranks = np.zeros(len(counts), np.int64)
    if late is None or not len(late):
        return ranks
    sound = np.add.reduceat(rows.having(SOUND).astype(np.int64), np.minimum(rows.starts, max(len(rows) - 1, 0)))
    sound[counts == 0] = 0
    among = np.unique(rows.export(late).ravel()).astype(np.int64)
    order = among[np.lexsort((-among, sound[among], counts[among]))]
    ranks[order] = np.minimum(np.arange(len(order)), 255)
    return ranks


def _by_clock(rows: ReadingRows, prepared: Prepared, late: Integers) -> Iterator[str]:
    """Yield which files repeat another's rows, or their own, by another clock."""
    of, _, places = of_pairs(rows, late)
    one, other = of.time[places].T
    exports = rows.export(late).astype(np.int64)
    lags = clock_lags(one, other)
    swapped = (exports[:, 0] == exports[:, 1]) & (lags.lag < 0)
    lag = np.where(swapped, -lags.lag, lags.lag)
    kinds, groups = np.unique(np.column_stack([exports, lag]), axis=0, return_inverse=True)
    for number, (first, last, by) in enumerate(kinds.tolist()):
        here = groups.ravel() == number
        leap = int(lags.leap[here][0])
        yield (
            f"{_which(prepared, first, last)} {counted(int(here.sum()), 'pair')} of readings with the same name and"
            f" identical coordinates, {lasting(by)} apart: one observation exported on two clocks, and one of each is"
            f" held back as duplicate; {_why(by, leap)}: {_listed(rows, prepared, late[here])}"
        )


def _why(lag: int, leap: int) -> str:
    """Say what to look at where clocks differ by a lag of which a part is leap seconds, milliseconds."""
    if not leap:
        return "check the time zones of the exports"
    scales = f"GPS time and UTC are {lasting(leap)} apart: check which of them each export has"
    return scales if abs(lag) == abs(leap) else f"{scales}, and in which time zone"


def _exports(rows: ReadingRows, prepared: Prepared, again: Integers, first: Integers) -> Iterator[str]:
    """Yield which files repeat another's rows."""
    pairs = np.column_stack([rows.export(again), rows.export(first)]).astype(np.int64)
    sizes = rows.counts()
    for (early, late), count in _counted(np.sort(pairs[pairs[:, 0] != pairs[:, 1]], axis=1)):
        yield (
            f"{prepared.exports[late].shown} repeats {prepared.exports[early].shown}: {count:,} of its"
            f" {counted(int(sizes[late]), 'row')} {plural(count, 'is', 'are')} the same"
            f" {plural(count, 'observation')}; one copy of each is held back as duplicate"
        )


def _undecided(rows: ReadingRows, prepared: Prepared, found: Alike) -> Iterator[str]:
    """Yield pairs that may be one observation, between two exports or within one."""
    sizes = rows.counts()
    of, _, places = of_pairs(rows, found.apart)
    east, north, _ = offsets(of, places[:, 0], places[:, 1])
    near = np.hypot(east, north) <= _NEAR
    exports = of.export.astype(np.int64)[places]
    for (one, other), count in _counted(exports):
        here = (exports == [one, other]).all(axis=1)
        if one == other:
            odd = here & near if (here & near).sum() <= max(_HABIT * sizes[one], 1) else np.zeros(len(here), bool)
        else:
            common = count >= _DAY and count >= _SHARE * min(sizes[one], sizes[other])
            odd = here if common else here & near
        if odd.any():
            yield (
                f"{_which(prepared, one, other)} {counted(int(odd.sum()), 'pair')} of readings with the same name and"
                " time at different places, of which at most one is right: " + _listed(rows, prepared, found.apart[odd])
            )
    exports = rows.export(found.renamed).astype(np.int64)
    for (one, other), count in _counted(exports):
        here = (exports == [one, other]).all(axis=1)
        yield (
            f"{_which(prepared, one, other)} {counted(count, 'pair')} of readings with the same time and place under"
            f" different names, both issued: {_listed(rows, prepared, found.renamed[here])}"
        )


def _counted(pairs: Integers) -> Iterator[tuple[tuple[int, int], int]]:
    found, counts = np.unique(pairs, axis=0, return_counts=True)
    yield from (((one, other), count) for (one, other), count in zip(found.tolist(), counts.tolist(), strict=True))


def _which(prepared: Prepared, one: int, other: int) -> str:
    if one == other:
        return f"{prepared.exports[one].shown} has"
    return f"{prepared.exports[one].shown} and {prepared.exports[other].shown} have"


def _listed(rows: ReadingRows, prepared: Prepared, pairs: Integers) -> str:
    of, _, places = of_pairs(rows, pairs[:_LISTED])
    east, north, up = offsets(of, places[:, 0], places[:, 1])
    told = []
    for number, pair in enumerate(pairs[:_LISTED]):
        one, other = named_rows(rows, prepared, pair)
        told.append(f"{one} and {other}, {np.hypot(east, north)[number]:.3f} m apart, {up[number]:+.3f} m up")
    return "; ".join(told) + and_more(len(pairs) - _LISTED)
