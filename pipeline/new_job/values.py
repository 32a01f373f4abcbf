"""Reads the texts of a column as numbers or angles, where most of them are, and counts its words."""

import re
from collections import Counter
from collections.abc import Sequence

import numpy as np
import pyarrow as pa

from pipeline.arrays import Floats
from pipeline.files.angles import dms
from pipeline.read.heading_units import unit_in_heading
from pipeline.read.headings import is_row_of_units
from pipeline.read.numeric import numbers

#: The share of a column's texts that has to be of a kind; some rows of an export are always spoilt.
MOSTLY = 0.8
_COMMA = re.compile(r"[+-]?\d*,\d+")


def given(texts: Sequence[str]) -> list[str]:
    """Return the texts that there are."""
    return [text for text in texts if text]


def _is_unit(text: str) -> bool:
    return is_row_of_units([text])


def with_unit(heading: str, texts: Sequence[str]) -> str:
    """Return a heading with the unit that a row of units below it says, as it is where none does or it says its own."""
    first = next(iter(given(texts)), "")
    return f"{heading} [{first.strip(' []()')}]" if unit_in_heading(heading) is None and _is_unit(first) else heading


def comma(texts: Sequence[str]) -> bool:
    """Tell whether numbers have a decimal comma."""
    return any(_COMMA.fullmatch(text) for text in texts)


def numbers_of(texts: Sequence[str]) -> Floats | None:
    """Return the numbers (n,) of a column that mostly holds them, NaN for the others; None for another column."""
    some = given(texts)
    values, _ = numbers(pa.array([text or None for text in texts], pa.string()), "," if comma(some) else ".")
    rows = len(some) - (len(some) > 1 and _is_unit(some[0]))
    return values if some and np.isfinite(values).sum() >= MOSTLY * rows else None


def no_number(texts: Sequence[str]) -> str | None:
    """Return the first text in a column of `numbers_of` that is no number, a row of units above them apart."""
    values = numbers_of(texts)
    if values is None:
        return None
    odd = [text for text, value in zip(texts, values, strict=True) if text and np.isnan(value)]
    if odd and odd[0] == given(texts)[0] and _is_unit(odd[0]):
        odd = odd[1:]
    return odd[0] if odd else None


def has_names(texts: Sequence[str]) -> bool:
    """Tell whether a column has texts of letters and figures, as names do: "CP1" among "100" and "101"."""
    values, _ = numbers(pa.array([text or None for text in texts], pa.string()), "," if comma(texts) else ".")
    odd = [text for text, value in zip(texts, values, strict=True) if text and np.isnan(value)]
    return any(any(map(str.isdecimal, text)) and any(map(str.isalpha, text)) for text in odd)


def angles(texts: Sequence[str], letters: str) -> Floats | None:
    """Return the degrees (n,) of a column that mostly holds degrees, minutes and seconds; None for another."""
    some = given(texts)
    values, _ = dms(pa.array([text or None for text in texts], pa.string()), letters)
    return values if some and np.isfinite(values).sum() >= MOSTLY * len(some) else None


def words(texts: Sequence[str]) -> Counter[str]:
    """Return the words of a column with how often each is there."""
    return Counter(given(texts))


def decimal_places(texts: Sequence[str]) -> float:
    """Return how many decimals a column's numbers are written with, in the middle."""
    return float(
        np.median([len(re.split("[.,]", text)[-1]) if re.search("[.,]", text) else 0 for text in given(texts)])
    )
