"""Finds readings aside to which, and back from which, nobody came in the time that was, in the work of one on foot."""

import numpy as np

from pipeline.arrays import Flags, Floats, Integers
from pipeline.clock import MINUTE
from pipeline.plausible.two_tracks import SPEED

#: Metres a second that nine of ten ways are made at where somebody walks. Ours, no source.
_ON_FOOT = 3.0
#: A run lies so many usual ways aside, and metres, at the least; those before and after it are not so far apart.
_TIMES, _LEAST = 10.0, 50.0
#: Readings that a run has at the most, and runs above which two rovers may be at work.
_RUN, _RUNS = 10, 2
#: Readings from which on there is a usual way.
_ENOUGH = 20


def too_fast(places: Floats, time: Integers, group: Integers, let_be: Flags) -> list[tuple[Integers, float, float]]:
    """Return runs of readings aside: their places here, how far [m], and the seconds of the way there or back.

    Args:
        places: (n, 3) from `places.on_sphere`, metres, in the order in which they were written.
        time: (n,) milliseconds.
        group: (n,) what must be the same for neighbours, such as the export.
        let_be: (n,) readings that may lie anywhere: marks.
    """
    if len(places) < _ENOUGH:
        return []
    far = np.linalg.norm(np.diff(places, axis=0), axis=1)
    rounded = 60.0 if not (time % MINUTE).any() else 1.0
    seconds = np.diff(time) / 1000.0
    own = (group[1:] == group[:-1]) & ~let_be[1:] & ~let_be[:-1] & (seconds >= 0.0)
    if np.count_nonzero(own) < _ENOUGH - 1:
        return []
    speed = far / (seconds + rounded)
    usual = float(np.median(far[own]))
    if float(np.quantile(speed[own], 0.9)) > _ON_FOOT:
        return []
    leaps = np.flatnonzero(own & (far > max(_TIMES * usual, _LEAST)) & (speed > SPEED))
    found = []
    for there, back in zip(leaps[:-1].tolist(), leaps[1:].tolist(), strict=True):
        run = np.arange(there + 1, back + 1)
        over = float(np.linalg.norm(places[back + 1] - places[there]))
        if len(run) <= _RUN and own[there : back + 1].all() and over <= 0.5 * min(far[there], far[back]):
            way = there if seconds[there] <= seconds[back] else back
            found.append((run, float(far[way]), float(seconds[way])))
    return found if len(found) <= _RUNS else []
