"""Separates an error that all bases share (datum, height system) from offsets that each base has by chance [m].

A base that averaged its own position is off by chance, each base by another vector. A height system, a datum, a height
column of another kind is the same for all bases. So what several bases have in common is no error of theirs; and a base
that is right in plan stands on a known position, and has no reason to be wrong in height.

*Off* is, per session, (k, 3) metres east, north, up: what the register says of the marks minus what was read on them.
"""

import numpy as np

from pipeline.arrays import Flags, Floats, Integers
from pipeline.examine.register_looks import BASE_OFF
from pipeline.intake.base_values import merged

#: Metres in plan within which a base stands on a known position. Of bases that averaged their own, which is off by some
#: 0.75 m in each direction, one in a hundred is as near by chance. Common practice, no source.
ON_KNOWN = 0.1
#: Metres in plan and in height within which two bases are off alike.
ALIKE = (0.15, 0.3)
#: Metres: a smaller separation, or a smaller common error, is not told from errors of marks and antenna heights.
LEAST = 0.8
#: Metres from which on a separation is no height that a base is off by again and again: of bases off by some 5 m, two
#: lie within 0.3 m of 5 m one time in a thousand, of 10 m one in ten thousand; one does one time in thirty.
TELLING = 5.0
#: Metres within which the height of one base that is off by the separation is worth a word.
_WORTH = 0.5
#: Metres: no mark on earth is so high or low, and 9999 and the like stand for none.
NO_HEIGHT = 9_000.0
#: The part of the separation by which a base may be off besides.
_PART = 1.0 / 3.0


def by_separation(base: Integers, off: Floats, separation: Floats) -> Integers:
    """Return (k,) per session +1 or -1 where its heights look off by plus or minus the geoid separation, else 0.

    A session tells it alone where it is off by more than a base may be, or where its base is right in plan. Of g bases
    the middle error is smaller than that of one, by the root of g, and the sessions tell it together. Where some tell
    it, it goes for others that are nearer to the separation than to where they should be.

    Args:
        base: (k,) number of the session's base; the same base may average its position again for every session.
        off: (k, 3).
        separation: (k,) metres, of the marks occupied.
    """
    up = off[:, 2]
    sign = np.where(up * separation > 0, 1, -1)
    apart = np.abs(np.abs(up) - np.abs(separation))
    near = apart <= _PART * np.abs(separation)
    alone = near & (np.abs(up) >= BASE_OFF)
    known = (np.hypot(*off[:, :2].T) <= ON_KNOWN) & (apart <= ALIKE[1]) & (np.abs(separation) >= LEAST)
    found = np.where(alone | known, sign, 0)
    if together := _together(base, off, separation) or _each(base, off, separation):
        return np.where(np.isfinite(up) & np.isfinite(separation), together, 0).astype(np.int64)
    nearer = (np.abs(up) > np.abs(separation) / 2.0) & np.isin(sign, found[found != 0])
    return np.where((found == 0) & nearer, sign, found).astype(np.int64)


def _together(base: Integers, off: Floats, separation: Floats) -> int:
    """Return the sign by which all are off, from the middle of all independent errors; 0 where chance would do."""
    once = _independent(base, off, np.isfinite(off[:, 2]) & np.isfinite(separation))
    if len(once) < 2:
        return 0
    middle, apart = float(np.median(off[once, 2])), float(np.median(separation[once]))
    least = BASE_OFF / np.sqrt(len(once))
    if abs(middle) < least or abs(abs(middle) - abs(apart)) > min(abs(apart) * _PART, least):
        return 0
    return 1 if middle * apart > 0 else -1


def _each(base: Integers, off: Floats, separation: Floats) -> int:
    """Return the sign by which every one of two errors or more is as large as the separation; 0 where not."""
    known = np.isfinite(off[:, 2]) & np.isfinite(separation)
    once = _independent(base, off, known)
    near = near_separation(off[known], separation[known], ALIKE[1])
    if len(once) < 2 or not near.all() or not (near == near[0]).all():
        return 0
    return int(near[0])


def near_separation(off: Floats, separation: Floats, within: float = _WORTH) -> Integers:
    """Return (k,) +1 or -1 where heights are off by plus or minus a separation that tells, within metres, else 0."""
    up = off[:, 2]
    with np.errstate(invalid="ignore"):
        near = (np.abs(np.abs(up) - np.abs(separation)) <= within) & (np.abs(separation) >= TELLING)
        return np.where(near, np.where(up * separation > 0, 1, -1), 0).astype(np.int64)


def some_by_separation(up: Floats, separation: float) -> float | None:
    """Return the metres by which (n,) marks are off at the most but for the separation, where some are off by it alone.

    None where they are not: such a register has heights of two systems.
    """
    up = up[np.isfinite(up)]
    if not len(up) or not abs(separation) >= LEAST or np.ptp(up) <= ALIKE[1]:
        return None
    others = np.concatenate([up, up - separation])[:, None]
    left = np.minimum(np.abs(up - others), np.abs(up - others - separation)).max(axis=1)
    return float(left.min()) if left.min() <= ALIKE[1] else None


def _independent(base: Integers, off: Floats, known: Flags) -> list[int]:
    """Return a row for each error of a base that no other of its rows has, of those that are ``known`` (k,)."""
    found: list[int] = []
    for one in np.unique(base):
        rows = np.flatnonzero(known & (base == one))
        found += [int(rows[group[0]]) for group in merged(off[rows], ALIKE[1])]
    return found


def alike(base: Integers, off: Floats) -> Flags:
    """Return (k,) the sessions whose bases are all off by one vector: at least two bases, and more than half of them.

    Two bases that averaged their own positions are so by chance one time in some thousands.

    Args:
        base: (k,) number of the session's base.
        off: (k, 3).
    """
    best = np.zeros(len(base), bool)
    for one in off:
        plan, up = np.hypot(*(off - one)[:, :2].T), np.abs(off[:, 2] - one[2])
        with_it = (plan <= ALIKE[0]) & (up <= ALIKE[1])
        if with_it.sum() > best.sum():
            best = with_it
    bases, every = len(np.unique(base[best])), len(np.unique(base))
    return best if bases >= 2 and 2 * bases > every else np.zeros(len(base), bool)


def one_height(heights: Floats) -> bool:
    """Return whether the heights of (n,) marks at different places, metres, were never filled in.

    Two are, where both are zero or a number that stands for none; three, where they are the same whatever it is.
    """
    if len(heights) < 2 or not (heights == heights[0]).all():
        return False
    return bool(heights[0] == 0.0 or abs(heights[0]) >= NO_HEIGHT or len(heights) >= 3)
