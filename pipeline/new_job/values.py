"""What the texts of a column hold: numbers, angles, times, a few words."""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.arrays import Floats
from pipeline.job.time_format import likely_formats
from pipeline.read.angles import dms
from pipeline.read.clock_fields import ISO, Pattern, pattern_of
from pipeline.read.numeric import numbers

#: The share of a column's texts that has to be of a kind; some rows of an export are always spoilt.
MOSTLY = 0.8

_COMMA = re.compile(r"[+-]?\d*,\d+")
_ZONED = re.compile(r"\d(?:Z|z| ?UTC|[+-]\d\d(?::?\d\d)?)$")
#: What every date with a time of day has: a clock's sign, or fourteen figures in a row.
_LIKE_TIME = re.compile(r"\d.*\d{1,2}:\d\d|\d{8}[ _T]?\d{4}|\d{4}-\d\d-\d\d[- ]\d\d-\d\d")
_WITH_CLOCK = re.compile(r"\d{1,2}:\d\d")

#: Formats that are tried besides those that a text's own look suggests.
_DATES = ("%d %b %Y", "%d-%b-%Y", "%d %B %Y", "%d/%b/%Y", "%b %d, %Y", "%d. %b %Y", "%Y-%b-%d", "%d-%b-%y")
_CLOCKS = ("%H:%M:%S", "%H:%M:%S.%f", "%H:%M", "%I:%M:%S %p", "%I:%M %p", "%I:%M:%S%p")
_RUNS = ("%Y%m%d%H%M%S", "%Y%m%d %H%M%S", "%Y%m%d_%H%M%S", "%Y%m%d %H:%M:%S", "%Y-%m-%d-%H-%M-%S", "%Y-%m-%d, %H:%M:%S")


@dataclass(frozen=True)
class Times:
    """How a column of times is written.

    ``formats`` are those that every row of it has: "" is ISO 8601, two where day and month may stand in either order;
    ``decides`` is a row (from 0) and text that rules the other order out; ``zoned`` whether texts say their own zone.
    """

    formats: tuple[str, ...]
    zoned: bool = False
    decides: tuple[int, str] | None = None


def given(texts: Sequence[str]) -> list[str]:
    """Return the texts that there are."""
    return [text for text in texts if text]


def comma(texts: Sequence[str]) -> bool:
    """Tell whether numbers have a decimal comma."""
    return any(_COMMA.fullmatch(text) for text in texts)


def decimals(texts: Sequence[str]) -> Floats | None:
    """Return the numbers (n,) of a column that mostly holds them, NaN for the others; None for another column."""
    some = given(texts)
    values, _ = numbers(pa.array([text or None for text in texts], pa.string()), "," if comma(some) else ".")
    return values if some and np.isfinite(values).sum() >= MOSTLY * len(some) else None


def angles(texts: Sequence[str], letters: str) -> Floats | None:
    """Return the degrees (n,) of a column that mostly holds degrees, minutes and seconds; None for another."""
    some = given(texts)
    values, _ = dms(pa.array([text or None for text in texts], pa.string()), "," if comma(some) else ".", letters)
    return values if some and np.isfinite(values).sum() >= MOSTLY * len(some) else None


def times(texts: Sequence[str]) -> Times | None:
    """Return how a column of dates with times of day is written, None where it holds none."""
    some = given(texts)
    if not some or sum(bool(_LIKE_TIME.search(text)) for text in some) < MOSTLY * len(some):
        return None
    zoned = sum(bool(_ZONED.search(text) and _WITH_CLOCK.search(text)) for text in some) >= MOSTLY * len(some)
    if _share(ISO, some) >= MOSTLY:
        return Times(("",), zoned)
    tried = [form for text in some[:50] for form in likely_formats(text)]
    tried += [f"{date}{sign}{clock}" for date in _DATES for sign in (" ", ", ") for clock in _CLOCKS]
    first = some[:30]
    likely = [form for form in dict.fromkeys([*tried, *_RUNS]) if _share(pattern_of(form), first) > 0]
    fitting = [form for form in likely if _share(pattern_of(form), some) >= MOSTLY]
    if not fitting:
        return None
    best = max(_share(pattern_of(form), some) for form in fitting)
    orders = tuple(form for form in fitting if _share(pattern_of(form), some) == best)
    return Times(orders[:1], zoned) if len(orders) != 2 else decided(orders, texts, zoned)


def decided(orders: tuple[str, ...], texts: Sequence[str], zoned: bool) -> Times:
    """Let a row with a number beyond 12 rule one order of day and month out."""
    unreal = {form: _unreal(form, texts) for form in orders}
    ruled_out = [form for form, rows in unreal.items() if rows]
    if len(ruled_out) != 1:
        return Times(orders, zoned)
    row = unreal[ruled_out[0]][0]
    return Times(tuple(form for form in orders if form not in ruled_out), zoned, (row, texts[row]))


def words(texts: Sequence[str]) -> Counter[str]:
    """Return the words of a column with how often each is there."""
    return Counter(given(texts))


def _array(texts: Sequence[str]) -> pa.Array:
    return pa.array(texts, pa.string())


def _share(pattern: Pattern, texts: Sequence[str]) -> float:
    return float(pattern.read(_array(texts)).matched.mean())


def _unreal(form: str, texts: Sequence[str]) -> list[int]:
    """Return the rows that have the look of a time in a format, but are none that exists."""
    fields = pattern_of(form).read(_array(texts))
    return [int(row) for row in np.flatnonzero(fields.matched & ~fields.real)]
