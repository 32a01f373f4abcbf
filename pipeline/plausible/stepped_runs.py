"""Finds where heights step up or down and later back, farther than the ground does anywhere beside.

A correction that was switched on in the field and off again does so: by itself, on top of whatever the ground does.
Such steps alone are no finding: terraces and roofs have them. Whoever asks knows what a correction would be.
"""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers

#: Readings that a run has, and that lie before and behind it, at the least, without a mark between (one that is on a
#: mark is enough there); and how many of them all there are at the least, so that there is a usual rise. Ours.
_RUN, _BESIDE, _ENOUGH = 3, 2, 8
#: Both steps are so many times as high as any other, and no lower than these metres; the ways on which they are made
#: are so many times nine of ten at the most. Ours, no source: by five times, steps of 6 m in 300 simulated hills each
#: were found in none (smooth ones 4 m high) to 14 % (rises of Student's t, three degrees of freedom), by two times in
#: 39 to 76 %, and neither found as much as the shift of a session in any hills that had no such steps.
_TIMES, _HIGH, _WAYS = 2.0, 1.0, 2.0
#: By how many usual rises the mean of both steps may miss what made them (it scatters by one, as a rise scatters by 1.4
#: standard deviations of a height and has half of them below 0.95), and metres at the least: what readings scatter.
_MISS, _SCATTER = 2.0, 0.05


class SteppedRun(Struct, frozen=True):
    """Readings (k,) in a row, places among those given, ``up`` metres above those before and after, give or take.

    ``miss`` are metres by which the ground, and the scatter of readings, may change that.
    """

    rows: Integers
    up: float
    miss: float


def stepped_runs(places: Floats, height: Floats, group: Integers, let_be: Flags) -> list[SteppedRun]:
    """Return the runs, one at the most between two readings that are let be, which may be those before and behind it.

    Args:
        places: (n, 3) from `places.on_sphere`, metres, in the order in which they were measured.
        height: (n,) metres, finite.
        group: (n,) what must be the same for neighbours, such as the export.
        let_be: (n,) readings that may lie anywhere: marks.
    """
    heads = np.flatnonzero(let_be | (np.diff(group, prepend=group[:1]) != 0))
    found = []
    for part in np.split(np.arange(len(height)), heads):
        here = part[~let_be[part]]
        if len(here) < _ENOUGH:
            continue
        run = _run(places[here], height[here], _BESIDE, _BESIDE)
        if run is None:
            before, behind = part[:1][let_be[part[:1]]], here[-1:] + 1
            behind = behind[behind < len(height)]
            behind = behind[let_be[behind] & (group[behind] == group[here[0]])]
            here = np.concatenate([before, here, behind])
            run = _run(places[here], height[here], *(1 if len(mark) else _BESIDE for mark in (before, behind)))
        if run is not None:
            found.append(SteppedRun(here[run.rows], run.up, run.miss))
    return found


def _run(places: Floats, height: Floats, before: int, behind: int) -> SteppedRun | None:
    """Return the run among readings that follow one another with no mark between, but at either end.

    The ground is another where somebody went a long way, so that no rise on one counts. ``before`` and ``behind`` it
    are so many readings at the least.
    """
    way = np.linalg.norm(np.diff(places, axis=0), axis=1)
    beside = np.flatnonzero(way <= _WAYS * float(np.quantile(way, 0.9)))
    rises = np.diff(height)[beside]
    order = np.argsort(np.abs(rises))
    if len(rises) < _ENOUGH - 1:
        return None
    first, last = np.sort(order[-2:]).tolist()
    step, back, others = float(rises[first]), float(rises[last]), np.abs(rises[order[:-2]])
    on, off = int(beside[first]) + 1, int(beside[last]) + 1
    high = min(abs(step), abs(back)) >= max(_HIGH, _TIMES * float(others[-1]))
    if not high or abs(step + back) > max(2.0 * float(others[-1]), _SCATTER):
        return None
    if off - on < _RUN or on < before or len(height) - off < behind:
        return None
    miss = max(_MISS * float(np.median(others)), _SCATTER)
    return SteppedRun(np.arange(on, off), (step - back) / 2.0, miss)
