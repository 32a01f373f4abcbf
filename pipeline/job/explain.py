"""What a key of the job file is called, and what is wrong with it, in words for whoever wrote it."""

from collections.abc import Callable, Iterator, Sequence
from datetime import date, datetime, time
from enum import Enum
from pathlib import Path
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from pipeline.job.lines import Key, KeyPath
from pipeline.job.model import SHIFT_GIVEN, SHIFT_WORD
from pipeline.near import nearest

_TABLES = {"points": "[[points]]", "session": "[[session]]"}
_FORMS = {
    "string_type": "must be text in quotes",
    "path_type": "must be a file or folder name in quotes",
    "float_type": "must be a number, without quotes",
    "bool_type": "must be true or false, without quotes",
    "finite_number": "must be a finite number",
    "datetime_type": "must be a date and time without quotes, such as 2026-03-02T07:30:00+13:00",
    "tuple_type": "must be a list, in [ ]",
    "model_type": "must be a table of keys",
    "too_short": "must not be empty",
    "string_too_short": "must not be empty",
}
_LIMITS = {
    "greater_than": ("gt", "must be more than"),
    "greater_than_equal": ("ge", "must be at least"),
    "less_than": ("lt", "must be less than"),
    "less_than_equal": ("le", "must be at most"),
}


def key_path(error: ErrorDetails) -> KeyPath:
    """Return where ``error`` stands as a path of keys, without the tags of a choice between forms."""
    return tuple(key for key in error["loc"] if key not in (SHIFT_WORD, SHIFT_GIVEN))


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


def explain(error: ErrorDetails, model: type[BaseModel], called: Callable[[KeyPath], str] = place) -> tuple[str, str]:
    """Return what is wrong and what to do about it, for one error that pydantic found in ``model``.

    ``called`` gives the words for a path of keys: those of a job file, or of a table's columns.
    """
    path = key_path(error)
    kind, found = error["type"], error["input"]
    if kind == "extra_forbidden":
        return _unknown(path, model, called)
    if kind == "missing":
        return f"{called(path)} is missing", _hint(path, model)
    if kind in ("literal_error", "enum"):
        words = [str(word) for word in _words(_annotation(model, path))]
        near = nearest(str(found), words, 1)
        return (
            f"{called(path)} must be one of {', '.join(words)}, not {_shown(found)}",
            f"did you mean '{near[0]}'?" if near else "",
        )
    if kind == "value_error":
        return f"{called(path)}: {error['ctx']['error']}", ""
    if kind == "string_pattern_mismatch":
        return f"{called(path)} takes only a-z, 0-9 and single '-' between them, not {_shown(found)}", ""
    if kind == "string_too_long":
        most = error["ctx"]["max_length"]
        return f"{called(path)} must be {'one single sign' if most == 1 else f'at most {most} signs long'}", ""
    if kind in _LIMITS:
        limit, words_ = _LIMITS[kind]
        return f"{called(path)} {words_} {error['ctx'][limit]:g}, not {_shown(found)}", ""
    form = _FORMS.get(kind)
    return (f"{called(path)} {form}{_instead(found)}" if form else f"{called(path)}: {error['msg']}"), _hint(
        path, model
    )


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
        return error["type"] == "too_short" and any(place[: len(path)] == path != place for place in places)

    return [error for error in errors if not echo(error)]


def _unknown(path: KeyPath, model: type[BaseModel], called: Callable[[KeyPath], str]) -> tuple[str, str]:
    *above, key = path
    home = _annotation(model, tuple(above)) if above else model
    here = [name for known in _models(home) for name in _names(known)]
    elsewhere = [
        name for name, field in model.model_fields.items() for m in _models(field.annotation) if key in _names(m)
    ]
    near = nearest(str(key), here, 1)
    fixes = [f"'{key}' belongs in {' or '.join(place((name,)) for name in elsewhere)}"] if elsewhere else []
    fixes += [f"the nearest known key is '{near[0]}'"] if near else []
    if not fixes:
        home_ = called(tuple(above)) if above else "a job file"
        fixes = [f"there is no such key; {home_} takes {', '.join(here)}"]
    return f"unknown key: {called(path)}", "; ".join(fixes)


def _hint(path: KeyPath, model: type[BaseModel]) -> str:
    """What a key that is missing or of the wrong form would look like, where that is not plain from its name."""
    if path in (("points",), ("session",)):
        return f"write {place(path)}, in double brackets, above each block"
    if len(path) == 1 and path[0] in model.model_fields:
        return f"write {place(path)}, once, in single brackets" if _models(_annotation(model, path)) else ""
    if path[-1:] == ("shift",):
        return 'shift = "derive", "none" or { east = , north = , up = }'
    return ""


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
    for model in _models(annotation):
        for name, field in model.model_fields.items():
            if (field.alias or name) == key:
                return field.annotation
    return None


def _leaves(annotation: Any) -> Iterator[Any]:
    """The plain types inside unions, tuples and annotated types."""
    origin = get_origin(annotation)
    if origin is Annotated:
        yield from _leaves(get_args(annotation)[0])
    elif origin in (Union, UnionType, tuple):
        for part in get_args(annotation):
            yield from _leaves(part)
    elif annotation is not Ellipsis:
        yield annotation


def _models(annotation: Any) -> list[type[BaseModel]]:
    return [leaf for leaf in _leaves(annotation) if isinstance(leaf, type) and issubclass(leaf, BaseModel)]


def _words(annotation: Any) -> list[object]:
    found: list[object] = []
    for leaf in _leaves(annotation):
        if get_origin(leaf) is Literal:
            found += get_args(leaf)
        elif isinstance(leaf, type) and issubclass(leaf, Enum):
            found += leaf
    return found
