"""Finds readings in a row whose heights are all off those of the points around them by one and the same step.

A pole that was made longer and set back, a correction of the field, another height system or a base that was knocked
and put right do so, and no mark among the readings tells. Ground does so too: a terrace, a ditch, a kerb. But whoever
walks over a field in rows comes upon a terrace in every row that crosses it, and lines are walked from one end to the
other. So a run is told only where it begins and ends amid a straight row and has turned to other rows in between, or
where points in and out of it lie among one another as neither does on steps of the ground; and where no other
neighbours differ so.
"""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.plausible.heights import levelled

#: Readings that a run, and what is not of it, has at the least, and neighbours of it; and the readings up to which it
#: is looked for. Ours, no source, as all that follow.
_LEAST, _ENOUGH, _MANY = 5, 20, 2_000
#: Neighbours that are not parted by a run at the least, which tell how rough the ground is.
_GROUND = 10
#: How far neighbours are, in usual ways from one reading to the next, and at most [m]; how many nearest are looked at,
#: of how many readings at once, and how many readings later somebody has come back to a place.
_REACH, _FAR, _NEAREST, _AT_ONCE, _LATER = 1.6, 30.0, 12, 256, 3
#: Metres from which on a step is looked at, how many times the usual difference of neighbours, and of readings in a
#: row, it is, and as how many of the highest steps ends of runs are looked for.
_LOW, _TIMES, _RISES, _ENDS = 0.08, 5.0, 3.0, 40
#: By how many usual differences, and metres at the least, what is off by one step may scatter.
_SCATTER, _METRES = 4.0, 0.03
#: The part of the neighbours across a run that may scatter more, and of all others that may differ by half of its step.
_ODD, _OTHERS = 0.1, 0.02
#: The cosine up to which somebody turns; usual ways up to which somebody went no further than to the next place.
_TURN, _WAYS = 0.5, 2.0
#: Turns within a run that begins and ends amid a row.
_TURNS = 3
#: The part of a run where somebody turned up to which it may be of lines, such as furrows between ridges.
_LINES = 0.5
#: Readings from which on the ground may be bent, and how often its slopes are fitted, by what differs least.
_BENT, _FITS = 60, 8
#: The widest gap between bearings of what lies around [rad].
_GAP = np.radians(170.0)


class OffNeighbours(Struct, frozen=True):
    """Readings (k,) in a row, places among those given, that are ``up`` metres above those around them.

    ``pairs`` is how many neighbours tell, and ``away`` how far [m] half of these are at the most.
    """

    rows: Integers
    up: float
    pairs: int
    away: float


def off_neighbours(places: Floats, height: Floats, group: Integers, let_be: Flags) -> list[OffNeighbours]:
    """Return the runs, one at the most between two readings that are let be.

    Args:
        places: (n, 3) from `places.on_sphere`, metres, in the order in which they were measured.
        height: (n,) metres, finite.
        group: (n,) what must be the same for readings in a row, such as the export.
        let_be: (n,) readings on marks, which show what is off.
    """
    some = np.flatnonzero(~let_be)
    if not _ENOUGH <= len(some) <= _MANY:
        return []
    part = np.cumsum(let_be | (np.diff(group, prepend=group[:1]) != 0))[some]
    plan, up = levelled(places[some]), height[some]
    walk = _Walk(plan, part)
    up = up - walk.slopes(up)
    ends = walk.ends(np.diff(up))
    if not len(ends):
        return []
    pairs = _neighbours(plan, min(_REACH * walk.usual, _FAR))
    found: list[OffNeighbours] = []
    for number in np.unique(part[ends]).tolist():
        mine = ends[part[ends] == number]
        runs = [
            run
            for at, first in enumerate(mine.tolist())
            for last in mine[at + 1 :].tolist()
            if (run := _run(walk, plan, up, pairs, first + 1, last + 1)) is not None
        ]
        if runs:
            best = max(runs, key=lambda run: (run.pairs, len(run.rows)))
            found.append(OffNeighbours(some[best.rows], best.up, best.pairs, best.away))
    return found


