"""Finds readings on two levels with nothing between, as where heights of two systems or units stand in one job."""

from dataclasses import dataclass

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.plausible.heights import levelled

#: Readings of a level, at different places, that make it one.
_COMPANY = 3
#: Readings up to which levels are looked for.
_MANY = 20_000
#: Metres: the least gap between levels; within which two readings are at one place.
_LEAST, _ONE_PLACE = 4.0, 5.0
#: Readings of the fewer whose neighbours are looked at.
_SAMPLE = 200
#: Nearest of the others that lie round about a reading among them, and the part of the fewer of which they do at least:
#: of marks on the rim of a pit they do of none.
_ROUND, _AMONG = 12, 0.2
#: Nearest of the others with which a reading's height is compared.
_NEAREST = 4
#: The standard deviation of normal errors over the median of their sizes, and the error of their median over theirs.
_NORMAL, _MEDIAN = 1.4826, 1.2533
#: The part of the neighbours of another level, of those that chance alone would give, from which levels are mixed.
_MIXED = 0.6


class Levels(Struct, frozen=True):
    """Readings (k,), places among those given, ascending, on a level ``by`` metres above or below the ``others``.

    ``gap`` is the width in which there is no height, ``inner`` the widest such among the others, ``wide`` the metres of
    height that the higher of the two levels takes. ``error`` is the standard error of ``by`` from how rough both levels
    are, ``mixed`` whether readings of the two lie among one another, as those of terraces do not; of a bridge, a row of
    roofs or a gorge they may. ``step`` is known of those that are: how they differ from what lies beside them.
    """

    rows: Integers
    by: float
    gap: float
    error: float
    others: int
    mixed: bool
    inner: float
    wide: float
    step: "Step | None"


@dataclass(frozen=True)
class Step:
    """Metres by which readings lie above the others next to them, with its standard error, and how ``rough`` that is.

    The last is the standard deviation of one reading above those next to it, metres: of the same level or the other.
    """

    by: float
    error: float
    rough: float


def levels(places: Floats, height: Floats) -> Levels | None:
    """Return the fewer of readings that lie on two levels; None where there are none.

    Args:
        places: (n, 3) from `places.on_sphere`, metres.
        height: (n,) metres, finite.
    """
    if not 2 * _COMPANY <= len(height) <= _MANY or np.ptp(height) < _LEAST:
        return None
    gaps = np.diff(np.sort(height))  # mostly there is none, and numbers are sorted faster than their order is found
    split = int(np.argmax(gaps)) + 1
    if gaps[split - 1] < _LEAST or min(split, len(height) - split) < _COMPANY:
        return None
    low, high = np.split(np.argsort(height, kind="stable"), [split])
    fewer, most = (low, high) if len(low) < len(high) else (high, low)
    plan = levelled(places)
    if _places_of(plan[fewer]) < _COMPANY:
        return None
    by = float(np.median(height[fewer]) - np.median(height[most]))
    error = float(np.sqrt(sum(np.var(height[of]) / len(of) for of in (low, high))))
    rows = np.sort(fewer)
    of_fewer = np.zeros(len(height), bool)
    of_fewer[rows] = True
    among = mixed(plan, of_fewer)
    step = step_over(plan, height, of_fewer) if among else None
    inner = float((gaps[: split - 1] if most is low else gaps[split:]).max(initial=0.0))
    wide = max(float(np.ptp(height[of])) for of in (low, high))
    return Levels(rows, by, float(gaps[split - 1]), error, len(most), among, inner, wide, step)


def step_over(plan: Floats, height: Floats, which: Flags) -> Step | None:
    """Return how readings ``which`` (n,) differ from the others next to them; None where they have none.

    How rough the ground is show besides them the others, by what lies next to them.
    """
    others = np.flatnonzero(~which)
    over, same = (
        _above_nearest(plan, height, rows[:: -(-len(rows) // _SAMPLE)], others)
        for rows in (np.flatnonzero(which), others)
    )
    if not len(over) or not len(same):
        return None
    by = float(np.median(over))
    rough = _NORMAL * max(float(np.median(np.abs(over - by))), float(np.median(np.abs(same))))
    return Step(by, _MEDIAN * rough / float(np.sqrt(len(over))), rough)


def _above_nearest(plan: Floats, height: Floats, rows: Integers, others: Integers) -> Floats:
    """Return the metres by which readings ``rows`` lie above the middle of the nearest ``others`` at other places."""
    found = list[float]()
    for row in rows.tolist():
        away = np.hypot(*(plan[others] - plan[row]).T)
        away[away <= _ONE_PLACE] = np.inf
        nearest = np.argpartition(away, min(_NEAREST, len(away)) - 1)[:_NEAREST]
        if len(nearest := nearest[np.isfinite(away[nearest])]):
            found.append(float(height[row] - np.median(height[others[nearest]])))
    return np.array(found)


def mixed(plan: Floats, which: Flags) -> bool:
    """Tell whether readings ``which`` (n,), the fewer, lie among the others: those are next to them, and round about.

    ``plan`` is (n, 2) metres. Readings at one place are no neighbours.
    """
    rows = np.flatnonzero(which)
    rows = rows[:: -(-len(rows) // _SAMPLE)]
    across = among = 0
    for row in rows.tolist():
        off = plan - plan[row]
        away = np.hypot(*off.T)
        away[away <= _ONE_PLACE] = np.inf
        across += not which[int(np.argmin(away))]
        others = np.flatnonzero(~which & np.isfinite(away))
        among += _round_about(off[others[np.argsort(away[others], kind="stable")[:_ROUND]]])
    return across >= _MIXED * len(rows) * float(np.mean(~which)) and among >= _AMONG * len(rows)


def _round_about(off: Floats) -> bool:
    """Tell whether places (k, 2) lie on all sides of the origin, none half of the horizon from the next."""
    bearing = np.sort(np.arctan2(*off.T))
    return len(bearing) > 2 and float(np.diff(bearing, append=bearing[0] + 2.0 * np.pi).max()) < np.pi


def _places_of(plan: Floats) -> int:
    """Return how many different places some readings (k, 2) are at, up to as many as matter."""
    found = list[Floats]()
    for one in plan:
        if all(float(np.hypot(*(one - other))) > _ONE_PLACE for other in found):
            found.append(one)
        if len(found) >= _COMPANY:
            break
    return len(found)
