"""Tells which keys of a table of the job file say something else than they do where they are not stated."""

import json
from collections.abc import Iterator, Mapping
from typing import Any

from pipeline.job.annotations import models
from pipeline.job.model import Job

#: Signs of a value that are told.
_LONGEST = 60


def stated_keys(name: str, table: Mapping[str, Any]) -> Iterator[str]:
    """Yield the keys of a table, those of tables in it too, with what they say, in words.

    Args:
        name: the table's in the job file.
        table: what it says, as plain values; keys that are not there are passed over.
    """
    found = [model for model in models(Job.model_fields[name].annotation) if model.model_fields]
    if found:
        yield from _stated(found[0], table, "")


def _stated(model: Any, table: Mapping[str, Any], above: str) -> Iterator[str]:
    for name, field in model.model_fields.items():
        key = field.alias or name
        now = table.get(key)
        inner = models(field.annotation)
        if isinstance(now, dict):
            if inner:
                yield from _stated(inner[0], now, f"{above}{key} ")
        elif now is not None and (field.is_required() or now != plain(field.get_default(call_default_factory=True))):
            yield f"{above}{key} {in_words(now)}"


def plain(default: object) -> Any:
    """Return the default of a key as the plain value that it is in a table."""
    return json.loads(json.dumps(default, default=str))


def in_words(value: Any) -> str:
    """Return a value of the job file on one line, a long one cut; of None that it is not stated."""
    if value is None:
        return "not stated"
    if isinstance(value, dict):
        return _one_line(f"({', '.join(f'{key} {in_words(one)}' for key, one in value.items() if one is not None)})")
    if isinstance(value, list):
        return _one_line(f"[{', '.join(map(in_words, value))}]")
    return _one_line(value if isinstance(value, str) else json.dumps(value, ensure_ascii=False).removesuffix(".0"))


def _one_line(text: str) -> str:
    text = " ".join(text.split())
    return text if len(text) <= _LONGEST else f"{text[: _LONGEST - 3]}..."
