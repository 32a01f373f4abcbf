"""README's reference of the job file's keys, made from the types: `python -m pipeline.job.reference README.md`.

It stands between two comments in the page. Without a page the table is printed.
"""

import re
import sys
from collections.abc import Iterator
from datetime import datetime
from inspect import get_annotations
from pathlib import Path
from types import NoneType
from typing import Any, get_origin

from annotated_types import Ge, Gt, Le
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from pipeline.job.annotations import choices, leaves, marks, models, origins
from pipeline.job.explain import header
from pipeline.job.lines import KeyPath
from pipeline.job.model import Job
from pipeline.job.values import MOST, Unit

#: What stands around the table in the page.
BEGIN, END = "<!-- keys: made by python -m pipeline.job.reference README.md -->", "<!-- /keys -->"

_HEAD = ("| key | type | default | unit | meaning |", "| --- | --- | --- | --- | --- |")
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
    """Return the text of a page with the table between its comments written anew."""
    before, rest = page.split(BEGIN)
    _, after = rest.split(END)
    return f"{before}{BEGIN}\n{table()}{END}{after}"


def _of_table(path: KeyPath, field: FieldInfo, written: set[tuple[type[BaseModel], str]]) -> Iterator[str]:
    """Yield the rows of the table at a path and of those inside it, but of no key that another table has told."""
    for model in models(field.annotation):
        keys = {name: one for name, one in model.model_fields.items() if (_home(model, name), name) not in written}
        if not keys:
            continue
        needed = "needed" if len(path) == 1 and field.is_required() else ""
        yield _cells(f"**{_called(path)}**", "", needed, "", _about(model))
        written.update((_home(model, name), name) for name in keys)
        for name, one in keys.items():
            yield _row(one.alias or name, one)
        for name, one in keys.items():
            yield from _of_table((*path, one.alias or name), one, written)


def _home(model: type[BaseModel], name: str) -> type[BaseModel]:
    """The class that states a key: `[source]` and `[[points]]` share one."""
    return next(each for each in model.__mro__ if name in get_annotations(each))


def _about(model: type[BaseModel]) -> str:
    first = (model.__doc__ or "").split("\n\n")[0]
    return re.sub(r"\s+", " ", first).strip().replace("``", "`")


def _row(name: str, field: FieldInfo) -> str:
    return _cells(f"`{name}`", _type(field), _default(field), _unit(field), field.description or "")


def _cells(*cells: str) -> str:
    return re.sub(" +", " ", f"| {' | '.join(cell.replace('|', '/') for cell in cells)} |")


def _called(path: KeyPath) -> str:
    """The words for a table, each name in backticks: `[target]`, `setup` of `[[session]]`."""
    *inner, outer = header(path).split(" of ")
    return " of ".join((*(f"`{name.strip(chr(39))}`" for name in inner), f"`{outer}`"))


def _type(field: FieldInfo) -> str:
    """What a value of the key is written as: `text`, `number, more than 0`, `list of text`, the words it may be."""
    kinds = [kind for kind in origins(field.annotation) if kind is not NoneType]
    listed = "list of " if get_origin(kinds[0]) is tuple else ""
    words = [f'`"{word}"`' for word in choices(field.annotation)]
    plain = [_WORDS[leaf] for leaf in leaves(field.annotation) if leaf in _WORDS]
    tables = ["table"] if models(field.annotation) else []
    return listed + ", ".join((*words, *plain, *tables, *_limits(field)))


def _limits(field: FieldInfo) -> list[str]:
    """The limits of a number, where they are narrower than those against slips."""
    said = [*field.metadata, *marks(field.annotation)]
    least = [f"{one.ge:g}" for one in said if isinstance(one, Ge) and abs(float(str(one.ge))) < MOST]
    most = [f"{one.le:g}" for one in said if isinstance(one, Le) and float(str(one.le)) < MOST]
    above = [f"more than {one.gt:g}" for one in said if isinstance(one, Gt)]
    if most:
        return [f"{least[0]} to {most[0]}"]
    return above or [f"{one} or more" for one in least]


def _default(field: FieldInfo) -> str:
    value = field.default
    if field.is_required():
        return "needed"
    return "" if value is None or isinstance(value, BaseModel) else f"`{_toml(value)}`"


def _toml(value: object) -> str:
    """A default as a job file writes it."""
    if isinstance(value, tuple):
        return f"[{', '.join(map(_toml, value))}]"
    if isinstance(value, bool):
        return str(value).lower()
    return f"{value:g}" if isinstance(value, float) else f'"{value}"'


def _unit(field: FieldInfo) -> str:
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
