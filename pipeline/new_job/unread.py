"""What of a file is not recognised, in words: its headings, a value that cannot be read, and what to do."""

import re

from pipeline.files.odd_text import looks_like_data, why_no_degrees, why_no_number, why_no_time
from pipeline.near import listed
from pipeline.new_job.columns import Mapped
from pipeline.new_job.headings import rank
from pipeline.new_job.look import Look
from pipeline.new_job.values import angles, decimals, given, is_day, times

_QUOTE = '"'
#: Headings that are shown.
_SHOWN = 12
_PLANE, _DEGREES = ("easting", "northing"), ("longitude", "latitude")
#: What to do where times are not recognised.
_AS_TIMES = 'export dates with times of day such as "2026-03-02 07:30:00", or state time_format in a job file'
#: What a time of any kind has in it.
_LIKE_TIME = re.compile(r"\d{1,2}:\d\d|\d{5,}")


def no_position(look: Look) -> str:
    """Return why no position is found in a file: values that cannot be read, or headings of which none is known."""
    told = []
    for words in (_PLANE, _DEGREES):
        for word in words:
            name = next((name for name in look.names if rank(word, name) is not None), None)
            if name is not None and (what := _unread(look, name, word)) is not None:
                told.append(what)
    if told:
        return f"no positions that can be read: {'; '.join(told)}"
    headings = listed(look.names[:_SHOWN], _QUOTE) + (" ..." if len(look.names) > _SHOWN else "")
    sample = listed([next(iter(given(texts)), "") for texts in look.columns.values()][:_SHOWN], _QUOTE)
    if looks_like_data(re.split("[;,|\t ]+", ",".join(look.names))):
        return (
            f"its first line holds data, no names of columns: {headings}; write one above it, such as"
            " mark;easting;northing;height for a register"
        )
    return (
        f"no columns of positions that are known by their headings: they are {headings}, the first row has {sample};"
        " rename them (easting, northing, height; longitude, latitude, ellipsoid_height), or write which is which"
        " in [points.columns] of a job file"
    )


def no_height(look: Look, what: str) -> str:
    """Return that a position lacks its height, with the headings among which it may be."""
    return (
        f"times, but {what}: the headings are {listed(look.names[:_SHOWN], _QUOTE)}; rename the one of the heights, or"
        " write it in [points.columns] of a job file"
    )


def unread_times(look: Look, found: Mapped) -> str | None:
    """Return which column is called like times of readings and cannot be read as such; None where there is none."""
    for name in look.names:
        if name in found.columns.values() or (rank("time", name) is None and rank("clock", name) is None):
            continue
        # dates alone are usual in a register, which has no solutions
        dates = "solution" in found.columns
        texts = given(look.columns[name])
        like = [text for text in texts if _LIKE_TIME.search(text) or (dates and is_day([text]))]
        if like:
            return f"times are not recognised: {_why(name, like)}; {_AS_TIMES}"
    return None


def _why(name: str, texts: list[str]) -> str:
    """Return the first text of a column that is no time, or two that are written in two ways."""
    text = next((text for text in texts if times([text]) is None), None)
    if text is not None:
        return f'"{name}" holds "{text}", which {why_no_time(text)}'
    first = times(texts[:1])
    other = next((text for text in texts if times([text]) != first), texts[-1])
    return f'"{name}" holds times that are written in several ways, as "{texts[0]}" and "{other}"'


def _unread(look: Look, name: str, word: str) -> str | None:
    """Return the first value of a column that is no number, with what it is; None where there are numbers."""
    texts = look.columns[name]
    if decimals(texts) is not None or (word in _DEGREES and angles(texts, "EWNS") is not None):
        return None
    for text in given(texts):
        if decimals([text]) is None:
            why = why_no_degrees(text) if word in _DEGREES else why_no_number(text)
            return f'"{name}" holds "{text}", which {why}'
    return f'"{name}" is empty' if not given(texts) else None
