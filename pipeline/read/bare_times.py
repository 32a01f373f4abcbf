"""Tells from an export's first rows whether its times state their own clock."""

import re
from collections.abc import Iterable

import pyarrow as pa
import pyarrow.compute as pc

from pipeline.job.time_format import says_its_clock
from pipeline.job.written_clock import written_clock
from pipeline.read.raw_batch import Raw

#: What ends an ISO time that says its offset from UTC.
_OFFSET = r"(?i)(?:z|utc|gmt|[+-]\d\d:?(?:\d\d)?)\s*$"
#: What has a time of day, after which an offset may stand: of a date alone the last figures would look like one.
_CLOCK = re.compile(r":|\d[Tt]\d")


def bare_time(first: Iterable[Raw], column: str, time_format: str | None) -> tuple[int, str] | None:
    """Return row and text of the first time where that stands without an offset from UTC, else None.

    ``first`` are an export's first rows, ``column`` is that of their times. Times that a format keeps as such, as a
    GeoPackage does, are UTC by its standard.
    """
    if time_format is not None and ("%z" in time_format or says_its_clock(time_format) or written_clock(time_format)):
        return None
    for raw in first:
        cells = raw.columns[column]
        if not pa.types.is_string(cells.type):
            return None
        given = pc.indices_nonzero(pc.fill_null(pc.match_substring_regex(cells, "[0-9]"), False))  # no row of units
        if len(given):
            text = str(cells[given[0].as_py()].as_py())
            with_offset = pc.match_substring_regex(pa.array([text]), _OFFSET)[0].as_py()
            dated = time_format is None and with_offset and _CLOCK.search(text) is not None
            return None if dated else (int(raw.row[given[0].as_py()]), text)
    return None
