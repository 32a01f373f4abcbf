"""Who, where and with what, as the job gives it: every value as lines of text."""

from collections.abc import Mapping
from typing import Any


def particulars(given: Mapping[str, Any]) -> list[tuple[str, list[str]]]:
    """Return each key as given with its lines: one of a single value, one an item of a list or key of a table."""
    return [(key, _lines(value)) for key, value in given.items()]


def _lines(value: Any) -> list[str]:
    if isinstance(value, Mapping):
        return [f"{key}: {', '.join(_lines(inner))}" for key, inner in value.items()]
    if isinstance(value, list):
        return [", ".join(_lines(one)) for one in value]
    return [_text(value)]


def _text(value: Any) -> str:
    """Return a single value as a job file writes it, a text without its quotes."""
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value)
