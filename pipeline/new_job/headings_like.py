"""Recognises headings that begin as those of longitudes and latitudes do, with their notation behind: LatDDMM."""

import re
from collections.abc import Mapping, Sequence

from pipeline.files.heading_words import words_of
from pipeline.new_job.headings import rank
from pipeline.new_job.values import numbers_of

#: Words that begin so are of a latitude or a longitude: "LatDDMM", "LonDDDMM".
_LIKE = {"latitude": re.compile(r"lat|breit|φ"), "longitude": re.compile(r"lon|lng|laen|λ")}


def like_degrees(word: str, names: Sequence[str]) -> str:
    """Return the column whose heading says "latitude" or "longitude", or begins so; "" where none or several do."""
    headed = [name for name in names if rank(word, name) is not None]
    headed = headed or [name for name in names if any(map(_LIKE[word].match, words_of(name)))]
    return headed[0] if len(headed) == 1 else ""


def packed_degrees(columns: Mapping[str, Sequence[str]]) -> bool:
    """Tell whether columns under headings of latitude and longitude hold plain numbers, such as degrees and minutes."""
    names = [like_degrees(word, list(columns)) for word in ("latitude", "longitude")]
    return all(name and numbers_of(columns[name]) is not None for name in names)
