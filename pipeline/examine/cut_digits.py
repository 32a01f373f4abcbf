"""Finds numbers written with more digits than they are known to: too many of them end in zeros, or in 0 or 5.

Known to a decimetre and written to the millimetre, 300.3 is 300.300. One of a hundred honest numbers ends so; three of
three do once in a million registers.
"""

import math
import re
from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Floats, Integers
from pipeline.plausible.chance import log_of_so_many

#: Chance below which numbers do not end in zeros by chance, as a logarithm, and how many that differ it takes. Two are
#: not enough: an origin at 100.000 and a mark set out from it are honest. Ours, no source.
_CHANCE, _LEAST = math.log(1e-4) + 1e-9, 3
#: Likewise of each coordinate of two marks, where both have to be so.
_OF_TWO, _BOTH = math.log(1e-2) + 1e-9, 2
#: The part of those that end so which then were not written so by chance.
_MOSTLY = 0.9
#: Decimals that are told apart, and digits of a whole number that an array holds.
_MOST, _DIGITS = 11, 18
#: Steps that are looked for, up to so many units.
_LARGEST = 1000
_PLAIN = re.compile(r"(\d+)(?:[.,](\d*))?")


def cut_to(texts: Sequence[str], padded: bool, pair: bool = False) -> Floats:
    """Return (n,) the step, in units of the numbers, that each of ``texts`` is known to and not merely written to.

    Zero where chance explains how it ends. Steps are 1 and 5 of a decimal. Numbers that are equal count once.

    Args:
        texts: (n,) numbers as written, without signs; what is no plain number is passed over.
        padded: whether zeros at their ends are written; else all of them may have had as many decimals as one has.
        pair: of two marks, of which the other coordinate has to say so as well: less is enough.
    """
    steps: Floats = np.zeros(len(texts))
    parts = [_PLAIN.fullmatch(text) for text in texts]
    behind = np.array([-1 if of is None else len(of[2] or "") for of in parts], np.int64)
    if not len(texts) or behind.max() < 0:
        return steps
    most = min(int(behind.max()), _MOST)
    values = np.array([0 if of is None else _whole(of[1], of[2] or "", most) for of in parts], np.int64)
    chance, least = (_OF_TWO, _BOTH) if pair else (_CHANCE, _LEAST)
    for decimals in np.unique(behind[behind >= 0]).tolist() if padded else [most]:
        of = (behind == decimals) if padded else (behind >= 0)
        if decimals <= _MOST:
            numbers, which = np.unique(values[of], return_inverse=True)
            found = _steps(numbers, 10 ** (most - decimals), _LARGEST * 10**most, chance, least)
            steps[of] = found[which.ravel()] / 10.0**most
    return steps


def _whole(whole: str, behind: str, decimals: int) -> int:
    """Return a number in units of a decimal; one in a unit, thus no multiple of anything, where it has more digits."""
    digits = whole.lstrip("0") + behind[:decimals].ljust(decimals, "0")
    return int(digits or "0") if len(digits) <= _DIGITS and not behind[decimals:].strip("0") else 1


def _steps(numbers: Integers, unit: int, largest: int, chance: float, least: int) -> Integers:
    """Return (n,) the step of each of ``numbers``, which differ and are multiples of a ``unit``; zero for the unit.

    The likeliest step of some of them is taken, and then those and the others are looked at by themselves.
    """
    steps = np.zeros(len(numbers), np.int64)
    if len(numbers) < least:
        return steps
    best, step = 0.0, 0
    power = 1
    while power <= largest:
        for one in (power, 5 * power):
            many = int((numbers % one == 0).sum()) if one > unit and one % unit == 0 else 0
            if many >= least and (likely := _likelihood(many, len(numbers), one / unit)) > best:
                best, step = likely, one
        power *= 10
    if not step:
        return steps
    so = numbers % step == 0
    many, share = int(so.sum()), unit / step
    meant = (many - share * len(numbers)) / (1.0 - share)
    if log_of_so_many(many, len(numbers), share) > chance or meant < _MOSTLY * many:
        return steps
    steps[so] = np.maximum(_steps(numbers[so], step, largest, chance, least), step)
    steps[~so] = _steps(numbers[~so], unit, largest, chance, least)
    return steps


def _likelihood(many: int, of: int, times: float) -> float:
    """Return how much likelier it is, as a logarithm, that so many were known to a step of so many units alone."""
    part = many / of
    others = 0.0 if many == of else (of - many) * math.log(1.0 - part)
    return many * math.log(part * times) + others
