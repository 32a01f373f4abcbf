"""An issue's record as an earlier version wrote it: it stands for an issue that was made before an update."""

import hashlib
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any


def as_schema_7(folder: Path, change: Callable[[dict[str, Any]], None] = lambda doubt: None) -> None:
    """Make every issue in ``folder`` one of schema 7, which said in sentences alone what its doubts were about.

    ``change`` is done to each doubt, as an earlier version may have worded it.
    """
    for file in (folder / "issues").glob("*/issue.json"):
        said = json.loads(file.read_text(encoding="utf-8"))
        del said["sum"]
        said["schema"] = 7
        for doubt in said["doubts"]:
            del doubt["origin"]
            change(doubt)
        total = hashlib.sha256(_text(said).encode()).hexdigest()
        file.write_text(_text(said | {"sum": total}), encoding="utf-8")


def _text(said: dict[str, Any]) -> str:
    return json.dumps(said, ensure_ascii=False, indent=2, sort_keys=True) + "\n"
