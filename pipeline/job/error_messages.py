"""What a key of the job file is called, and what is wrong with it, in words for whoever wrote it."""

import re
from collections.abc import Callable, Sequence
from datetime import date, datetime, time
from pathlib import Path
from typing import Any, NamedTuple, get_origin

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from pipeline.job.annotations import choices, models, origins
from pipeline.job.key_lines import Key, KeyPath
from pipeline.job.model import FIELD_LIST, FIELD_ONE, SHIFT_GIVEN, SHIFT_WORD, Job
from pipeline.near import nearest
from pipeline.words import counted

_TABLES = {"points": "[[points]]", "session": "[[session]]"}

#: A key that more tables than these take is not sent to one of them.
_HOMES = 3

#: Keys whose form is not plain from their names.
_EXAMPLES = {
    "ties": 'ties = [{ point = "...", mark = "..." }], or ties = ["..."] where point and mark share the name',
    "checks": 'checks = [{ point = "...", mark = "..." }], or checks = ["..."] where point and mark share the name',
    "setup": 'setup = { mark = "...", longitude = , latitude = , ellipsoid_height = }',
    "shift": 'shift = "derive", "none" or { east = , north = , up = }',
    "field_shift": 'field_shift = { from = ..., tie = "...", mark = "..." } or { from = ..., east = , north = , up = }',
    "site": 'site = { marks = "site_marks.csv", plan = "similarity", height = "step" }',
    "formats": 'formats = ["gpkg"], which is written in any case',
    "delimiter": r'such as ";", or "\t" for a tab',
}
_FORMS_OF_ONE = (SHIFT_WORD, SHIFT_GIVEN, FIELD_ONE, FIELD_LIST)
_FORMS = {
    "string_type": "must be text in quotes",
    "path_type": "must be a file or folder name in quotes",
    "float_type": "must be a number, without quotes",
    "int_type": "must be a whole number, without quotes",
    "bool_type": "must be true or false, without quotes",
    "finite_number": "must be a finite number",
    "datetime_type": "must be a date and time without quotes, such as 2026-03-02T07:30:00+13:00",
    "tuple_type": "must be a list, in [ ]",
    "model_type": "must be a table of keys",
    "dict_type": "must be a table of keys",
    "too_short": "must not be empty",
    "string_too_short": "must not be empty",
}
#: The form of a number that somebody put in quotes, or gave decimals that are none, by the kind of error.
_NUMBERS = {
    "int_type": re.compile(r"(0|[1-9]\d*)(?:\.0*)?", re.A),
    "float_type": re.compile(r"(-?(?:0|[1-9]\d*)(?:\.\d+)?)", re.A),
}
_LIMITS = {
    "greater_than": ("gt", "must be more than"),
    "greater_than_equal": ("ge", "must be at least"),
    "less_than": ("lt", "must be less than"),
    "less_than_equal": ("le", "must be at most"),
}


def key_path(error: ErrorDetails) -> KeyPath:
    """Return where ``error`` stands as a path of keys, without the tags of a choice between forms."""
    return tuple(key for key in error["loc"] if key not in _FORMS_OF_ONE)


def place(path: KeyPath) -> str:
    """Return a path as words: ``'mark' of ties 1 in [[session]] 2``; list items count from 1."""
    if len(path) > 2 and isinstance(path[-1], int):
        return f"item {path[-1] + 1} of {place(path[:-1])}"
    names: list[str] = []
    for key in path:
        if isinstance(key, int):
            names[-1] += f" {key + 1}"
        else:
            names.append(key if names else _TABLES.get(key, f"[{key}]"))
    *around, last = names or ["the job file"]
    words = last if not around else f"'{last}'"
    for depth, name in enumerate(reversed(around)):
        words += (" in " if depth + 1 == len(around) else " of ") + name
    return words


class KeyMistake(NamedTuple):
    """What is wrong with a key, and what to do about it; ``fix_again``: where its whole ``fix`` was printed before."""

    what: str
    fix: str
    fix_again: str


def explain(error: ErrorDetails, model: type[BaseModel], called: Callable[[KeyPath], str] = place) -> KeyMistake:
    """Return what is wrong and what to do about it, for one error that pydantic found in ``model``.

    ``called`` gives the words for a path of keys: those of a job file, or of a table's columns.
    """
    if error["type"] == "extra_forbidden":
        return _unknown(key_path(error), model, called)
    what, fix = _wrong_value(error, model, called)
    return KeyMistake(what, fix, fix)


