"""Recognises times whose years belong to another calendar, or are outside the years of GNSS work."""

import re
from collections.abc import Sequence

from pipeline.job.key_values import YEARS
from pipeline.new_job.values import MOSTLY, given

#: A time of day, whose decimals or offset from UTC may look like a year; and a year of four figures.
_CLOCK = re.compile(
    r"(?:(?<!\d)\d{1,2}:\d\d(?::\d\d(?:[.,]\d+)?)?|(?<=\d{4}[Tt ])\d{4}(?:\d\d(?:[.,]\d+)?)?)"
    r"(?:\s*[+\-\u2212\u2013]\d{4})?"
)
_YEAR = re.compile(r"(?<!\d)\d{4}(?!\d)")
#: By how many years the Buddhist era is ahead of the common one.
_BUDDHIST = 543


def of_no_year(name: str, texts: Sequence[str]) -> str:
    """Return what is wrong with the years of a column of dates, "" where nothing is."""
    some = given(texts)
    years = [int(found[0]) for text in some if (found := _YEAR.search(_CLOCK.sub("", text)))]
    first, last = YEARS
    odd = [year for year in years if not first <= year <= last]
    if not odd or len(odd) < MOSTLY * len(some):
        return ""
    told = f'"{name}" holds "{some[0]}", and {odd[0]} is not a year of GNSS work ({first} to {last})'
    common = odd[0] - _BUDDHIST
    if first <= common <= last:
        told += f"; in the Buddhist era it is {common}"
    return f"{told}: export dates with common-era years"
