"""Finds rows that are the mean of the others of their name: every epoch of occupations is there, and their mean too.

Such a mean is no reading of its own: it adds nothing to what its epochs say, and is held back as repeating them. Among
readings of one place, one is seldom their mean along all three axes.
"""

import re
from collections.abc import Callable, Sequence
from functools import partial

import numpy as np
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.arrays import Floats, Integers
from pipeline.intake.positions import axis_metres, finest_digit, raw_positions
from pipeline.intake.sifted_batch import SiftedBatch
from pipeline.intake.sound_rows import EDITED
from pipeline.plausible.chance import log_of_so_many
from pipeline.tables import folded_column

#: Rows of a name that a mean and its epochs are at the least, names that have one, and names of a batch that are looked
#: at, the first, before any others are. Ours, as all that follow.
_ROWS, _NAMES, _LOOKED = 3, 2, 500
#: Metres within which rows of one name are those of one occupation, or of several at one place.
_PLACE = 1.0
#: Metres within which epochs of one occupation are that have names of their own, as corners of a thing may have too.
_OCCUPATION = 0.1
#: A name and what tells its epochs apart behind it.
_TAIL = re.compile(r"(.+?)(?:[\s_./-]+|\()(\d+|[^\W\d_]+)[.)]?")
#: Last digits by which a mean may miss that of its epochs, and parts of their scatter: it may be a weighted one.
_DIGITS, _SCATTER = 0.75, 0.15
#: The logarithm of the chance below which it is told.
_CHANCE = float(np.log(1e-7))


class MeanRows(Struct, frozen=True):
    """Rows of an export that are the mean of the others of their names; the number in it of the first is ``row``.

    ``numbers`` (k,) are theirs in the job, ascending, ``epochs`` (k,) those of the first epoch of each.
    """

    export: int
    row: int
    numbers: Integers
    epochs: Integers

    @property
    def count(self) -> int:
        """How many they are."""
        return len(self.numbers)


class Means(Struct):
    """Collects such rows, batch by batch."""

    told: list[MeanRows] = field(default_factory=list)

    def take(self, sifted: SiftedBatch) -> None:
        """Look at the sound readings of a batch, unless it is large."""
        batch, number, export, start = sifted.batch, sifted.number, sifted.export, sifted.start
        if batch.num_rows > EDITED:
            return
        names = pc.fill_null(folded_column(batch.column("name")), "").dictionary_encode()
        group = np.asarray(names.indices, np.int64)
        nameless = np.array([not name for name in names.dictionary.to_pylist()], bool)
        which = np.flatnonzero(sifted.sound & ~nameless[group]) if len(nameless) else np.zeros(0, np.int64)
        place = np.column_stack(raw_positions(batch))[which]
        metre = np.array(axis_metres(place[:, 1], export)) if len(which) else np.ones(3)
        digit = partial(finest_digit, export=export)
        source = np.asarray(batch.column("source_row"), np.int64)[which]
        apart = _named_apart(names.dictionary.to_pylist(), group[which])
        for groups, extent in ((group[which], _PLACE), (apart, _OCCUPATION)):
            grouped = np.flatnonzero(groups >= 0)
            rows = grouped[mean_rows(place[grouped], metre, digit, groups[grouped], extent)]
            if len(rows):
                epochs = [next(at for at in np.flatnonzero(groups == groups[row]) if at != row) for row in rows]
                self.told.append(MeanRows(number, int(source[rows].min()), start + which[rows], start + which[epochs]))

    def found(self) -> tuple[MeanRows, ...]:
        """Return what was found."""
        return tuple(self.told)


def _named_apart(names: Sequence[str], group: Integers) -> Integers:
    """Return (n,) numbers of what readings' names have in common, where those of one are named apart; -1 for others.

    Epochs have numbers behind it and come once, and one name has a word or nothing there: CP1-1, CP1-2 and CP1-M.
    ``group`` (n,) are the places of the readings' names among ``names``.
    """
    stems: dict[str, tuple[list[int], list[int]]] = {}
    for at in np.flatnonzero(np.bincount(group, minlength=len(names)) == 1).tolist():
        name = names[at]
        parts = _TAIL.fullmatch(name)
        stem, tail = (parts[1], parts[2]) if parts else (name, "")
        numbers, words = stems.setdefault(stem, ([], []))
        (numbers if tail.isdecimal() else words).append(at)
    of = np.full(len(names), -1, np.int64)
    for number, (numbers, words) in enumerate(stems.values()):
        if len(words) == 1 and len(numbers) + 1 >= _ROWS:
            of[[*numbers, *words]] = number
    return of[group]


def mean_rows(
    place: Floats, metre: Floats, digit: Callable[[Floats, int], float], group: Integers, extent: float = _PLACE
) -> Integers:
    """Return (k,) which rows are the mean of the others of their group, where no chance makes so many.

    Args:
        place: (n, 3) coordinates as given.
        metre: (3,) metres in one of each.
        digit: gives what the last digit of some coordinates along an axis is worth at the finest, metres.
        group: (n,) numbers of their names.
        extent: metres within which the rows of a group lie.
    """
    order = np.argsort(group, kind="stable")
    parts = np.split(order, np.flatnonzero(np.diff(group[order])) + 1) if len(order) else []
    parts = [part for part in parts if len(part) >= _ROWS]
    if len(parts) < _NAMES:
        return np.zeros(0, np.int64)
    worth = np.array([digit(place[:, axis], axis) for axis in range(3)])
    found: list[int] = []
    chances: list[float] = []
    for looked_at, part in enumerate(parts):
        if looked_at == _LOOKED and not _is_told(found, chances):
            break
        here = (place[part] - place[part[0]]) * metre
        if not np.isfinite(here).all() or np.ptp(here, axis=0).max() > extent:
            continue
        looked = [_is_mean(here, at, worth) for at in (len(part) - 1, 0)]
        chances.append(min(1.0, sum(chance for _, chance in looked)))
        found += [int(part[at]) for at, (is_mean, _) in zip((-1, 0), looked, strict=True) if is_mean][:1]
    return np.array(sorted(found) if _is_told(found, chances) else [], np.int64)


def _is_told(found: Sequence[int], chances: Sequence[float]) -> bool:
    """Tell whether no chance makes as many means as were ``found`` among names, each with its own chance of one."""
    several = len(found) >= _NAMES
    return several and log_of_so_many(len(found), len(chances), float(np.mean(chances))) < _CHANCE


def _is_mean(here: Floats, at: int, worth: Floats) -> tuple[bool, float]:
    """Tell whether one of places (n, 3) [m] is the mean of the others, and the chance that it is by itself."""
    others = np.delete(here, at, axis=0)
    scatter = others.std(axis=0)
    miss = np.maximum(_DIGITS * worth, _SCATTER * scatter / np.sqrt(len(others)))
    chance = np.minimum(1.0, 2.0 * miss / (np.sqrt(2.0 * np.pi) * np.maximum(scatter, 1e-9)))
    return bool((np.abs(here[at] - others.mean(axis=0)) <= miss).all()), float(chance.prod())
