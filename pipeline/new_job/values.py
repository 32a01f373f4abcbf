"""Reads the texts of a column as numbers or angles, where most of them are, and counts its words."""

import re
from collections import Counter
from collections.abc import Sequence

import numpy as np
import pyarrow as pa

from pipeline.arrays import Floats
from pipeline.files.angles import decimal_degrees, dms
from pipeline.files.no_values import is_no_value
from pipeline.files.written_numbers import bare, plain_lengths, without_axis
from pipeline.geodesy.unit_words import bare_unit, says_metres
from pipeline.geodesy.units import METRES
from pipeline.read.heading_units import metres_in_heading, metres_of_unit, unit_alone, unit_in_heading
from pipeline.read.headings import is_row_of_units
from pipeline.read.numeric import numbers

#: The share of a column's texts that has to be of a kind; some rows of an export are always spoilt.
MOSTLY = 0.8
_COMMA = re.compile(r"[+-]?[0-9]*,[0-9]+")
_FIGURE = re.compile(r"[0-9０-９]")
#: Decimals, whatever stands behind them; what stands behind a number.
_DECIMALS = re.compile(r"[.,]([^.,]*?)\D*$")
_BEHIND = re.compile(r".*[0-9][.,]?\s?([^\W\d_](?:[^\W\d_]|[ .-]){0,20})")
#: Decimals of a length with something beside it.
_BROKEN = re.compile(r"[0-9][.,][0-9]{2}")
#: Degrees that are no names or codes, as N12 may be.
_DEGREES = re.compile(r"[°º˚]|[.,][0-9]{3}")


def given(texts: Sequence[str]) -> list[str]:
    """Return the texts that there are."""
    return [text for text in texts if text]


def _is_unit(text: str) -> bool:
    return is_row_of_units([text])


def with_unit(heading: str, texts: Sequence[str]) -> str:
    """Return a heading with the unit that a row below it, or every cell, says; as it is if none does or it says one."""
    headed = with_unit_below(heading, texts)
    unit = unit_in_cells(texts) if unit_in_heading(headed) is None else ""
    return f"{heading} [{unit}]" if unit else headed


def with_unit_below(heading: str, texts: Sequence[str]) -> str:
    """Return a heading with the unit that a row below it says; as it is if there is no such row or it says one."""
    unit = _unit_below(texts)
    return f"{heading} [{unit}]" if unit and unit_in_heading(heading) is None else heading


def units_differ(heading: str, texts: Sequence[str]) -> str:
    """Return the unit of lengths in a row below a heading that says another one, "" where they are at one."""
    unit, said = _unit_below(texts), metres_in_heading(heading)
    below = metres_of_unit(unit)
    return unit if said and below and not set(said) & set(below) else ""


def _unit_below(texts: Sequence[str]) -> str:
    first = next(iter(given(texts)), "")
    return unit_alone(first) if _is_unit(first) else ""


def unit_in_cells(texts: Sequence[str]) -> str:
    """Return the metres or feet that stand behind a column's numbers; "" for none, and where there are several."""
    if letter := axis_letter(texts):
        texts = without_axis(pa.array(texts, pa.string()), letter).to_pylist()
    found = {match[1] for text in texts if (match := _BEHIND.fullmatch(text)) and _may_be_meant(match[1])}
    return found.pop() if len({bare_unit(unit) for unit in found}) == 1 else ""


def axis_letter(texts: Sequence[str]) -> str:
    """Return "E" or "N" where all numbers of a column have that letter of an axis beside them, else "".

    Numbers have decimals: N12 is a name.
    """
    some = [text.strip() for text in given(texts) if not _is_unit(text)]
    if not some or not all(map(_BROKEN.search, some)):
        return ""
    return next((letter for letter in "EN" if all(letter in (text[0], text[-1]) for text in some)), "")


#: Metres of a millimetre and a centimetre.
_SMALL = (0.001, 0.01)


def _may_be_meant(unit: str) -> bool:
    """Tell whether a unit is one that the key units can state, or a small one, in which precisions are read."""
    return any(says_metres(unit, metre) for metre in (*METRES.values(), *_SMALL))


def comma(texts: Sequence[str]) -> bool:
    """Tell whether numbers have a decimal comma."""
    return any(_COMMA.fullmatch(text) for text in texts)


def numbers_of(texts: Sequence[str]) -> Floats | None:
    """Return the numbers (n,) of a column that mostly holds them, NaN for the others; None for another column."""
    some = [text for text in given(texts) if not is_no_value(text)]
    values = _as_written(texts)
    rows = len(some) - (len(some) > 1 and _is_unit(some[0]))
    return values if some and np.isfinite(values).sum() >= MOSTLY * rows else None


def _as_written(texts: Sequence[str]) -> Floats:
    """Return numbers (n,) as a run reads them, with one unit behind them or with degree signs, NaN for the others."""
    cells = pa.array([text or None for text in texts], pa.string())
    values, bad = numbers(cells, "," if comma(texts) else ".")
    if bad.any() and any(map(_FIGURE.search, texts)):
        unit = bare_unit(unit_in_cells(texts))
        cells = without_axis(cells, letter) if (letter := axis_letter(texts)) else cells
        plain = plain_lengths(cells, lambda each: bare_unit(each) == unit)
        again, still = numbers(plain, "," if comma(given(bare(plain).to_pylist())) else ".")
        values, bad = (again, still) if still.sum() < bad.sum() else (values, bad)
        said = pa.array([text if _DEGREES.search(text) else None for text in texts], pa.string())
        for letters in ("NS", "EW") if said.null_count < len(said) else ():
            degrees, other = decimal_degrees(said, letters)
            other |= said.is_null().to_numpy(zero_copy_only=False)
            values = np.where(bad & ~other, degrees, values)
    return values


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
    values = _as_written(texts)
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
    """Return how many decimals a column's numbers are written with, in the middle; 0 of an empty one."""
    places = [len(found[1]) if (found := _DECIMALS.search(text)) else 0 for text in given(texts)]
    return float(np.median(places)) if places else 0.0
