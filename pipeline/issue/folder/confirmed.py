"""What was at hand when the newest issue was made or last found unchanged: a note of this machine, beside the issues.

It only saves time. Where it is missing, or says something else, a run looks at everything; it is no part of an issue.
"""

import json
import os
from pathlib import Path

NAME = ".confirmed"


def confirmed(folder: Path, issue: int) -> str | None:
    """Return the sum noted for an issue, None where there is none or it is another issue's."""
    try:
        noted = json.loads((folder / NAME).read_text(encoding="utf-8"))
        return str(noted["at_hand"]) if noted["issue"] == issue else None
    except (OSError, ValueError, KeyError, TypeError):
        return None


def confirm(folder: Path, issue: int, at_hand: str) -> None:
    """Note the sum for an issue, in one step. Raises OSError where the folder cannot be written."""
    fresh = folder / f".staging-{os.getpid()}{NAME}"
    fresh.write_text(json.dumps({"issue": issue, "at_hand": at_hand}) + "\n", encoding="utf-8")
    os.replace(fresh, folder / NAME)
