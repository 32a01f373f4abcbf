"""Which exports have readings at the same time within a session: two rovers at work, not one that changed files."""

from collections import Counter
from collections.abc import Mapping

import numpy as np

from pipeline.arrays import Integers
from pipeline.clock import MINUTE
from pipeline.intake.first_pass import FirstPass
from pipeline.sessions.attach import base_key
from pipeline.sessions.windows import SessionWindow

#: Of an export its minutes with readings, ascending, and how many, by base id (`FileLog.clock`).
Clock = Mapping[str | None, tuple[Integers, Integers]]

#: Turns between two exports that tell two rovers at work from one that changed files; and one for so many minutes.
_LEAST_TURNS, _TURNS = 2, 4


def minutes_within(clock: Clock, window: SessionWindow) -> Integers:
    """Return (m,) the minutes, ascending, in which an export has readings within a session, UTC milliseconds."""
    base, found = base_key(window.base), [np.zeros(0, np.int64)]
    for key, (minutes, _) in clock.items():
        first, after = np.searchsorted(minutes, (window.start_ms - MINUTE, window.end_ms)).tolist()
        if base is None or key in (None, base):
            found.append(minutes[first:after])
    return np.unique(np.concatenate(found))


def readings_between(clock: Clock, window: SessionWindow, since: int, until: int) -> int:
    """Return how many readings an export has within a session in the minutes after one time up to another.

    ``since`` and ``until`` are UTC milliseconds, and the minute of ``since`` does not count.
    """
    base, found = base_key(window.base), 0
    first, last = max(since // MINUTE * MINUTE, window.start_ms - MINUTE), min(until, window.end_ms - 1)
    for key, (minutes, counts) in clock.items():
        if base is None or key in (None, base):
            found += int(counts[(minutes > first) & (minutes <= last)].sum())
    return found


def together(one: Integers, other: Integers) -> bool:
    """Tell whether readings of two exports lie between one another, (m,) minutes of each: in turns, or in one minute.

    One that went on in a second file, and then in the first again, leaves a gap in that: no reading of it is there.
    """
    if not len(one) or not len(other):
        return False
    begin, end = max(int(one[0]), int(other[0])), min(int(one[-1]), int(other[-1]))
    here = [each[(each >= begin) & (each <= end)] for each in (one, other)]
    for edge, place in ((begin, 0), (end, -1)):
        if all(edge in each for each in here):  # one of them begins or ends here, the other may have just before
            late = 1 if one[place] == edge else 0
            here[late] = here[late][here[late] != edge]
    every = np.concatenate(here)
    whose = np.repeat([0, 1], [len(each) for each in here])[np.argsort(every, kind="stable")]
    turns, fewer = int(np.count_nonzero(np.diff(whose))), min(len(each) for each in here)
    return turns >= _LEAST_TURNS and turns * _TURNS >= fewer


def same_rows(first_pass: FirstPass) -> Counter[tuple[int, int]]:
    """Return how many rows two exports have in common, by their numbers in either order: they are of one rover."""
    pairs = [first_pass.export_of(numbers) for numbers in (first_pass.duplicates, first_pass.duplicate_of)]
    both, counts = np.unique(np.column_stack(pairs), axis=0, return_counts=True)
    found = Counter[tuple[int, int]]()
    for (one, other), count in zip(both.tolist(), counts.tolist(), strict=True):
        found[one, other] += count
        found[other, one] += count
    return found