def _wrong_value(error: ErrorDetails, model: type[BaseModel], called: Callable[[KeyPath], str]) -> tuple[str, str]:
    path = key_path(error)
    kind, found = error["type"], error["input"]
    if kind == "missing":
        return f"{called(path)} is missing", _hint(path, model)
    if kind in ("literal_error", "enum"):
        words = [str(word) for word in choices(_annotation(model, path))]
        near = nearest(str(found), words, 1)
        fix = f"did you mean '{near[0]}'?" if near else _hint(path, model)
        return (
            f"{called(path)} must be one of {', '.join(words)}, not {_shown(found)}",
            _which_foot(str(found)) if path[-1:] == ("units",) else fix,
        )
    if kind == "value_error":
        return f"{called(path)}: {error['ctx']['error']}", ""
    if kind == "string_pattern_mismatch":
        return f"{called(path)} takes only a-z, 0-9 and single '-' between them, not {_shown(found)}", ""
    if kind == "string_too_long":
        most = error["ctx"]["max_length"]
        return (
            f"{called(path)} must be {'exactly' if most == 1 else 'at most'} {counted(most, 'character')} long",
            _hint(path, model),
        )
    if kind in _LIMITS:
        limit, words_ = _LIMITS[kind]
        return f"{called(path)} {words_} {error['ctx'][limit]:g}, not {_shown(found)}", ""
    if kind == "too_long":
        most = error["ctx"]["max_length"]
        return f"{called(path)} must have at most {most:,} items, not {error['ctx']['actual_length']:,}", ""
    form = _FORMS.get(kind)
    return (f"{called(path)} {form}{_instead(found)}" if form else f"{called(path)}: {error['msg']}"), _as_number(
        kind, path, found
    ) or _hint(path, model, found)


def _as_number(kind: str, path: KeyPath, found: object) -> str:
    """How a number is written that is in quotes, or has a decimal point where a whole one is asked for."""
    number = _NUMBERS[kind].fullmatch(str(found).strip()) if kind in _NUMBERS else None
    return f"write {path[-1]} = {number[1]}" if number is not None and isinstance(path[-1], str) else ""


def _which_foot(text: str) -> str:
    """What to write instead of a word for a unit. Two feet are in use: which of them a word means is not guessed."""
    word = re.sub(r"[\W_]", "", text).casefold()
    if re.fullmatch("m|mtr|met(re|er|ro)s?", word):
        return 'write "metre"'
    return '"foot" is 0.3048 m, "us-survey-foot" is 1200/3937 m: state the one that the export was written in'


def without_echoes(errors: Sequence[ErrorDetails]) -> list[ErrorDetails]:
    """Return ``errors`` without those that another one brings about.

    That is a key missing only because it is misspelled in the same table, and a list with wrong items called empty.
    """
    unknown = [key_path(error) for error in errors if error["type"] == "extra_forbidden"]
    places = [key_path(error) for error in errors]

    def echo(error: ErrorDetails) -> bool:
        path = key_path(error)
        if error["type"] == "missing":
            beside = [str(other[-1]) for other in unknown if other[:-1] == path[:-1]]
            return bool(nearest(str(path[-1]), beside))
        if error["type"] == "tuple_type" and isinstance(error["input"], dict) and len(path) == 1:
            # [points.columns] below a misspelled [[points]] makes a table of that name
            only = {key for key, value in error["input"].items() if isinstance(value, dict)} == set(error["input"])
            return only and bool(nearest(str(path[0]), [str(other[0]) for other in unknown if len(other) == 1]))
        return error["type"] == "too_short" and any(place[: len(path)] == path != place for place in places)

    return [error for error in errors if not echo(error)]


def _unknown(path: KeyPath, model: type[BaseModel], called: Callable[[KeyPath], str]) -> KeyMistake:
    *above, key = path
    what = f"unknown key: {called(path)}"
    home = _annotation(model, tuple(above)) if above else model
    here = [name for known in models(home) for name in _names(known)]
    near = nearest(str(key), here, 2)
    inside = [table for table in here if key in _keys_of(_annotation(model, (*above, table)))]
    if inside:
        fixes = [f"'{key}' belongs in {header((*above, table))}" for table in inside[:1]]
    else:
        # a misspelled table, or key of a table inside another, is near to one there: no other table is meant
        lone = sum(isinstance(each, str) for each in above) == 1
        tables = _tables_with(str(key), model) if model is Job and (lone or not near) else []
        fixes = [f"'{key}' belongs in {' or '.join(map(header, tables))}"] if tables else []
        fixes += [_nearest_known(near, tuple(above), model)] if near else []
    if not fixes:
        home_ = called(tuple(above)) if above else "a job file"
        again = "there is no such key"
        return KeyMistake(what, f"{again}; {home_} takes {', '.join(here)}", again)
    fix = "; ".join(fixes)
    return KeyMistake(what, fix, fix)


