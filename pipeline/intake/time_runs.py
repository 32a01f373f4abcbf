"""Parts readings into runs of ascending times, and says which rows of two runs may be out of order."""

import numpy as np

from pipeline.arrays import Integers
from pipeline.intake.file_sequence import FileSequence
from pipeline.read.restarted_clocks import JITTER

#: Rows out of order are one in so many at most where nothing is asked but that those around them run on.
IN_ORDER = 10
#: Breaks that a file in order has, however small it is.
_FEW = 2
#: Runs beyond which a file is not in order, whatever its size; and rows in one of them for so many, else two.
_MOST, _PER_BREAK = 40, 50


def most_breaks(rows: int) -> int:
    """Return how many breaks the order of so many rows may have."""
    return min(_MOST, max(_FEW, rows // _PER_BREAK))


def find_breaks(time: Integers) -> list[tuple[int, int, int]] | None:
    """Return start, break and end of each two runs (places in ``time``), None where there are too many of them."""
    most = most_breaks(len(time))
    starts = [0]
    while True:
        own = time[starts[-1] :]
        back = own < np.maximum.accumulate(own) - JITTER
        if not back.any():
            break
        if len(starts) > most:
            return None
        starts.append(starts[-1] + int(np.argmax(back)))
    edges = [*starts, len(time)]
    return list(zip(edges, edges[1:], edges[2:], strict=False))


def lighter_first(readings: FileSequence, time: Integers, start: int, at: int, stop: int) -> list[range]:
    """Return the rows of two runs that are too late or too early, the lighter ones first."""
    former, latter = time[start:at], time[at:stop]
    fitting = np.flatnonzero(former <= latter[0] + JITTER)
    late = range(start + int(fitting[-1]) + 1 if len(fitting) else start, at)
    after = latter >= former.max() - JITTER
    early = range(at, at + int(np.argmax(after)) if after.any() else stop)
    return sorted((late, early), key=readings.weight)


def breaks_around_runs(breaks: list[tuple[int, int, int]], sets: list[list[range]], rows: int) -> set[int]:
    """Return the breaks at both ends of a short run that is out of order at both: of another receiver, most likely."""
    found: set[int] = set()
    for number, ((_, start, stop), one, other) in enumerate(zip(breaks, sets, sets[1:], strict=False)):
        if one[0].start == start and other[0].stop == stop and (stop - start) * IN_ORDER <= rows:
            found |= {number, number + 1}
    return found
