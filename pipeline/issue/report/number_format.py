"""Numbers and times as the report writes them: the same everywhere, whatever language the machine speaks."""

from pipeline.clock import from_iso, seconds_text
from pipeline.job.time_zones import on_clock
from pipeline.words import plural

#: Written where a number is not known.
NONE = "-"
#: Between groups of three digits of a count: a thin space, which in no country is a decimal sign.
_THIN = "\u202f"


def metres(value: float | None, decimals: int = 3) -> str:
    """Return metres to the millimetre; no number has a minus zero."""
    if value is None:
        return NONE
    return f"{round(value, decimals) + 0.0:.{decimals}f}"


def signed(value: float | None, decimals: int = 3) -> str:
    """Return metres with their sign; nought has none."""
    if value is None:
        return NONE
    rounded = round(value, decimals) + 0.0
    return f"{rounded:+.{decimals}f}" if rounded else f"{rounded:.{decimals}f}"


def count(value: float) -> str:
    """Return a count, its digits in groups of three."""
    return f"{value:,.0f}".replace(",", _THIN)


def many(value: int, one: str, more: str = "") -> str:
    """Return a count with its noun: "1 session", "2 sessions"."""
    return f"{count(value)} {plural(value, one, more)}"


def moment(text: str | None) -> str:
    """Return a record's time (ISO, UTC) as date and time, to the second unless it has a part of one."""
    if text is None:
        return NONE
    time = from_iso(text)
    fraction = f".{time.microsecond // 1000:03d}" if time.microsecond else ""
    return f"{seconds_text(time)}{fraction}"


def minute(text: str) -> str:
    """Return a record's time as date and time, without the seconds where there are none."""
    whole = moment(text)
    return whole if "." in whole else whole.removesuffix(":00")


def local(text: str, zone: str) -> str:
    """Return a record's time as the clock of a zone shows it: ``2026-03-02 07:30``, without seconds of nought."""
    time = on_clock(from_iso(text), zone)
    return seconds_text(time).removesuffix(":00")


def clipped(text: str, most: int = 1500) -> str:
    """Return a text, or its beginning and how much of it is left out; the record has all of it."""
    if len(text) <= most:
        return text
    short = f"{text[:most].rstrip()} ... ({many(len(text) - most, 'more character')} in issue.json)"
    return short if len(short) < len(text) else text
