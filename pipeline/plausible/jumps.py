"""Finds runs of readings off to one side of those before and after: a digit mistyped in some rows."""

import numpy as np

from pipeline.arrays import Flags, Floats, Integers
from pipeline.plausible.heights import levelled

#: A jump is so many times as long as nine of ten ways from one reading to the next, those to and from marks left out,
#: and so many metres at the least.
_TIMES, _LEAST = 6.0, 200.0
#: Readings that a run has at the most, and runs above which it is how somebody works.
_RUN, _RUNS = 10, 3
#: The part of a jump by which the way back may miss the way there, and by which either may leave its own axis.
_BACK, _AXIS = 0.2, 0.1
#: Readings from which on there is a usual way from one to the next. Of fewer, down to so many, a jump is a large part:
#: half of the ways are the usual ones, it stands out by far more, and a run has fewer readings: one building of three
#: is where somebody went.
_ENOUGH, _FEW, _RUN_OF_FEW = 20, 8, 2
_TIMES_OF_FEW, _LEAST_OF_FEW = 20.0, 500.0
#: Metres a second at which one drives there: who takes so much longer than otherwise, both ways, went. Ours, no source.
_DRIVEN = 15.0


def jumps(places: Floats, time: Integers, group: Integers, let_be: Flags) -> list[tuple[Integers, float]]:
    """Return runs of readings that jump east, west, north or south and come back: their places here, and metres.

    Not those for which it took, there and back, as much longer than from reading to reading as somebody drives so far.

    Args:
        places: (n, 3) from `places.on_sphere`, metres, in the order in which they were written.
        time: (n,) milliseconds.
        group: (n,) what must be the same for neighbours, such as the export.
        let_be: (n,) readings for whose sake one goes far: marks.
    """
    if len(places) < _FEW:
        return []
    length = np.sqrt(np.square(np.diff(places, axis=0)).sum(axis=1))
    length[group[1:] != group[:-1]] = 0.0
    to_mark = let_be[1:] | let_be[:-1]
    if to_mark.all():
        return []
    most = _RUN
    if len(places) >= _ENOUGH:
        limit = max(_TIMES * float(np.quantile(length[~to_mark], 0.9)), _LEAST)
    else:
        most = _RUN_OF_FEW
        limit = max(_TIMES_OF_FEW * float(np.median(length[~to_mark])), _LEAST_OF_FEW)
    far = np.flatnonzero(length > limit)
    if len(far) < 2:
        return []
    way = np.diff(levelled(places), axis=0)
    seconds = np.diff(time) / 1000.0
    went = seconds >= float(np.median(seconds[~to_mark])) + length / _DRIVEN
    found = []
    for there, back in zip(far[:-1].tolist(), far[1:].tolist(), strict=True):
        out, home = way[there], way[back]
        run = np.arange(there + 1, back + 1)
        same = len(run) <= most and (group[there : back + 2] == group[there]).all() and not let_be[run].any()
        missed = float(np.hypot(*(out + home)))
        along = all(np.abs(one).min() <= _AXIS * np.abs(one).max() for one in (out, home))
        if same and along and not (went[there] and went[back]) and missed <= _BACK * min(length[there], length[back]):
            found.append((run, float(length[there])))
    return found if len(found) <= _RUNS else []
