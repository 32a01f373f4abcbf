"""The values of ``[particulars]``: what a report shows as it was given, brought into the forms that a record has."""

import math
from datetime import date, datetime, time

from pipeline.words import counted

#: Keys and list items of all particulars together, and characters of one text: more is no front page.
MOST, LONGEST = 1_000, 20_000

Given = str | int | float | bool
Value = Given | list["Value"] | dict[str, "Value"]


def value_given(found: object) -> Value:
    """Return a value as a record has it: dates and times as text; a table or a list holds no deeper table than one.

    Raises ValueError, in words for whoever wrote it, where it is of another form.
    """
    if isinstance(found, dict):
        return {key_given(key): _listed(inner, f"'{key}' in it") for key, inner in found.items()}
    if isinstance(found, list) and any(isinstance(one, dict) for one in found):
        return [_row(one) for one in found]
    return _listed(found, "it")


def key_given(key: object) -> str:
    """Return a key; raises ValueError where nobody could see or read it."""
    if not isinstance(key, str) or not key.strip() or "\0" in key:
        raise ValueError("a key without a name: state what the value is")
    if len(key) > 100:
        raise ValueError("a key of more than 100 characters: long text goes on the right of the =")
    return key


def size(found: Value) -> int:
    """Return how many values a value has, lists and tables counted through."""
    if isinstance(found, dict):
        return sum(map(size, found.values()))
    return sum(map(size, found)) if isinstance(found, list) else 1


def _row(found: object) -> Value:
    """Return one of a list of tables, of which each is shown in a line."""
    if not isinstance(found, dict):
        raise ValueError("a list of tables and of other values: use one kind")
    return {key_given(key): _one(inner, f"'{key}' in a table of a list") for key, inner in found.items()}


def _listed(found: object, called: str) -> Value:
    if isinstance(found, list):
        return [
            _one(each, f"an item of the list, of {called}," if called != "it" else "an item of it") for each in found
        ]
    return _one(found, called)


def _one(found: object, called: str) -> Given:
    """Return a single value; times as they were written, each on its own clock."""
    if isinstance(found, datetime):
        return found.isoformat(sep=" ")
    if isinstance(found, date | time):
        return found.isoformat()
    if isinstance(found, str):
        return _text(found, called)
    if isinstance(found, bool | int | float) and math.isfinite(found):
        return found
    if isinstance(found, dict | list):
        raise ValueError(
            f"{called} is nested too deeply: particulars take texts, numbers, dates, lists, and one level of tables"
        )
    raise ValueError(f"{called} is not a number that can be shown")


def _text(found: str, called: str) -> str:
    if "\0" in found:
        raise ValueError(f"{called} holds a NUL, which no report can show")
    if len(found) > LONGEST:
        most = counted(LONGEST, "character")
        raise ValueError(f"{called} is too long for a report (over {most}): keep it in a file and name that")
    return found
