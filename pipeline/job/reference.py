"""The reference of the job file's keys, made from the types: `python -m pipeline.job.reference configs/KEYS.md`.

It stands between two comments in that page. Without a page the table is printed.
"""

import re
import sys
from collections.abc import Iterator
from datetime import datetime
from inspect import get_annotations
from pathlib import Path
from types import NoneType
from typing import Any, get_args, get_origin

from annotated_types import Ge, Gt, Le
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from pipeline.job.annotations import choices, leaves, marks, models, origins
from pipeline.job.error_messages import header
from pipeline.job.examples import EXAMPLES
from pipeline.job.key_lines import KeyPath
from pipeline.job.key_values import MOST, Unit
from pipeline.job.model import Job

#: What stands around the table in the page.
BEGIN, END = "<!-- keys: made by python -m pipeline.job.reference configs/KEYS.md -->", "<!-- /keys -->"

_HEAD = (
    "| key | type | default | unit | meaning | example |",
    "| --- | --- | --- | --- | --- | --- |",
)
_WORDS: dict[Any, str] = {
    str: "text",
    float: "number",
    int: "whole number",
    bool: "`true`, `false`",
    Path: "path",
    datetime: "time",
}


def table() -> str:
    """Return the whole reference as a Markdown table: a row for each table of a job file, then one for each key."""
    written: set[tuple[type[BaseModel], str]] = set()
    rows = [row for name, field in Job.model_fields.items() for row in _of_table((name,), field, written)]
    return "\n".join((*_HEAD, *rows)) + "\n"


def placed(page: str) -> str:
    """Return the text of a page with the table between its comments written again."""
    before, rest = page.split(BEGIN)
    _, after = rest.split(END)
    return f"{before}{BEGIN}\n{table()}{END}{after}"


def _of_table(path: KeyPath, field: FieldInfo, written: set[tuple[type[BaseModel], str]]) -> Iterator[str]:
    """Yield the rows of the table at a path and of those inside it, but of no key that another table has told."""
    for model in models(field.annotation):
        keys = {name: one for name, one in model.model_fields.items() if (home_of(model, name), name) not in written}
        if not keys and model.model_fields:
            continue
        needed = "needed" if len(path) == 1 and field.is_required() else ""
        yield _cells(f"**{_called(path)}**", "", needed, "", about(model), "")
        written.update((home_of(model, name), name) for name in keys)
        for name, one in keys.items():
            yield _row((*path, one.alias or name), one)
        for name, one in keys.items():
            yield from _of_table((*path, one.alias or name), one, written)


def home_of(model: type[BaseModel], name: str) -> type[BaseModel]:
    """The class that states a key: `[source]` and `[[points]]` share one."""
    return next(each for each in model.__mro__ if name in get_annotations(each))


def about(model: type[BaseModel]) -> str:
    """Return in words what a table is for."""
    first = (model.__doc__ or "").split("\n\n")[0]
    return re.sub(r"\s+", " ", first).strip().replace("``", "`")


def _row(path: KeyPath, field: FieldInfo) -> str:
    shown = example_of(path, field)
    meaning = field.description or ""
    said = "" if shown in meaning or f"`{shown}`" == default_of(field) else f"`{shown}`"
    return _cells(f"`{path[-1]}`", type_of(field), default_of(field), unit_of(field), meaning, said)


def example_of(path: KeyPath, field: FieldInfo) -> str:
    """Return an example of a key's value as a job file writes it: one of `EXAMPLES`, its default, or its first word.

    "" where there is none.
    """
    names = [str(key) for key in path if isinstance(key, str)]
    shared = ["source", *names[1:]] if names[0] == "points" else names
    ties = ["session", "ties", *names[2:]] if names[:2] == ["session", "checks"] and len(names) > 2 else names
    for each in (names, shared, ties):
        if (found := EXAMPLES.get(".".join(each))) is not None:
            return found
    if not field.is_required() and field.default is not None and not isinstance(field.default, BaseModel):
        return toml(field.default)
    words = choices(field.annotation)
    return toml(words[0]) if words else ""


def _cells(*cells: str) -> str:
    return re.sub(" +", " ", f"| {' | '.join(cell.replace('|', '/') for cell in cells)} |")


def _called(path: KeyPath) -> str:
    """The words for a table, each name in backticks: `[target]`, `setup` of `[[session]]`."""
    *inner, outer = header(path).split(" of ")
    return " of ".join((*(f"`{name.strip(chr(39))}`" for name in inner), f"`{outer}`"))


def type_of(field: FieldInfo) -> str:
    """What a value of the key is written as: `text`, `number, more than 0`, `list of text`, the words it may be.

    A place is a `pair of numbers`, and corners are a `list of pairs of numbers`.
    """
    kinds = [kind for kind in origins(field.annotation) if kind is not NoneType]
    if (pairs := _pairs(kinds[0])) is not None:
        return pairs
    listed = "list of " if get_origin(kinds[0]) is tuple else ""
    words = [f'`"{word}"`' for word in choices(field.annotation)]
    plain = dict.fromkeys(_WORDS[leaf] for leaf in leaves(field.annotation) if leaf in _WORDS)
    tables = ["table"] if models(field.annotation) else []
    return listed + ", ".join((*words, *plain, *tables, *_limits(field)))


def _pairs(kind: Any) -> str | None:
    """What two numbers, or a list of such, are called; None for anything else."""
    if get_origin(kind) is not tuple:
        return None
    if Ellipsis not in get_args(kind):
        return "pair of numbers"
    return "list of pairs of numbers" if _pairs(next(origins(get_args(kind)[0]))) else None


def _limits(field: FieldInfo) -> list[str]:
    """The limits of a number, where they are narrower than those against slips."""
    said = [*field.metadata, *marks(field.annotation)]
    least = [f"{one.ge:g}" for one in said if isinstance(one, Ge) and abs(float(str(one.ge))) < MOST]
    most = [f"{one.le:g}" for one in said if isinstance(one, Le) and float(str(one.le)) < MOST]
    above = [f"more than {one.gt:g}" for one in said if isinstance(one, Gt)]
    if most:
        return [f"{least[0]} to {most[0]}"]
    return above or [f"{one} or more" for one in least]


def default_of(field: FieldInfo) -> str:
    """Return a key's default as a job file writes it, between backticks; "needed" or "" where it has none."""
    value = field.default
    if field.is_required():
        return "needed"
    return "" if value is None or isinstance(value, BaseModel) else f"`{toml(value)}`"


def toml(value: object) -> str:
    """Return a value as a job file writes it."""
    if isinstance(value, tuple):
        return f"[{', '.join(map(toml, value))}]"
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:g}" if isinstance(value, int | float) else f'"{value}"'


def unit_of(field: FieldInfo) -> str:
    """Return what a key's number counts in; "" for none."""
    found = [one.name for one in (*field.metadata, *marks(field.annotation)) if isinstance(one, Unit)]
    return found[0] if found else ""


def main(arguments: list[str]) -> None:
    """Print the table, or write it into the page named."""
    if not arguments:
        print(table(), end="")
        return
    page = Path(arguments[0])
    page.write_text(placed(page.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1:])
