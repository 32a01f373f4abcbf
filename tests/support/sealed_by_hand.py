"""The seal of a record, by the standard library alone: SHA-256 of what it says but for its ``sum``.

What it says is its JSON in UTF-8: keys in order, two blanks for each level, a line feed at the end.
"""

import hashlib
import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any


def written(said: Mapping[str, Any]) -> bytes:
    """Return what a record says as the bytes of its file."""
    return (json.dumps(said, ensure_ascii=False, sort_keys=True, indent=2) + "\n").encode("utf-8")


def sum_by_hand(said: Mapping[str, Any]) -> str:
    """Return the sum that a record has to state."""
    return hashlib.sha256(written({key: value for key, value in said.items() if key != "sum"})).hexdigest()


def seal(path: Path, said: Mapping[str, Any]) -> None:
    """Write a record with its sum."""
    path.write_bytes(written({**said, "sum": sum_by_hand(said)}))
