"""Finds where heights step up or down and later back, farther than the ground does anywhere beside.

A correction that was switched on in the field and off again does so: by itself, on top of whatever the ground does.
Such steps alone are no finding: terraces and roofs have them. Whoever asks knows what a correction would be. Where it
can only be one of a few known ones (that of the other base), lower steps are found as well, those that stand out among
short ways alone, as within the sections across a road on a slope, and a single one, which the next mark hides the other
of.
"""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers

#: Readings that a run has, and that lie before and behind it, at the least, without a mark between (one that is on a
#: mark is enough there); and how many of them all there are at the least, so that there is a usual rise. Ours.
_RUN, _BESIDE, _ENOUGH = 3, 2, 8
#: Both steps are so many times as high as any other, and no lower than these metres; the ways on which they are made
#: are so many times those of nine of ten at the most. Ours, no source: by five times, steps of 6 m in 300 simulated
#: hills each were found in none (smooth ones 4 m high) to 14 % (rises of Student's t, three degrees of freedom), by two
#: times in 39 to 76 %, and neither found as much as the shift of a session in any hills that had no such steps.
_TIMES, _HIGH, _WAYS, _USUAL = 2.0, 1.0, 2.0, 0.9
#: Times as high as any other rise from which on the ground is level beside both steps. Ours, no source.
_LEVEL = 5.0
#: Metres from which on a step is one where what made it is known, and the quantile of all ways whose doubles are short.
_LOW, _SHORT = 0.3, 0.5
#: By how many usual rises the mean of both steps may miss what made them (it scatters by one, as a rise scatters by 1.4
#: standard deviations of a height and has half of them below 0.95), and metres at the least: what readings scatter.
_MISS, _SCATTER = 2.0, 0.05


class SteppedRun(Struct, frozen=True):
    """Readings (k,) in a row, places among those given, ``up`` metres above those before and after, give or take.

    ``miss`` are metres by which the ground, and the scatter of readings, may change that. ``known`` is whether it tells
    something only beside what is known to make such a step: low ones, single ones and those among short ways. ``level``
    is whether the ground beside is so even that its steps stand out by far.
    """

    rows: Integers
    up: float
    miss: float
    known: bool = False
    level: bool = False


def stepped_runs(places: Floats, height: Floats, group: Integers, let_be: Flags, low: bool = False) -> list[SteppedRun]:
    """Return the runs, one at the most between two readings that are let be, which may be those before and behind it.

    Of a single step both sides are returned, as either may be off.

    Args:
        places: (n, 3) from `places.on_sphere`, metres, in the order in which they were measured.
        height: (n,) metres, finite.
        group: (n,) what must be the same for neighbours, such as the export.
        let_be: (n,) readings that may lie anywhere: marks.
        low: whether those are wanted as well that tell something only beside what is ``known``.
    """
    heads = np.flatnonzero(let_be | (np.diff(group, prepend=group[:1]) != 0))
    found = []
    for part in np.split(np.arange(len(height)), heads):
        here = part[~let_be[part]]
        if len(here) < _ENOUGH:
            continue
        before, behind = part[:1][let_be[part[:1]]], here[-1:] + 1
        behind = behind[behind < len(height)]
        behind = behind[let_be[behind] & (group[behind] == group[here[0]])]
        among = np.concatenate([before, here, behind])
        ends = (1 if len(before) else _BESIDE), (1 if len(behind) else _BESIDE)
        # marks may stand higher than the ground: those at the ends tell a step where nothing else does
        ways = [(here, (_BESIDE, _BESIDE), _USUAL), (among, ends, _USUAL)]
        if low:
            ways += [(here, (_BESIDE, _BESIDE), _SHORT), (among, ends, _SHORT)]
        runs = (_run(some, places, height, least, quantile) for some, least, quantile in ways)
        run = next((one for one in runs if one is not None and (low or not one.known)), None)
        if run is not None:
            found.append(run)
        elif low:
            found += _single(here, places, height, _USUAL) or _single(here, places, height, _SHORT)
    return found


def _rises(places: Floats, height: Floats, quantile: float) -> tuple[Integers, Floats]:
    """Return behind which readings (k,) the way to the next is usual, and (k,) what it rises there.

    The ground is another where somebody went a long way, so that no rise on one counts.
    """
    way = np.linalg.norm(np.diff(places, axis=0), axis=1)
    beside = np.flatnonzero(way <= _WAYS * float(np.quantile(way, quantile)))
    return beside, np.diff(height)[beside]


def _run(which: Integers, places: Floats, height: Floats, least: tuple[int, int], quantile: float) -> SteppedRun | None:
    """Return the run among readings, ``which`` (m,) of all, that follow one another with no mark but at either end.

    Before and behind it are ``least`` so many.
    """
    beside, rises = _rises(places[which], height[which], quantile)
    if len(rises) < _ENOUGH - 1:
        return None
    order = np.argsort(np.abs(rises))
    first, last = np.sort(order[-2:]).tolist()
    step, back, others = float(rises[first]), float(rises[last]), np.abs(rises[order[:-2]])
    on, off = int(beside[first]) + 1, int(beside[last]) + 1
    lower = min(abs(step), abs(back))
    if lower < max(_LOW, _TIMES * float(others[-1])) or abs(step + back) > max(2.0 * float(others[-1]), _SCATTER):
        return None
    if off - on < _RUN or on < least[0] or len(which) - off < least[1]:
        return None
    miss = max(_MISS * float(np.median(others)), _SCATTER)
    known, level = lower < _HIGH or quantile < _USUAL, lower >= _LEVEL * float(others[-1])
    return SteppedRun(which[on:off], (step - back) / 2.0, miss, known, level)


def _single(which: Integers, places: Floats, height: Floats, quantile: float) -> list[SteppedRun]:
    """Return the readings before and those behind a single step among ``which`` (m,) of all."""
    beside, rises = _rises(places[which], height[which], quantile)
    if len(rises) < _ENOUGH - 1:
        return []
    *lower, highest = np.argsort(np.abs(rises)).tolist()
    step, others = float(rises[highest]), np.abs(rises[lower])
    at = int(beside[highest]) + 1
    if abs(step) < max(_LOW, _TIMES * float(others.max())) or min(at, len(which) - at) < _RUN:
        return []
    miss = max(_MISS * float(np.median(others)), _SCATTER)
    return [SteppedRun(side, up, miss, known=True) for side, up in ((which[:at], -step), (which[at:], step))]
