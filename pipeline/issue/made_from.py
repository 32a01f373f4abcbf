"""What two issues were made from, by the sums of their records: whether it differs by the program alone."""

from collections.abc import Mapping
from typing import Any

#: The program among what shapes an issue, and the job file; ``PART`` begins the name of a part of the latter.
PROGRAM = "the program or PROJ"
JOB_FILE = "the job file"
PART = f"{JOB_FILE}: "

#: The columns of ``points`` that drafters have drawn from.
_DRAWN = ("name", "easting", "northing", "height")


def by_program_alone(before: Mapping[str, str], after: Mapping[str, str]) -> bool:
    """Say whether two identities differ by no more than the program, or by nothing.

    The sums of the job file's parts say which of them changed; whether it did, its own sum says.
    """
    names = {*before, *after}
    return all(before.get(name) == after.get(name) for name in names if name != PROGRAM and not name.startswith(PART))


def same_again(said: Mapping[str, Any], before: Mapping[str, Any]) -> bool:
    """Say whether an issue is an earlier one made again by another program: of the same, with the same points.

    Args:
        said: its record, as it stands in its file, of whatever version.
        before: the earlier one's.
    """
    now, then = said.get("identity"), before.get("identity")
    if not isinstance(now, dict) or not isinstance(then, dict) or not by_program_alone(then, now):
        return False
    points = _points(said)
    return bool(now) and points is not None and points == _points(before)


def _points(said: Mapping[str, Any]) -> Any:
    """Return the sums of what drafters have of an issue's points; None where its record has none of them."""
    try:
        layers = [layer for file in said["files"] for layer in file.get("layers", ()) if layer["name"] == "points"]
        (layer,) = layers
        return layer["rows"], [layer["columns"][name] for name in _DRAWN]
    except (KeyError, TypeError, ValueError, AttributeError):
        return None
