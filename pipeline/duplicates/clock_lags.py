"""Difference between two clocks [ms]: quarter hours of zones, GPS-UTC leap seconds, or both."""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.clock import GPS_AHEAD, HOUR, LEAP_SECONDS

#: Milliseconds that all zones are a whole number of, and the furthest of them from UTC.
_QUARTER, _FURTHEST = HOUR // 4, 14 * HOUR
#: Milliseconds by which a lag may miss that of two clocks: one of them cuts seconds off, or has a leap second less.
MISSES = 1000


class ClockLags(Struct, frozen=True):
    """How much later some readings are by another clock, (k,) milliseconds; ``known`` which of them clocks have.

    ``leap`` is the part that leap seconds have in it, milliseconds.
    """

    lag: Integers
    leap: Integers
    known: Flags


def clock_lags(time: Integers, other: Integers) -> ClockLags:
    """Return the lags of clocks that are nearest to those from ``time`` to ``other`` (k,), UTC milliseconds."""
    later, ahead = other - time, _gps_ahead(time)
    leaps = np.stack([np.zeros(len(later), np.int64), ahead, -ahead])
    lags = (later - leaps + _QUARTER // 2) // _QUARTER * _QUARTER + leaps
    best = np.argmin(np.abs(lags - later), axis=0)[None]
    lag, leap = (np.take_along_axis(values, best, axis=0)[0] for values in (lags, leaps))
    known = (np.abs(lag - later) <= MISSES) & (lag != 0) & (np.abs(lag - leap) <= _FURTHEST)
    return ClockLags(lag, leap, known)


def _gps_ahead(time: Integers) -> Integers:
    """Return (k,) by how much GPS time was ahead of UTC, milliseconds; today's where that is not known here."""
    since = np.array([date for date, _ in LEAP_SECONDS], "datetime64[ms]").astype(np.int64)
    ahead = np.array([*(seconds * 1000 for _, seconds in LEAP_SECONDS), GPS_AHEAD], np.int64)
    return ahead[np.searchsorted(since, time, side="right") - 1]
