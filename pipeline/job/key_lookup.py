"""One key of the job file, looked up by its name: what it is written as, its default, unit, meaning and an example."""

import re
from collections.abc import Iterator
from difflib import SequenceMatcher

from msgspec import Struct
from pydantic import BaseModel
from pydantic.fields import FieldInfo

from pipeline.job.annotations import models
from pipeline.job.error_messages import header
from pipeline.job.key_lines import KeyPath
from pipeline.job.model import Job
from pipeline.job.reference import about, default_of, example_of, type_of, unit_of
from pipeline.near import nearest


class Key(Struct, frozen=True):
    """A key, or a table of keys.

    ``path`` is its name with its tables before it, as "session.setup.mark"; ``keys`` are those of a table.
    """

    path: str
    kind: str
    default: str
    unit: str
    meaning: str
    example: tuple[str, ...]
    keys: tuple[str, ...] = ()

    def lines(self) -> list[str]:
        """Return what there is to say, a line for each thought."""
        counts = "numbers in" if self.kind == "text" else "in"
        of_another = "the unit " if self.unit.startswith("of ") else ""
        unit = f", {counts} {of_another}{self.unit}" if self.unit else ""
        told = {"needed": "; needed", "": ""}.get(self.default, f"; default {self.default}")
        lines = [f"{self.path}: {self.kind}{unit}{told}", f"  {self.meaning}"]
        if self.keys:
            lines.append(f"  keys: {', '.join(self.keys)}")
        return [*lines, *(["  example:"] if self.example else []), *(f"    {line}" for line in self.example)]


def find_keys(text: str) -> tuple[list[Key], list[str]]:
    """Return the keys that a text names, and where there is none the paths of those that are spelled nearly so.

    A key is named with its tables before it ("quality.ppm") or alone ("ppm"), which may be of several tables.
    """
    wanted = re.sub(r"\s*(?:=.*)?$", "", re.sub(r"[\[\]'\"\s]+", " ", text).strip())
    wanted = re.sub(r"[\s.]+", ".", wanted).casefold()
    every = dict(_every())
    found = [key for path, key in every.items() if path == wanted]
    found = found or (list(_alone(every, wanted)) if wanted else [])
    if found:
        return found, []
    ends = nearest(wanted.rpartition(".")[2], {path.rpartition(".")[2]: None for path in every})
    near = [path for path in every if path.rpartition(".")[2] in ends] + nearest(wanted, every)
    alike = {path: SequenceMatcher(None, wanted, path, autojunk=False).ratio() for path in near}
    return [], sorted(alike, key=lambda path: -alike[path])[:3]


def _alone(every: dict[str, Key], wanted: str) -> Iterator[Key]:
    """Yield the keys that end so; one that blocks of points share with ``[source]`` is told there alone."""
    for path, key in every.items():
        shared = path.startswith("points.") and path.replace("points.", "source.", 1) in every
        if path.endswith(f".{wanted}") and not shared:
            yield key


def _every() -> Iterator[tuple[str, Key]]:
    for name, field in Job.model_fields.items():
        yield from _inside((name,), field)


def _inside(path: KeyPath, field: FieldInfo) -> Iterator[tuple[str, Key]]:
    named = ".".join(map(str, path))
    inner = models(field.annotation)
    keys = tuple(one.alias or name for model in inner for name, one in model.model_fields.items())
    meaning = field.description or next((about(model) for model in inner), "")
    kind = type_of(field).replace("`", "") if len(path) > 1 else f"table {header(path)}"
    default = default_of(field).replace("`", "") if len(path) > 1 else ("needed" if field.is_required() else "")
    yield named, Key(named, kind, default, unit_of(field).replace("`", ""), meaning, _example(path, field, inner), keys)
    for model in inner:
        for name, one in model.model_fields.items():
            yield from _inside((*path, one.alias or name), one)


def _example(path: KeyPath, field: FieldInfo, inner: list[type[BaseModel]]) -> tuple[str, ...]:
    """Return an example with the headers and tables that it stands in; of a table of the job file all needed keys."""
    if len(path) == 1:
        needed = [(one.alias or name, one) for name, one in inner[0].model_fields.items() if one.is_required()]
        lines = [f"{name} = {example_of((*path, name), one)}" for name, one in needed]
        return (header(path), *lines) if lines else ()
    if not (shown := example_of(path, field)):
        return ()
    first, *between, last = (str(key) for key in path)
    if first in ("points", "control", "codes") and between == ["columns"]:
        return (f"[{first}.columns]", f"{last} = {shown}")
    line = f"{last} = {shown}"
    for table in reversed(between):
        line = f"{table} = [{{ ..., {line} }}]" if table in ("ties", "checks") else f"{table} = {{ ..., {line} }}"
    return (header((first,)), line)
