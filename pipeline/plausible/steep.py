"""Finds readings hundreds of metres above others close by, steeper than ground is, even if several agree.

A tower, a bridge, a dam, a shaft or a tunnel may be: what is found is a question, not a fault.
"""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.plausible.heights import FEET, levelled
from pipeline.plausible.levels import levels
from pipeline.replace import replace

#: Metres that most dams, towers and cliffs rise over what was measured at their foot, and besides per metre away.
#: Few are higher, and those are for the user to confirm; common practice, no source.
_RISES, _SLOPE = 150.0, 1.0
#: The same of heights that fit the ground when they are taken for feet: a hill, so that it is worth a word and no more.
_IN_FEET = 50.0
#: Readings up to which that is looked for: of more, most squares of a hillside would have to be.
_MANY = 100_000
#: Metres: the side of the squares in which readings are compared with one another.
_SQUARE = 120.0
#: Readings above, and below, that make it more than one odd height.
_COMPANY = 3
#: Metres within which heights in feet fit the ground when they are brought to metres.
_FITS = 10.0


class Steep(Struct, frozen=True):
    """Readings (k,), places among those given, ascending, that stand off the others ``by`` metres, ``away`` from them.

    ``by`` and ``away`` are of the nearest pair; ``feet`` says whether the heights fit the others' when taken for feet,
    ``others`` how many they were compared with; ``possible`` whether ground may be so steep nevertheless.
    """

    rows: Integers
    by: float
    away: float
    feet: bool
    others: int
    possible: bool = False


def steep(places: Floats, height: Floats) -> Steep | None:
    """Return the fewer of those readings between which ground is not so steep; None where there are none.

    Else, those that stand well above or below others hard by and fit them when they are taken for feet.

    Args:
        places: (n, 3) from `places.on_sphere`, metres.
        height: (n,) metres, finite.
    """
    found = _steeper(places, height, _RISES)
    if found is None and len(height) <= _MANY:
        hill = _steeper(places, height, _IN_FEET)
        if hill is None or not hill.feet:
            return None
        two = levels(places, height)  # no hill has its readings among those at its foot
        return replace(hill, possible=two is None or not two.mixed)
    return found


def _steeper(places: Floats, height: Floats, rises: float) -> Steep | None:
    """Return the same of readings between which is a step of more than ``rises`` and the slope beside it."""
    if not len(height) or np.ptp(height) <= rises:
        return None
    level = levelled(places) / _SQUARE
    above, below = np.zeros(len(height), bool), np.zeros(len(height), bool)
    best: tuple[float, float, float] | None = None
    for shift in ((0.0, 0.0), (0.5, 0.0), (0.0, 0.5), (0.5, 0.5)):
        for here in _high(np.floor(level + shift).astype(np.int64), height, rises):
            by, away, split = _parted(places[here], height[here])
            if by > rises + _SLOPE * away:
                above[here[split:]], below[here[:split]] = True, True
                best = max(best or (0.0, 0.0, 0.0), (by - _SLOPE * away, by, away))
    if best is None or min(np.count_nonzero(above), np.count_nonzero(below)) < _COMPANY:
        return None
    fewer, others = (above, below) if _lonelier(height, above, below) else (below, above)
    sign, rows = 1.0 if fewer is above else -1.0, np.flatnonzero(fewer)
    factor = 1.0 / FEET if fewer is above else FEET
    feet = abs(float(np.median(height[rows])) * factor - float(np.median(height[others]))) <= _FITS
    return Steep(rows, sign * best[1], best[2], feet, int(np.count_nonzero(others)))


def _high(cell: Integers, height: Floats, rises: float) -> list[Integers]:
    """Return the readings of each square that is higher than that from its lowest, in the order of heights.

    ``cell`` is (n, 2) the square of each.
    """
    cell = cell - cell.min(axis=0)
    wide = int(cell[:, 1].max()) + 1
    key = cell[:, 0] * wide + cell[:, 1]
    if (int(cell[:, 0].max()) + 1) * wide > max(4 * len(key), 1_000_000):  # far apart: most squares are empty
        key = np.unique(key, return_inverse=True)[1].ravel()
    low, high = np.full(int(key.max()) + 1, np.inf), np.full(int(key.max()) + 1, -np.inf)
    np.minimum.at(low, key, height)
    np.maximum.at(high, key, height)
    rows = np.flatnonzero((high - low > rises)[key])
    order = rows[np.lexsort((height[rows], key[rows]))]
    return np.split(order, np.flatnonzero(np.diff(key[order])) + 1) if len(order) else []


def _parted(places: Floats, height: Floats) -> tuple[float, float, int]:
    """Return the widest step between heights (k,) that ascend, how far in plan those about it are apart, and where.

    Of those above and below the ones next to the step are looked at, as many as matter.
    """
    steps = np.diff(height)
    split = int(np.argmax(steps)) + 1
    lower, upper = places[max(split - 50, 0) : split], places[split : split + 50]
    plan = levelled(np.vstack([lower, upper]))
    apart = plan[: len(lower), None, :] - plan[None, len(lower) :, :]
    return float(steps[split - 1]), float(np.hypot(apart[..., 0], apart[..., 1]).min()), split


def _lonelier(height: Floats, above: Flags, below: Flags) -> bool:
    """Tell whether those above are further from where most heights lie than those below are."""
    middle = float(np.median(height))
    return abs(float(np.median(height[above])) - middle) > abs(float(np.median(height[below])) - middle)
