"""Refuses 12-hour times whose AM or PM is in a separate column.

On a 24-hour clock such a column only says again what the hours say. One afternoon with an hour below 12, or one morning
with 12, shows that the clock is one of 12 hours: half of its readings would be taken for 12 hours off.
"""

from collections.abc import Iterator, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Integers
from pipeline.clock import HOUR, MINUTE
from pipeline.files.halves_of_day import AFTERNOON, MORNING, bare, is_short
from pipeline.read.clock_fields import ISO, Fields
from pipeline.read.columns import ReadingPlan
from pipeline.read.counted_times import Counted
from pipeline.read.findings import Unusable
from pipeline.read.mapping import mapped
from pipeline.read.raw_batch import Raw

#: The halves of a day as they are written in whole words, without blanks and points, in small letters.
_MORNING = """
    vormittag vormittags morning forenoon matin matina mattina manana mañana manhã manha dopoledne przedpołudniem
    délelőtt förmiddag aamupäivä
"""
_AFTERNOON = """
    nachmittag nachmittags afternoon aprèsmidi apresmidi pomeriggio tarde odpoledne popołudniu délután eftermiddag
    iltapäivä
"""
_HALF = dict.fromkeys((*MORNING, *_MORNING.split()), 0) | dict.fromkeys((*AFTERNOON, *_AFTERNOON.split()), 1)
_NOON = 12
#: One row in so many may lack the only half that there is: what stands on some rows alone is no clock's.
_BLANKS = 10
#: One hour in so many that is none of a 12-hour clock may be a slip.
_SLIPS = 20


def half_of(text: str) -> int | None:
    """Return 0 for a text that means the morning and nothing else, 1 for the afternoon, None for any other."""
    return _HALF.get(bare(text))


def twelve_hours(texts: Sequence[str | None], hours: Integers) -> int | None:
    """Return the first row by which a column of texts says that hours (n,) are of a 12-hour clock, else None.

    Hours are -1 where they are not known. None also where a text means something else, or hours of a 24-hour clock are
    among them: some may be slips.
    """
    halves = {text: half_of(text) for text in set(texts) if text}
    if not halves or None in halves.values():
        return None
    one = len(set(halves.values())) == 1
    if one and all(map(is_short, halves)):
        return None
    half = np.array([-1 if not text else halves[text] for text in texts], np.int64)
    known = (half >= 0) & (hours >= 0)
    if one and _BLANKS * ((half < 0) & (hours >= 0)).sum() > (hours >= 0).sum():
        return None
    if _SLIPS * (known & ((hours < 1) | (hours > _NOON))).sum() > known.sum():
        return None
    telling = np.flatnonzero(known & (hours >= 1) & (hours <= _NOON) & ((hours == _NOON) != (half == 1)))
    return int(telling[0]) if len(telling) else None


def checked(how: ReadingPlan, batches: Iterator[Raw]) -> Iterator[Raw]:
    """Yield the batches of a file as they are; raises `Unusable` at a reading whose half of the day is in a column.

    Columns that may be of halves are those whose first text is one.
    """
    if "%p" in (how.clock.time_format or "") or isinstance(how.clock.pattern, Counted):
        yield from batches
        return
    columns: list[str] | None = None
    for raw in batches:
        if columns is None and len(raw.row):
            taken = {*mapped(how.points.columns).values(), *how.names.values()}
            columns = [name for name in raw.columns if name not in taken and _begins_so(raw.columns[name])]
        for name in columns or ():
            _check(how, raw, name)
        yield raw


def _begins_so(cells: pa.Array) -> bool:
    if not pa.types.is_string(cells.type):
        return False
    there = pc.indices_nonzero(pc.fill_null(pc.greater(pc.utf8_length(cells), 0), False))
    return len(there) > 0 and half_of(cells[there[0].as_py()].as_py()) is not None


def _check(how: ReadingPlan, raw: Raw, name: str) -> None:
    times, texts = raw.columns[how.names["time"]], raw.columns[name].to_pylist()
    row = twelve_hours(texts, _hours(how, times))
    if row is not None:
        what = f'the time "{times[row].as_py()}" is from a 12-hour clock: the column "{name}" has "{texts[row]}"'
        raise Unusable(int(raw.row[row]), f"{what} and is not read", FIX)


#: What to do about such times.
FIX = "export 24-hour times, or put AM or PM after the time in the same column and state time_format with %I and %p"


def _hours(how: ReadingPlan, times: pa.Array) -> Integers:
    """Return the hours (n,) as they are written, -1 where none can be read."""
    if pa.types.is_timestamp(times.type):
        return np.array(pc.fill_null(pc.hour(times), -1).to_numpy(zero_copy_only=False), np.int64)
    if not pa.types.is_string(times.type):
        return np.full(len(times), -1)
    assert not isinstance(how.clock.pattern, Counted)
    hours = np.full(len(times), -1)
    for pattern in (ISO, how.clock.pattern):
        fields = pattern.read(times)
        hours = np.where(fields.real, hours_written(fields), hours)
    return hours


def hours_written(fields: Fields) -> Integers:
    """Return the hours (n,) of times as they are written, -1 where a text is none."""
    return np.where(fields.real, (fields.milliseconds + fields.offset * MINUTE) // HOUR % 24, -1)
