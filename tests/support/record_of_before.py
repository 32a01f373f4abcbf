"""An issue's record as an earlier version wrote it: it stands for an issue that was made before an update."""

import hashlib
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

#: How doubts are worded today, and how those of schema 7 were: only these are read as to what they were about.
_WORDED = (
    (r"(?s)(?P<names>{names}) \(observed (.*?) UTC\) failed in issue (\d+) and ",
     r"the occupation \g<names> (observed \2 UTC), which failed in issue \3, "),
    ("is no longer an occupation in the job", "is no occupation of the job any more"),
    ("is now a tie", "is a tie now"),
    ("(is a tie now), and differs by (.*?) from ", r"\1, \2 off from "),
    ("is no longer tested in (position and height|position|height)", r"is not tested in \1 any more"),
    ("with the same register coordinates give a different shift",
     "on the same numbers of the register give another shift"),
    ("although grid and height datum are the same by name", "in what is called the same grid and height datum"),
    (r"has different content \(SHA-256 was (\w+)\.\.\., is now (\w+)\.\.\.\)",
     r"has another content (SHA-256 \1... was, \2... is)"),
    ("is defined differently", "is defined otherwise"),
    (" was (.*?) and is now ", r" was \1 and is "),
    ("numbers show which of the two is right", "numbers say which of the two is right"),
    (r" -> the points stay unproven until you have checked this and set (\[checks\] confirmed = \[.*\])\Z",
     r" -> nothing of it counts as proven until \1 says it is right"),
    ("is computed from the register as it is now", "is worked out by the register as it is now"),
)  # fmt: skip


def as_schema_7(folder: Path, change: Callable[[dict[str, Any]], None] = lambda doubt: None) -> None:
    """Make every issue in ``folder`` one of schema 7, which said in sentences alone what its doubts were about.

    ``change`` is done to each doubt, as an earlier version may have worded it.
    """
    for file in (folder / "issues").glob("*/issue.json"):
        said = json.loads(file.read_text(encoding="utf-8"))
        del said["sum"]
        said["schema"] = 7
        for doubt in said["doubts"]:
            doubt["what"] = _as_then(doubt["what"], doubt.pop("origin"))
            change(doubt)
        total = hashlib.sha256(_text(said).encode()).hexdigest()
        file.write_text(_text(said | {"sum": total}), encoding="utf-8")


def _as_then(what: str, origin: dict[str, Any] | None) -> str:
    """Return a doubt as it was worded then; ``origin`` is what it is about, where it is taken along by that."""
    if origin is None:
        return what
    names = re.escape(f"{origin.get('point')} on {origin.get('mark')}")
    for today, then in _WORDED:
        what = re.sub(today.replace("{names}", names), then, what)
    return what


def _text(said: dict[str, Any]) -> str:
    return json.dumps(said, ensure_ascii=False, indent=2, sort_keys=True) + "\n"
