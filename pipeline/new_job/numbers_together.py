"""Recognises a column whose cells hold a whole position: "POINT Z (8.5 47.1 412.3)", or "47.123456, 8.512345"."""

import re

from pipeline.job.toml_text import quoted
from pipeline.new_job.look import FileLook
from pipeline.new_job.values import angles, given

_POINT = re.compile(r"(?:SRID=\d+;)?\s*POINT\s*(?:ZM?|M)?\s*\([^()]+\)", re.IGNORECASE)


def _numbers(sign: str, between: str) -> str:
    """Return the pattern of two numbers or three; the first two have three decimals at least."""
    number, parted = rf"[-+\u2212]?\d{{1,8}}{sign}\d{{3,}}", rf"(?:\s*{between}\s*|\s+)"
    return rf"{number}{parted}{number}(?:{parted}[-+\u2212]?\d+(?:{sign}\d+)?)?"


_PAIR = re.compile(rf"[\[(]?\s*(?:{_numbers('[.]', '[,;/|]')}|{_numbers(',', '[;/|]')})\s*[\])]?")


def numbers_together(look: FileLook) -> str:
    """Return which column holds several numbers in each cell, and what to do; "" where none does."""
    for name, texts in look.columns.items():
        some = given(texts)
        as_text = bool(some) and all(map(_POINT.fullmatch, some))
        if as_text or (some and all(map(_PAIR.fullmatch, some)) and angles(some, "EWNS") is None):
            order = "longitude or easting stands first in such a text, then latitude or northing, then the height"
            of_which = f"; {order}" if as_text else ""
            return (
                f"{quoted(name)} holds a whole position in each cell, as {quoted(some[0])}: put each of its numbers"
                f" into a column of its own, as a spreadsheet does with text to columns{of_which}"
            )
    return ""
