"""An issue's record as an earlier version wrote it: it stands for an issue that was made before an update."""

import hashlib
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

#: Sentences of today as patterns, and as records of schema 7 have them.
_THEN = (
    (
        r" -> the points stay unproven until you have checked this and set (\[checks\] confirmed = \[.*\])\Z",
        r" -> nothing of it counts as proven until \1 says it is right",
    ),
    ("is computed from the register as it is now", "is worked out by the register as it is now"),
)


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
            for today, then in _THEN:
                doubt["what"] = re.sub(today, then, doubt["what"])
            change(doubt)
        total = hashlib.sha256(_text(said).encode()).hexdigest()
        file.write_text(_text(said | {"sum": total}), encoding="utf-8")


def _text(said: dict[str, Any]) -> str:
    return json.dumps(said, ensure_ascii=False, indent=2, sort_keys=True) + "\n"
