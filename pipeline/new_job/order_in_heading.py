"""Reads the order of day, month and year that a heading states: "Date (DMY)", "Datum [TT.MM.JJJJ]", "mm/dd/yyyy"."""

import re

from pipeline.files.heading_words import plain_letters

_RUN = re.compile(r"(?<![A-Za-z])(DMY|MDY|YMD)(?![A-Za-z])")
#: Day, month and year by their first letters in several languages, with a sign between.
_DAY, _YEAR = "d{1,2}|t{1,2}|j{1,2}|g{1,2}", "y{2,4}|j{4}|j{2}|a{4}|a{2}|r{4}"
_SIGNED = tuple(
    (order, re.compile(rf"(?<![a-z])(?:{'[-./ ]'.join(f'(?:{part})' for part in parts)})(?![a-z])"))
    for order, parts in (
        ("the day first", (_DAY, "m{1,2}", _YEAR)),
        ("the month first", ("m{1,2}", _DAY, _YEAR)),
        ("the year first", (_YEAR, "m{1,2}", "d{1,2}|t{1,2}|g{1,2}")),
    )
)
_WORDS = {"D": "the day first", "M": "the month first", "Y": "the year first"}


def order_in_heading(heading: str) -> str | None:
    """Return which of day, month and year a heading states to be first, as `order_of` says it; None where it does not.

    Times of day, as in "dd/mm/yyyy hh:mm", make no difference.
    """
    plain = plain_letters(heading)
    said = {_WORDS[run[0]] for run in _RUN.findall(plain)}
    said |= {order for order, pattern in _SIGNED if pattern.search(plain.casefold())}
    return said.pop() if len(said) == 1 else None
