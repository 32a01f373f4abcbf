"""Readings outside all sessions because their clock is off: zone, daylight saving, leap seconds, day and month."""

from collections.abc import Collection

import numpy as np

from pipeline.arrays import Integers
from pipeline.clock import DAY, GPS_AHEAD, HOUR, MINUTE
from pipeline.intake.base_values import offset_into
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.prepare import Prepared
from pipeline.near import and_more
from pipeline.sessions.attach import SessionIndex, base_key
from pipeline.words import counted, plural

_ORDER = "check the order of %d and %m in time_format of their [[points]], and start and end of the sessions"

#: What to do where times say their own clock.
_OWN = "their times state their own offset from UTC: check it, and start and end of the sessions"

#: So many readings outside all sessions are worth a look, and of them this part has to agree on one offset.
_MANY, _SHARE = 10, 0.9


def ids_may_be_wrong(first_pass: FirstPass, known: Collection[str | None]) -> bool:
    """Tell whether what is outside all sessions lies in the time of sessions with other base ids, for the most part.

    ``known`` are the base ids of all sessions. Base ids are what is wrong there as likely as a clock, and to move the
    times would correct the readings for the other base.
    """
    log = first_pass.log
    others = sum(seen.count for seen in log.strangers if seen.sessions and base_key(seen.text) in known)
    return others > 0 and others >= _SHARE * log.outside.count


def time_offset(prepared: Prepared, first_pass: FirstPass, index: SessionIndex) -> str | None:
    """Return in words the one offset in time that would put the readings outside all sessions into them, or None."""
    outside = first_pass.log.outside
    if outside.count < _MANY:
        return None
    windows = prepared.windows
    zones = [window.session.start.utcoffset() for window in windows]
    likely = dict.fromkeys(round(zone.total_seconds() * 1000) for zone in zones if zone is not None)
    offset = offset_into(outside.times, lambda times: index.attach(times, outside.bases) >= 0, tuple(likely), _SHARE)
    if offset is None:
        moved = [exchanged(outside.times, zone) for zone in likely]
        shares = [float((index.attach(times, outside.bases) >= 0).mean()) for times in moved]
        if max(shares, default=0.0) < _SHARE:
            return None
        how, fix, share = "day and month exchanged", _ORDER, max(shares)
    else:
        share = float((index.attach(outside.times + offset, outside.bases) >= 0).mean())
        zoned = all(prepared.exports[number].bare_time is None for number in outside.exports)
        how, fix = f"times {offset_words(offset)}", advice(offset, zoned=zoned)
    names = [prepared.exports[number].shown for number in outside.exports]
    where = ", ".join(names[:3]) + and_more(len(names) - 3)
    part = "all" if share == 1.0 else f"{share:.0%}"
    known = {base_key(window.base) for window in windows}
    if ids_may_be_wrong(first_pass, known):
        how = f"if their base ids are right, check their clock: with {how}"
    else:
        how = f"with {how}"
    return (
        f"{counted(outside.count, 'reading')} ({where}) {plural(outside.count, 'falls', 'fall')} outside all sessions;"
        f" {how} {part} of them would be inside: {fix}"
    )


def exchanged(times: Integers, zone: int) -> Integers:
    """Return UTC milliseconds (n,) with day and month of their dates exchanged, where that gives a date.

    ``zone`` are the milliseconds by which the clock that wrote the dates is ahead of UTC.
    """
    local = times + zone
    months = local.astype("datetime64[ms]").astype("datetime64[M]")
    days = local.astype("datetime64[ms]").astype("datetime64[D]")
    day = (days - months.astype("datetime64[D]")).astype(np.int64)
    years = months.astype("datetime64[Y]")
    month = (months - years.astype("datetime64[M]")).astype(np.int64)
    other = (years.astype("datetime64[M]") + day).astype("datetime64[D]") + month
    moved = (other - days).astype(np.int64) * DAY
    return np.asarray(np.where(day < 12, times + moved, times))


def offset_words(offset: int) -> str:
    """Say which way and by how much times, in milliseconds, are to be moved."""
    way = "later" if offset > 0 else "earlier"
    if abs(offset) == GPS_AHEAD:
        return f"{GPS_AHEAD // 1000} s {way}"
    hours, rest = divmod(abs(offset), HOUR)
    return f"{hours} h {way}" if not rest else f"{hours} h {rest // MINUTE} min {way}"


def advice(offset: int, *, zoned: bool) -> str:
    """Say what to look at where an offset, in milliseconds, puts times into sessions; ``zoned`` ones say their own."""
    return _advice_zoned(offset) if zoned else _advice_bare(offset)


def _advice_zoned(offset: int) -> str:
    """Say what may be wrong where times say their own offset from UTC, which no time_zone changes."""
    if offset == -GPS_AHEAD:
        return (
            'GPS time, 18 s ahead of UTC, seems to be written as UTC (export it without "Z" and offset and state'
            ' time_zone = "GPS"), or a session ends too early'
        )
    return _OWN


def _advice_bare(offset: int) -> str:
    if offset == -GPS_AHEAD:
        return 'GPS time, 18 s ahead of UTC, seems to be read as UTC (time_zone = "GPS"), or a session ends too early'
    if offset == GPS_AHEAD:
        return 'UTC seems to be read as GPS time (time_zone = "UTC"), or a session starts too late'
    return "check time_zone of their [[points]], and start and end of the sessions with their offsets from UTC"
