"""Finds headings of time columns that state another clock than the job file uses."""

import re
from collections.abc import Iterable
from datetime import UTC, datetime, tzinfo

import numpy as np
from msgspec import Struct

from pipeline.arrays import Integers
from pipeline.clock import MINUTE, moment
from pipeline.read.clock_headings import offsets_of_zone_name, zone_in_heading
from pipeline.read.exports import Export
from pipeline.read.times import clock, gps_to_utc


class Headed(Struct, frozen=True):
    """A heading that says another clock: in words as ``stated``, as a ``zone`` of a job file where it is one.

    ``offsets`` are what times read by the heading are later than as they are read, milliseconds; () where it says no
    more than that the clock is a local one.
    """

    heading: str
    stated: str
    zone: str | None
    offsets: tuple[int, ...]


def headed_otherwise(export: Export, minutes: Integers) -> Headed | None:
    """Return the heading of an export's times that contradicts its time_zone; ``minutes`` (n,) UTC, milliseconds.

    The name of a zone is taken for its summer time too, as headings stay in summer what they were. Times that state
    their own offset are read by that, and have no heading to ask.
    """
    return said_otherwise(export, _headings(export), minutes)


def said_otherwise(export: Export, headings: Iterable[str], minutes: Integers) -> Headed | None:
    """Return the first of some headings, or of what is said as headings do, that contradicts an export's time_zone."""
    if export.bare_time is None or not len(minutes):
        return None
    kind, ends = clock(export.points.time_zone, None).kind, (moment(int(minutes.min())), moment(int(minutes.max())))
    for heading in headings:
        named = not re.search(r"\d", heading)
        year = [datetime(at.year, month, 1, tzinfo=UTC) for at in ends for month in (1, 7)]
        own = {_east_of(kind, at) for at in ((*ends, *year) if named else ends)}
        zone = zone_in_heading(heading)
        if zone == "":
            if kind in (None, 0):
                return Headed(heading, "on a local clock", None, ())
            continue
        said = [offset for offset, _ in offsets_of_zone_name(heading)] if zone is None else [zone]
        apart = {_east_of(clock(one, None).kind, ends[0]) for one in said}
        if not apart or apart & own:
            continue
        here = _east_of(kind, ends[0])
        words = " or ".join(_words(one) for one in said)
        return Headed(heading, words, zone, tuple(sorted(here - one for one in apart)))
    return None


def states_utc(export: Export) -> bool:
    """Tell whether a heading of an export's times says that they are UTC."""
    return any(zone_in_heading(heading) == "UTC" for heading in _headings(export))


def minutes_east(zone: tzinfo | int | None, at: datetime) -> int:
    """Return by how many minutes a clock, not that of GPS, is ahead of UTC."""
    if isinstance(zone, int):
        return zone
    assert zone is not None
    offset = at.astimezone(zone).utcoffset()
    return 0 if offset is None else round(offset.total_seconds() / 60)


def _headings(export: Export) -> list[str]:
    columns = export.points.columns
    return [one for one in (columns.time, columns.date) if isinstance(one, str)]


def _east_of(zone: tzinfo | int | None, at: datetime) -> int:
    """Return by how many milliseconds a clock is ahead of UTC."""
    if zone is not None:
        return minutes_east(zone, at) * MINUTE
    then = np.array([round(at.timestamp() * 1000)], np.int64)
    return int((then - gps_to_utc(then)[0])[0])


def _words(zone: str) -> str:
    return {"UTC": "UTC", "GPS": "on the GPS time scale"}.get(zone, f"UTC{zone}")
