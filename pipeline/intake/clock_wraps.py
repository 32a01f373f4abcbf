"""Finds rows whose clock or date began again within a file: 12-hour times, or no new date at midnight."""

from datetime import tzinfo

import numpy as np
import pyarrow as pa

from pipeline.arrays import Integers
from pipeline.clock import DAY, HOUR, MINUTE, moment
from pipeline.intake.file_sequence import Astray, FileSequence
from pipeline.read.exports import Export
from pipeline.read.restarted_clocks import JITTER, RUNS_ON, dates, is_afternoon, of_twelve, turn
from pipeline.read.times import clock
from pipeline.sessions.attach import SessionIndex


def find_wraps(readings: FileSequence, export: Export) -> tuple[list[tuple[int, int, int]], Integers]:
    """Return start, stop and milliseconds of rows whose clock or date went on from the beginning, and times without.

    The rows run on from those before them once they are half a day or a day later, on the one date that the file says.
    A day it is where dates stand in a column of their own, half a day by `is_afternoon` where the whole file has no
    hour but those of a 12-hour clock.
    """
    local = readings.time + _ahead(export, readings.time)
    time, twelve, dated = readings.time.copy(), of_twelve(local), export.points.columns.date is not None
    wraps = []
    for start, stop in dates(local):
        own = local[start:stop]
        if (at := turn(own)) is None:
            continue
        if dated and -JITTER <= own[at] - own[at - 1] + DAY <= RUNS_ON:
            by = DAY
        elif twelve and is_afternoon(own, at):
            by = DAY // 2
        else:
            continue
        wraps.append((start + at, stop, by))
        time[start + at : stop] += by
    return wraps, time


def wrapped_rows(readings: FileSequence, index: SessionIndex, start: int, stop: int, by: int) -> Astray:
    """Return rows ``start`` to ``stop`` that a clock which began again has written, ``by`` milliseconds too early."""
    then = index.attach(readings.time[start:stop] + by, pa.array([readings.base] * (stop - start), pa.string()))
    now = readings.session[start:stop]
    changed = (then >= 0) & (then != now)
    first = int(np.argmax(changed))
    doubted = tuple(np.unique(now[changed]).tolist())
    row, last = (int(each) for each in readings.source_rows([start, stop - 1]))
    return Astray(
        export=readings.export,
        row=row,
        last_row=last,
        count=stop - start,
        first=int(readings.time[start]),
        last=int(readings.time[stop - 1]),
        before=readings.neighbour(start - 1),
        behind=readings.neighbour(stop),
        session=int(now[first]),
        place=int(then[first]),
        doubted=doubted,
        wrapped=by,
    )


def _ahead(export: Export, times: Integers) -> Integers:
    """Return (n,) milliseconds by which the clock of an export is ahead of UTC, one and the same in every hour."""
    kind = clock(export.points.time_zone, None).kind if export.bare_time is not None else None
    if isinstance(kind, tzinfo):
        hours, place = np.unique(times // HOUR, return_inverse=True)
        east = [moment(hour * HOUR).astimezone(kind).utcoffset() for hour in hours.tolist()]
        found = np.array([0 if each is None else round(each.total_seconds() * 1000) for each in east], np.int64)
        return np.asarray(found[place.ravel()])
    return np.full(len(times), (kind or 0) * MINUTE, np.int64)