class _Walk:
    """The way over places (n, 2) [m], of which those with one ``part`` (n,) follow one another.

    ``usual`` is the way [m] from one to the next, half of them; ``turns`` (n,) where somebody turned, or went far.
    """

    def __init__(self, plan: Floats, part: Integers) -> None:
        self.plan, self.way = plan, np.diff(plan, axis=0)
        self.length = np.hypot(*self.way.T)
        self.together: Flags = part[1:] == part[:-1]
        on = self.length[self.together & (self.length > 0.0)]
        self.usual = float(np.median(on)) if len(on) else 0.0
        near = self.together & (self.length <= _WAYS * self.usual) & (self.length > 0.0)
        heading = self.way / np.maximum(self.length, 1e-9)[:, None]
        straight = np.zeros(len(plan), bool)
        straight[1:-1] = near[1:] & near[:-1] & ((heading[1:] * heading[:-1]).sum(axis=1) > _TURN)
        self.turns = ~straight
        self.near = near

    def slopes(self, height: Floats) -> Floats:
        """Return (n,) heights of the smooth ground under ``height`` (n,), by how they change from one to the next.

        What a run is off shows in two of these changes, and no more than its own steps in what is left.
        """
        at = self.plan / max(float(np.abs(self.plan).max()), 1.0)
        powers = [(1, 0), (0, 1), (2, 0), (1, 1), (0, 2), (3, 0), (2, 1), (1, 2), (0, 3)]
        shapes = np.column_stack([at[:, 0] ** one * at[:, 1] ** two for one, two in powers])
        shapes = shapes[:, : 2 if len(at) < _BENT else None]
        some = np.flatnonzero(self.together & (self.length > 0.0))
        if len(some) <= 2 * shapes.shape[1]:
            return 0.0 * height
        change, rise = np.diff(shapes, axis=0)[some], np.diff(height)[some]
        way = np.maximum(self.length[some], self.usual)
        weight = 1.0 / way
        for _ in range(_FITS):
            fitted = np.linalg.lstsq(change * weight[:, None], rise * weight, rcond=None)[0]
            left = np.abs(rise - change @ fitted) / way
            weight = 1.0 / (way * np.sqrt(np.maximum(left, max(float(np.median(left)), 1e-9))))
        return np.asarray(shapes @ fitted)

    def ends(self, rise: Floats) -> Integers:
        """Return behind which readings a run may begin or end, by (n - 1,) how much heights rise there."""
        usual = float(np.median(np.abs(rise[self.near]))) if self.near.any() else np.inf
        high = np.flatnonzero(self.near & (np.abs(rise) >= max(_LOW, _RISES * usual)))
        return np.sort(high[np.argsort(-np.abs(rise[high]), kind="stable")[:_ENDS]])

    def amid_rows(self, begin: int, end: int) -> bool:
        """Tell whether readings ``begin`` up to ``end`` begin and end amid a straight row and are of more than two."""
        if self.turns[[begin - 1, begin, end - 1, end]].any():
            return False
        turned = np.flatnonzero(self.turns[begin:end])
        return int(np.count_nonzero(np.diff(turned, prepend=-_LATER) >= _LATER)) >= _TURNS


def _neighbours(plan: Floats, reach: float) -> Integers:
    """Return (p, 2) readings of which each came by the other's place (n, 2) [m] later, the earlier one first."""
    number, found = np.arange(len(plan)), []
    for first in np.array_split(number, len(plan) // _AT_ONCE + 1):
        away = np.hypot(*(plan[first, None, :] - plan[None, :, :]).transpose(2, 0, 1))
        away[np.abs(first[:, None] - number) < _LATER] = np.inf
        near = np.argpartition(away, _NEAREST, axis=1)[:, :_NEAREST]
        row, of = np.nonzero(np.take_along_axis(away, near, axis=1) <= reach)
        found.append(np.column_stack([first[row], near[row, of]]))
    return np.unique(np.sort(np.concatenate(found), axis=1), axis=0)


def _run(walk: _Walk, plan: Floats, height: Floats, pairs: Integers, begin: int, end: int) -> OffNeighbours | None:
    """Return readings ``begin`` up to ``end`` if they are all off their neighbours, ``pairs`` (p, 2), by one step."""
    if end - begin < _LEAST:
        return None
    rise, back = float(height[begin] - height[begin - 1]), float(height[end - 1] - height[end])
    if rise * back <= 0.0 or not 0.5 <= rise / back <= 2.0:
        return None
    inside = (pairs >= begin) & (pairs < end)
    across, others = inside[:, 0] != inside[:, 1], inside[:, 0] == inside[:, 1]
    theirs = np.abs(height[pairs[others, 0]] - height[pairs[others, 1]])
    if len(theirs) < _GROUND:
        return None
    own = np.where(inside[across, 0], pairs[across, 0], pairs[across, 1])
    other = np.where(inside[across, 0], pairs[across, 1], pairs[across, 0])
    if min(len(np.unique(own)), len(np.unique(other))) < _LEAST:
        return None
    off = height[own] - height[other]
    by, usual = float(np.median(off)), float(np.median(theirs))
    within = max(_SCATTER * usual, _METRES)
    if abs(by) < max(_LOW, _TIMES * usual) or max(abs(rise - by), abs(back - by)) > within:
        return None
    if np.mean(np.abs(off - by) > within) > _ODD or np.mean(theirs > abs(by) / 2.0) > _OTHERS:
        return None
    scattered = np.mean(walk.turns[begin:end]) > _LINES and _among_one_another(plan, own, other)
    if not (scattered or walk.amid_rows(begin, end)):
        return None
    away = float(np.median(np.hypot(*(plan[own] - plan[other]).T)))
    return OffNeighbours(np.arange(begin, end), by, len(own), away)


def _among_one_another(plan: Floats, own: Integers, other: Integers) -> bool:
    """Tell whether places of a run lie around others, and others around those of the run, each by pairs (p,)."""
    return all(_surrounded(plan, one, around) >= _LEAST for one, around in ((own, other), (other, own)))


def _surrounded(plan: Floats, one: Integers, around: Integers) -> int:
    """Return how many of the places that pairs (p,) begin with have those that they end with to all sides."""
    bearing = np.arctan2(*(plan[around] - plan[one]).T)
    count = 0
    for at in np.unique(one).tolist():
        to = np.sort(bearing[one == at])
        count += len(to) > 2 and float(np.diff(to, append=to[0] + 2.0 * np.pi).max()) < _GAP
    return count
