"""Finds readings of one session with exactly the position of one of another, and tells which of them chance made."""

import numpy as np

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates.decimals import metres_of
from pipeline.duplicates.exact import Hashes
from pipeline.duplicates.observed import Observed

#: Metres over which two observations near one place, of two sessions, scatter at least in each axis: they agree in a
#: last digit worth ``u`` with a chance of no more than ``u`` by it. Common practice, no source.
_SCATTER = 0.02
#: Chance up to which so many agreements of two sessions are none.
_CHANCE = 1e-3


def in_other_sessions(time: Integers, position: Hashes, session: Integers) -> Integers:
    """Return (p, 2) places of readings with one position in two sessions: the first in time of it, and each other.

    Args:
        time: (k,) UTC milliseconds.
        position: (k,) what tells positions apart.
        session: (k,) index of the session.
    """
    order = np.lexsort((time, position))
    starts = np.flatnonzero(np.diff(position[order], prepend=~position[order[:1]]) != 0)
    first = np.repeat(order[starts], np.diff(starts, append=len(order)))
    across = session[first] != session[order]
    found: Integers = np.column_stack([first[across], order[across]])
    return found


def agreeing_by_chance(of: Observed) -> Floats:
    """Return (k,) the chance at most that another observation beside a reading has all its last digits."""
    units = np.stack([metres_of(codes) for codes in (of.east, of.north, of.up)])
    units[2] = np.where(np.isfinite(of.height) & (of.height != 0), units[2], np.inf)  # a zero stands for none
    found: Floats = np.minimum(units / _SCATTER, 1.0).prod(axis=0)
    return found


def no_chance(chances: Floats, near: int) -> Flags:
    """Return (k,) which agreements of two sessions are too many, for their digits, to be chance: the finest of them.

    Args:
        chances: of each, from `agreeing_by_chance`.
        near: pairs of readings of the two sessions that lie so near each other that they could agree.
    """
    order = np.argsort(chances, kind="stable")
    many = np.arange(1, len(chances) + 1)
    expected = np.maximum(chances[order], 1e-15) * max(near, len(chances))
    # Chernoff's bound of the chance of so many, or more, where so many are expected
    bound = many - expected + many * np.log(expected / many)
    told = np.flatnonzero((expected < many) & (bound <= np.log(_CHANCE)))
    found = np.zeros(len(chances), bool)
    found[order[: told[-1] + 1 if len(told) else 0]] = True
    return found
