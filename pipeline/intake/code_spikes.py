"""Says of runs of readings with one code which one stands far aside, where the job draws no lines.

A kerb is followed reading by reading whether or not its code is of a string: what lies far off between two readings
that follow one another was mistyped, or is of something else. Who walked there and back needed the time for it.
"""

from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.ledger import CANDIDATE, ReadingRows
from pipeline.intake.prepare import Prepared
from pipeline.plausible import on_sphere
from pipeline.plausible.spikes import NEXT, TIMES, spike

#: Metres aside at the least: farther than the other side of a road. Readings of a run at the least. Ours, no source.
_LEAST, _ENOUGH = 25.0, 8
#: How many times longer than usual of its run the ways there and back may take: nobody walks ten times as far in that.
_LONGER = 2.0
#: Runs that are told, and rows of an export that is no rover's day.
_LISTED, _MOST = 20, 200_000


def code_spike_notes(rows: ReadingRows, once: Flags, prepared: Prepared) -> Iterator[str]:
    """Yield for each run of readings with one code, up to some, its reading that stands aside.

    Args:
        rows: every reading.
        once: (n,) the sound ones that repeat no other.
        prepared: the job; the lines of one that draws some are looked at where they are drawn.
    """
    if prepared.writing is not None:
        return
    told, ends = 0, np.append(rows.starts, len(rows))
    for start, end in zip(ends[:-1].tolist(), ends[1:].tolist(), strict=True):
        if not _ENOUGH <= end - start <= _MOST:
            continue
        for which, places, time in _runs(rows, once, start, end):
            if told < _LISTED and (one := _aside(places, time)) is not None:
                told += 1
                number, row = rows.place(int(which[one[0]]))
                yield (
                    f"{prepared.exports[number].shown}:{row}: this reading lies {one[1]:,.0f} m from the readings of"
                    " its code before and after it, which follow one another: if nobody went there and back, check its"
                    " coordinates and its code"
                )


def _runs(rows: ReadingRows, once: Flags, start: int, end: int) -> Iterator[tuple[Integers, Floats, Integers]]:
    """Yield the runs of one code of an export in which a reading may stand aside: numbers, (k, 3) places, times."""
    which = start + np.flatnonzero(once[start:end] & ((rows.flags[start:end] & CANDIDATE) == 0))
    time, longitude, latitude, base = rows.columns.take(which, "time", "longitude", "latitude", "base")
    order = np.lexsort((time, base, rows.session[which]))
    which, time, places = which[order], time[order], on_sphere(longitude, latitude)[order]
    code, session = rows.codes(which), rows.session[which]
    if len(which) < _ENOUGH:
        return
    step = np.linalg.norm(np.diff(places, axis=0), axis=1)
    aside = np.minimum(step[:-1], step[1:])
    over = np.linalg.norm(places[2:] - places[:-2], axis=1)
    may_be = np.zeros(len(which), bool)
    may_be[1:-1] = (aside > _LEAST) & (over <= NEXT / TIMES * aside)
    heads = np.flatnonzero((np.diff(code) != 0) | (np.diff(session) != 0) | (np.diff(base[order]) != 0)) + 1
    for run in np.split(np.arange(len(which)), heads):
        if len(run) >= _ENOUGH and code[run[0]] != 0 and may_be[run].any():
            yield which[run], places[run], time[run]


def _aside(places: Floats, time: Integers) -> tuple[int, float] | None:
    """Return which reading of a run stands aside, and how far [m], unless somebody had the time to go there."""
    one = spike(places, closed=False, least=_LEAST)
    if one is None:
        return None
    gone = np.diff(time)
    usual = float(np.median(gone))
    return one if max(gone[one[0] - 1], gone[one[0]]) <= _LONGER * usual else None
