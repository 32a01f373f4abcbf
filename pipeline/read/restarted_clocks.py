"""Detects times that go back within one date: a 12-hour clock in the afternoon, or a date that did not change.

The one rule for it: a run doubts such rows by it, and whoever drafts a job file is asked about them. An order of rows
does the same where two crews follow one another in a file, so little is taken for it: where as much would be written by
honest clocks, nothing is told.
"""

from itertools import pairwise

import numpy as np

from pipeline.arrays import Integers
from pipeline.clock import DAY, HOUR, MINUTE

#: Milliseconds by which rows of receivers that write into one file may be out of order.
JITTER = 15 * MINUTE
#: Milliseconds within which a row runs on from another. Common practice, no source.
RUNS_ON = 2 * HOUR
#: Steps back on a date, at most: a mistyped time makes another.
_STEPS_BACK_MAX = 2
_NOON = 12
#: What lies between the last reading before one o'clock and the first after it, at most.
_BREAK = 4 * HOUR
#: The longest that work on one date lasts which goes on past the hour at which it began. Ours, no source.
_LONGEST = 15 * HOUR


def of_twelve(local: Integers) -> bool:
    """Tell whether times (n,), milliseconds of the clock that was read, have no hour but those from 1 to 12."""
    hours = local // HOUR % 24
    return len(local) > 0 and bool(((hours >= 1) & (hours <= _NOON)).all())


def dates(local: Integers) -> list[tuple[int, int]]:
    """Return where each run of rows on one date starts and stops, of times (n,) in the order of their rows."""
    day = local // DAY
    starts = np.flatnonzero(np.diff(day, prepend=day[:1] - 1))
    return list(pairwise([*starts.tolist(), len(local)]))


def goes_back(time: Integers) -> bool:
    """Tell whether any of the times (n,) lies before the one of the row before it, by more than receivers do."""
    return bool((np.diff(time) < -JITTER).any())


def turn(time: Integers) -> int | None:
    """Return the row from which on times (n,) of one date are earlier and run on to its end; None where none is.

    None too where they go back more than twice, or where one row alone is too early or the one before it too late.
    """
    back = np.flatnonzero(np.diff(time) < -JITTER) + 1
    if not 0 < len(back) <= _STEPS_BACK_MAX:
        return None
    at = int(back[-1])
    late = at > 1 and -JITTER <= time[at] - time[at - 2] <= RUNS_ON
    early = at + 1 < len(time) and -JITTER <= time[at + 1] - time[at - 1] <= RUNS_ON
    return None if late or early else at


def is_afternoon(local: Integers, at: int) -> bool:
    """Tell whether times (n,) of one date are those of an afternoon from row ``at`` on, on a clock of 12 hours.

    All are of hours from 1 to 12 (`of_twelve`). They start again a few hours later, were half a day added, and end
    before the hour at which the day had begun; or they run on in a day that is not too long.
    """
    gap = int(local[at] - local[at - 1]) + DAY // 2
    length = int(local[at:].max() - local[:at].min()) + DAY // 2
    long_day = gap <= RUNS_ON and length <= _LONGEST and not goes_back(local[:at])
    return -JITTER <= gap <= _BREAK and (length < DAY // 2 or long_day)


def starts_again(local: Integers) -> int | None:
    """Return the row at which times (n,) start again as those of a 12-hour clock do after noon, else None.

    Times are milliseconds of the clock that was read, in the order of their rows. None too where they go back on any
    date in another way: such rows are in another order, and nothing tells the clock.
    """
    if not of_twelve(local):
        return None
    found: dict[int, int] = {}
    for start, stop in dates(local):
        own = local[start:stop]
        if goes_back(own):
            at, day = turn(own), int(own[0] // DAY)
            if at is None or day in found or not is_afternoon(own, at):
                return None
            found[day] = start + at
    return next(iter(found.values()), None)
