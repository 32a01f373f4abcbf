"""Handles columns with the same heading: asks where their values differ, uses the first where they agree."""

import re
from collections.abc import Sequence

import numpy as np

from pipeline.new_job.headings import is_known
from pipeline.new_job.heights import height_said
from pipeline.new_job.look import FileLook
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.values import given, numbers_of

#: What may be between numbers that are one but for their rounding, by our words: degrees and metres.
_ROUNDED = dict.fromkeys(("longitude", "latitude", "base_longitude", "base_latitude"), 6e-8) | dict.fromkeys(
    ("easting", "northing", "height", "x", "y", "z", "base_easting", "base_northing", "base_height"), 0.006
)


def doubles_of(look: FileLook) -> dict[str, list[str]]:
    """Return the columns that have the heading of an earlier one, by that, where that is one that is known.

    A column that is empty is none, nor are those behind an empty one: what is filled is taken then.
    """
    found: dict[str, list[str]] = {}
    for name in look.names if look.numbered else ():
        head = heading_of(name)
        if head == name or not (is_known(head) or height_said(head) is not None):
            continue
        if given(look.columns.get(head, ())) and given(look.columns[name]):
            found.setdefault(head, []).append(name)
    return found


def heading_of(name: str) -> str:
    """Return the heading of a column whose name may have a number behind it that tells it from others."""
    return re.sub(r"_\d+$", "", name)


def double_rivals(look: FileLook, found: Mapped, doubles: dict[str, list[str]]) -> str:
    """Make columns of one heading rivals of the one that is taken where they differ from it; else say that they do not.

    Which of two eastings is meant cannot be asked where it is open too which is the easting: returns why such a file
    cannot be read, "" where nothing speaks against it.
    """
    refused = ""
    for head, others in doubles.items():
        words = [word for word, name in found.columns.items() if name == head]
        words += [word for word, names in found.rivals.items() if head in names and word not in words]
        for word in words:
            differ = [name for name in others if not _same(look.columns[head], look.columns[name], word)]
            same = [_place(look, name) for name in others if name not in differ]
            if same:
                called = f"columns {' and '.join(same)} are" if len(same) > 1 else f"column {same[0]} is"
                first = f"column {_place(look, head)} is used"
                found.notes.append(f'{called} also called "{head}" and has the same values: {first}')
            if not differ:
                continue
            if found.turned and word in ("easting", "northing"):
                refused = (
                    f'columns {_place(look, head)} and {_place(look, differ[0])} are both called "{head}" and differ:'
                    " remove the wrong one from the export, or rename it"
                )
            found.rivals[word] = [*found.rivals.get(word, [head]), *differ]
    return refused


def told_apart(look: FileLook, names: Sequence[str]) -> list[str]:
    """Return of each of some columns its first text; that of the first row in which they differ, if those are one."""
    first = [given(look.columns[name])[0] for name in names]
    if len(set(first)) > 1:
        return [f"the first is {text}" for text in first]
    rows = zip(*(look.columns[name] for name in names), strict=True)
    other = next((texts for texts in rows if len(set(texts)) > 1), first)
    return [f"the first that differs is {text}" if text else "none where others have one" for text in other]


def _place(look: FileLook, name: str) -> str:
    return str(look.names.index(name) + 1)


def _same(first: Sequence[str], second: Sequence[str], word: str) -> bool:
    one, other = numbers_of(first), numbers_of(second)
    if one is not None and other is not None and word not in ("name", "mark", "code", "base"):
        near = np.isclose(one, other, rtol=0, atol=_ROUNDED.get(word, 0.0), equal_nan=True)
        texts = np.array([a == b for a, b in zip(first, second, strict=True)])  # those that are no numbers
        return bool((near & (np.isfinite(one) | texts)).all())
    return list(first) == list(second)
