"""Times as UTC milliseconds since 1970, which they are inside, and as the text that people and records read."""

from datetime import UTC, datetime

#: Milliseconds.
MINUTE, HOUR, DAY = 60_000, 3_600_000, 86_400_000
#: The first three letters of the months in English, as dates are written with them.
MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
#: GPS - UTC in seconds from these UTC dates on (IERS Bulletin C; ERFA's table). Before the first none is known here.
LEAP_SECONDS = (
    ("1999-01-01", 13),
    ("2006-01-01", 14),
    ("2009-01-01", 15),
    ("2012-07-01", 16),
    ("2015-07-01", 17),
    ("2017-01-01", 18),
)
#: Milliseconds by which GPS time is ahead of UTC since the last of them (IERS Bulletin C 52).
GPS_AHEAD = LEAP_SECONDS[-1][1] * 1000


def moment(time: int) -> datetime:
    """Return UTC milliseconds as a time in UTC."""
    return datetime.fromtimestamp(time / 1000, UTC)


def stamp(time: int) -> str:
    """Return UTC milliseconds as text, to the second."""
    return seconds_text(moment(time))


def between(first: int, last: int) -> str:
    """Return a span of time, UTC milliseconds, as text; the day once where it is one."""
    start, end = stamp(first), stamp(last)
    if start == end:
        return f"at {start} UTC"
    return f"from {start} to {end[11:] if end[:10] == start[:10] else end} UTC"


def lasting(milliseconds: int) -> str:
    """Return a stretch of time in words: ``3 h``, ``18 s``, ``1 h 30 min``."""
    seconds = abs(milliseconds) / 1000
    hours, rest = divmod(seconds, 3600)
    minutes, rest = divmod(rest, 60)
    parts = [(hours, "h"), (minutes, "min"), (rest, "s")]
    return " ".join(f"{value:.10g} {unit}" for value, unit in parts if value) or "0 s"


def seconds_text(time: datetime) -> str:
    """Return a time as it reads on its own clock, to the second: ``2026-03-02 07:30:00``."""
    return time.replace(tzinfo=None).isoformat(" ", "seconds")  # which writes every year in four figures


def iso(time: datetime, timespec: str = "milliseconds") -> str:
    """Return a time in UTC as ISO 8601 with a Z, to the millisecond unless ``timespec`` says otherwise."""
    return time.astimezone(UTC).isoformat(timespec=timespec).replace("+00:00", "Z")


def from_iso(text: str) -> datetime:
    """Return the time that an ISO 8601 text says, in UTC; raises `ValueError` where it says none."""
    return datetime.fromisoformat(text).astimezone(UTC)


def milliseconds_of(text: str) -> int:
    """Return the UTC milliseconds since 1970 that an ISO 8601 text says; raises as `from_iso`."""
    return round(from_iso(text).timestamp() * 1000)
