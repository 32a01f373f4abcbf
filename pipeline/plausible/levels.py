"""Finds readings on two levels with nothing between, as where heights of two systems or units stand in one job."""

from dataclasses import dataclass

import numpy as np

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
#: The part of the neighbours of another level, of those that chance alone would give, from which levels are mixed.
_MIXED = 0.6


@dataclass(frozen=True)
class Levels:
    """Readings (k,), places among those given, ascending, on a level ``by`` metres above or below the ``others``.

    ``gap`` is the width in which there is no height, ``error`` the standard error of ``by`` from how rough both levels
    are, ``mixed`` whether readings of the two lie among one another, as those of terraces do not; of a bridge, a row of
    roofs or a gorge they may.
    """

    rows: Integers
    by: float
    gap: float
    error: float
    others: int
    mixed: bool


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
    return Levels(rows, by, float(gaps[split - 1]), error, len(most), mixed(plan, of_fewer))


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
