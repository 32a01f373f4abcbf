"""Is a record in the form that `record_types` gives it? What is not, in words that name the key."""

from collections.abc import Mapping
from functools import cache
from typing import Any

from pydantic import TypeAdapter, ValidationError
from pydantic_core import ErrorDetails

from pipeline.issue.record_types import SCHEMA, SealedRecord

#: Characters of a wrong value that are said.
_LONG = 40


@cache
def form() -> TypeAdapter[SealedRecord]:
    """Return what validates a record."""
    return TypeAdapter(SealedRecord)


def complaints(record: Mapping[str, Any]) -> list[str]:
    """Return everything in a record that is not in the form of this version."""
    try:
        form().validate_python(record)
    except ValidationError as error:
        return [_said(one) for one in error.errors(include_url=False, include_context=False)]
    return []


def _said(error: ErrorDetails) -> str:
    if error["loc"][-1:] == ("[key]",):
        return f"{_path(error['loc'][:-1])} is no word that belongs there"
    path = _path(error["loc"])
    if error["type"] == "missing":
        return f"{path} is missing"
    if error["type"] == "extra_forbidden":
        return f"{path} is no key of a record of schema version {SCHEMA}"
    should = error["msg"].removeprefix("Input ").removeprefix("String ")
    value = repr(error["input"])
    return f"{path} is {value[:_LONG]}{'...' if len(value) > _LONG else ''} and {should}"


def _path(keys: tuple[int | str, ...]) -> str:
    """Return where a value stands: ``sessions[0].verdict``."""
    return "".join(f"[{key}]" if isinstance(key, int) else f".{key}" for key in keys).removeprefix(".")