def _nearest_known(near: Sequence[str], above: KeyPath, model: type[BaseModel]) -> str:
    alone = f"the nearest known key is '{near[0]}'"
    words = alone if len(near) == 1 else f"the nearest known keys are '{near[0]}' and '{near[1]}'"
    table = header((*above, near[0]))
    named = len(near) == 1 and bool(models(_annotation(model, (*above, near[0])))) and table.startswith("[")
    return f"{words}: write {table}" if named else words


def header(path: KeyPath) -> str:
    """Return how the table at ``path`` is opened in a job file: ``[points.columns]``, ``[[session]]``, ``ties``."""
    names = [str(key) for key in path if not isinstance(key, int)]
    if len(names) == 1:
        return _TABLES.get(names[0], f"[{names[0]}]")
    return f"[{'.'.join(names)}]" if names[1:] == ["columns"] else f"'{names[-1]}' of {header(path[:1])}"


def _tables_with(key: str, model: type[BaseModel]) -> list[KeyPath]:
    """Return the tables of a job file that take ``key``, those inside another table too, by their paths."""
    found: list[KeyPath] = []
    for name, annotation in _fields(model):
        holds = [(name, key)] if models(_annotation(model, (name, key))) else [(name,)]
        found += holds if key in _keys_of(annotation) else []
        for part in models(annotation):
            found += [(name, inner) for inner, kind in _fields(part) if key in _keys_of(kind)]
    own = [path for path in found if path != ("points",) or ("source",) not in found]
    return own[:_HOMES] if len(own) <= _HOMES else []


def _fields(model: type[BaseModel]) -> list[tuple[str, Any]]:
    return [(field.alias or name, field.annotation) for name, field in model.model_fields.items()]


def _keys_of(annotation: Any) -> list[str]:
    return [name for model in models(annotation) for name in _names(model)]


def _hint(path: KeyPath, model: type[BaseModel], found: object = None) -> str:
    """What a key that is missing or of the wrong form would look like, where that is not plain from its name."""
    if path == ("sessions",) and isinstance(found, list):
        return 'write [[session]] above each session, or one [sessions] with file = "..." for a table of them'
    if path in (("points",), ("session",)):
        return f"write {place(path)}, in double brackets, above each block"
    if len(path) == 1 and path[0] in model.model_fields:
        return f"write {place(path)}, once, in single brackets" if models(_annotation(model, path)) else ""
    names = [key for key in path if not isinstance(key, int)]
    if names[1:] == ["columns"]:
        below = f"its {_TABLES[names[0]]}" if names[0] in _TABLES else f"[{names[0]}]"
        return f"write [{names[0]}.columns], in single brackets, below {below}"
    example = _EXAMPLES.get(str(names[-1]), "") if names else ""
    if not example and isinstance(found, str) and _annotation(model, path) is not None:
        return _as_list(path, model, found)
    if names[-1:] == ["crs"] or names == ["target", "grid"] or names[-1:] == ["height"]:
        return f'write "EPSG:{found}"' if type(found) is int else ""
    return example


def _as_list(path: KeyPath, model: type[BaseModel], found: str) -> str:
    """How a single text is written where a list of texts is asked for."""
    takes_list = any(get_origin(kind) is tuple for kind in origins(_annotation(model, path)))
    return f'write {path[-1]} = ["{found}"]' if takes_list and isinstance(path[-1], str) else ""


def _shown(found: object) -> str:
    return f"'{found}'" if isinstance(found, str) else str(found).lower() if isinstance(found, bool) else str(found)


def _instead(found: object) -> str:
    """The value found, where it is short and was written as one."""
    simple = isinstance(found, str | int | float | date | datetime | time | Path)
    return f", not {_shown(found)}" if simple and 0 < len(str(found)) <= 60 else ""


def _names(model: type[BaseModel]) -> list[str]:
    return [field.alias or name for name, field in model.model_fields.items()]


def _annotation(model: type[BaseModel], path: KeyPath) -> Any:
    """The type that the key at ``path`` takes; list positions leave the list's type as it is."""
    here: Any = model
    for key in path:
        here = here if isinstance(key, int) else _of_key(here, key)
    return here


def _of_key(annotation: Any, key: Key) -> Any:
    for model in models(annotation):
        for name, field in model.model_fields.items():
            if (field.alias or name) == key:
                return field.annotation
    return None
