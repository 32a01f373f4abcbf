"""Texts and tables as a job file writes them, so that every one of them is read again as it was."""

import json
import tomllib
from collections.abc import Iterable
from typing import Any

#: Beyond TOML's own: what a terminal or an editor may take for the end of a line.
_ESCAPED = str.maketrans({sign: f"\\u{ord(sign):04x}" for sign in "\x7f\x85\u2028\u2029"})


def quoted(text: str) -> str:
    """Return a basic string of TOML: JSON's escapes are among its own."""
    return json.dumps(text, ensure_ascii=False).translate(_ESCAPED)


def value_text(value: str | int) -> str:
    """Return a text or a whole number as TOML has it, such as a column's name or its number."""
    return quoted(value) if isinstance(value, str) else str(value)


def unquoted(value: str) -> str:
    """Return the text that a basic string of TOML stands for. Raises `tomllib.TOMLDecodeError`."""
    return str(tomllib.loads(f"text = {value}")["text"])


def listed(texts: Iterable[str]) -> str:
    """Return a list of texts as TOML has it."""
    return f"[{', '.join(map(quoted, texts))}]"


def read_table(text: str) -> dict[str, Any]:
    """Return the keys of a table that was written on one line, without its braces. Raises `tomllib.TOMLDecodeError`."""
    table: dict[str, Any] = tomllib.loads(f"table = {{ {text} }}")["table"]
    return table
