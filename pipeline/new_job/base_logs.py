"""Recognises a table of positions with times that is a log of base positions rather than rover readings."""

import re
from collections import defaultdict
from collections.abc import Collection, Sequence
from itertools import pairwise

import numpy as np
import pyarrow as pa

from pipeline.arrays import Floats
from pipeline.clock import MINUTE
from pipeline.job.toml_text import listed
from pipeline.letter_case import folded
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.headings import rank
from pipeline.new_job.questions import Candidate, Question
from pipeline.new_job.time_notation import is_day, is_time_of_day, time_notation
from pipeline.new_job.values import given
from pipeline.read.times import clock
from pipeline.words import counted

#: What only a rover's readings have: how they were solved, and which base they hang on.
_OF_ROVER = ("solution", "base")
#: Minutes of a day, and those that a base runs at least and an occupation of a rover rarely does.
_DAY, _LONG = 1440.0, 45.0
_CLOCK = re.compile(r"(\d{1,2})[:.](\d\d)")


def base_log_question(one: FileFound, bases: Collection[str] = ()) -> Question | None:
    """Return the question what a file is that may be a log of bases, with what speaks for that; None for others.

    ``bases`` are the ids of bases that other exports have, in small letters.
    """
    why = _why(one, bases)
    if not why:
        return None
    asks = (
        f"is {one.look.called} a rover export, or a log of base positions? {why}. A log holds no points to"
        " correct: if it is a log, delete this block, from [[points]] to the blank line, or remove the file from the"
        " folder and run `tiedown new` again. Taken for readings, each base would be issued as a point"
    )
    return Question("files", asks, (Candidate(listed([one.look.shown]), "readings of a rover"),))


def base_ids(exports: Sequence[FileFound]) -> frozenset[str]:
    """Return the ids of bases that readings with a solution hang on, in small letters."""
    found: set[str] = set()
    for one in exports:
        if "solution" in one.mapped.columns and "base" in one.mapped.columns:
            found |= {folded(text) for text in given(one.look.columns[one.mapped.columns["base"]])}
    return frozenset(found)


def _why(one: FileFound, bases: Collection[str]) -> str:
    if "solution" not in one.mapped.columns and (why := _runs(one, bases)):
        return why
    columns = one.mapped.columns
    name = columns.get("name")
    if name is None or any(word in columns for word in _OF_ROVER):
        return ""
    if rank("base", name) is not None and rank("name", name) is None and "code" not in columns:
        return f'its names are in column "{name}", and no column shows how positions were solved'
    plan = ("longitude", "latitude") if "longitude" in columns else ("easting", "northing")
    if not all(word in columns for word in plan) or "time" not in columns:
        return ""
    texts = one.look.columns
    seen: defaultdict[str, list[tuple[str, ...]]] = defaultdict(list)
    for row, text in enumerate(texts[name]):
        if text and texts[columns["time"]][row]:
            place = tuple(texts[columns[word]][row] for word in plan)
            seen[text].append((*place, texts[columns["time"]][row]))
    again = {text: rows for text, rows in seen.items() if len({row[-1] for row in rows}) > 1}
    if 2 * sum(map(len, again.values())) <= sum(map(len, seen.values())):
        return ""
    if any(len({row[:-1] for row in rows}) > 1 for rows in again.values()):
        return ""
    text = max(again, key=lambda text: len(again[text]))
    return f'{counted(len(again[text]), "row")} of "{text}" have exactly the same position, which readings never have'


def _runs(one: FileFound, bases: Collection[str]) -> str:
    """Return that each row has the name of a base and a time from which on, and one until which, it ran; "" if not so.

    By values, whatever the headings are: the name of a base is one that other exports have, or stands under a heading
    of bases.
    """
    texts = one.look.columns
    ids = next((name for name in texts if _is_base(name, texts[name], bases)), None)
    name = one.mapped.columns.get("name")
    if ids is None:
        return ""
    if name not in (None, ids) and rank("name", name) is not None and len(set(texts[name])) > len(set(texts[ids])):
        return ""  # points of their own, however long they were occupied
    clocks = [(name, at) for name in texts if name != ids and (at := _minutes(texts[name])) is not None]
    for (first, since), (second, until) in pairwise(clocks):
        lasts = until - since
        lasts = np.where(lasts < 0, lasts + _DAY, lasts) if np.nanmax(np.append(since, until)) < _DAY else lasts
        known = lasts[np.isfinite(lasts)]
        if len(known) and (known > 0).all() and np.median(known) >= _LONG:
            named = given(texts[ids])[0]
            return f'each row has the name of a base, as "{named}", and times from "{first}" to "{second}" far apart'
    return ""


def _is_base(name: str, texts: Sequence[str], bases: Collection[str]) -> bool:
    some = given(texts)
    known = bool(some) and all(folded(text) in bases for text in some)
    return known or (bool(some) and rank("base", name) is not None and rank("name", name) is None)


def _minutes(texts: Sequence[str]) -> Floats | None:
    """Return minutes (n,) since any midnight of a column of times of day, or of dates with times; None of others."""
    if is_time_of_day(texts) and all(map(_CLOCK.match, given(texts))):
        found = [_CLOCK.match(text) for text in texts]
        return np.array([60.0 * int(each[1]) + int(each[2]) if each else np.nan for each in found])
    how = time_notation(texts) if not is_day(texts) else None
    if how is None:
        return None
    fields = clock(None, how.formats[0] or None).pattern.read(pa.array(texts, pa.string()))
    return np.where(fields.real, fields.milliseconds / MINUTE, np.nan)
