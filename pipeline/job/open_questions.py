"""Questions that `tiedown new` marked OPEN in a job file and that nobody answered."""

import re
from collections.abc import Iterator

from pipeline.problems import Problems

_MARK = "# OPEN: "
_KEY = re.compile(r'\s*(#\s?)?"?([a-z_]+)"?\s*=')
#: Where a question's lines end at the latest, and keys that are offered below one and are none of its answers.
_ENDS = re.compile(r"\s*$|\s*\[|# OPEN: ")
_OFFERED = frozenset(("max_sigma_horizontal", "max_sigma_vertical"))
_FIX = (
    "take the # off the line below it that is right, or write another value there; if none of them applies, delete"
    " the lines of the question"
)


#: Keys that are told as missing themselves where they are.
_MISSED = frozenset(("grid", "height", "ellipsoid_height", "crs"))


def check_open(text: str, shown: str, problems: Problems, *, alone: bool = True) -> None:
    """Note every question whose answers all stand behind a # still, and whose key its table has not.

    A question that lost its answers was answered by leaving them out: so is one after a column that is not meant.
    Where they are not ``alone`` wrong, those after keys that are told as missing are left out.
    """
    lines = text.splitlines()
    for at, line in enumerate(lines):
        key = _asked(lines, at) if line.startswith(_MARK) else None
        if key is not None and (alone or key not in _MISSED) and not _is_there(lines, at, key):
            asks = line.removeprefix(_MARK) + "".join(_rest(lines, at))
            problems.add(shown, at + 1, f"this question is still open: {asks}", _FIX)


def _rest(lines: list[str], at: int) -> Iterator[str]:
    """Yield the further lines of a question's own words."""
    for line in lines[at + 1 :]:
        if not line.startswith("#  "):
            return
        yield f" {line[1:].strip()}"


def _asked(lines: list[str], at: int) -> str | None:
    """Return the key of the answers below a question; None where one is given, or none stands there any more."""
    for line in lines[at + 1 :]:
        if _ENDS.match(line):
            return None
        found = None if line.startswith("#  ") else _KEY.match(line)
        if found is not None:
            return found[2] if found[1] and found[2] not in _OFFERED else None
    return None


def _is_there(lines: list[str], at: int, key: str) -> bool:
    """Tell whether the table in which a question stands has a key, or ``[source]`` has it for a block of points."""
    begin = next((up for up in range(at, -1, -1) if lines[up].lstrip().startswith("[")), 0)
    if _has(lines, begin, key):
        return True
    sources = [up for up, line in enumerate(lines) if re.match(r"\s*\[source\]", line)]
    return lines[begin].lstrip().startswith("[[points]]") and any(_has(lines, up, key) for up in sources)


#: Keys of one table of which either answers the question after the other.
_EITHER = {"height": "ellipsoid_height", "ellipsoid_height": "height"}


def _has(lines: list[str], begin: int, key: str) -> bool:
    for line in lines[begin + 1 :]:
        if line.lstrip().startswith("["):
            return False
        found = _KEY.match(line)
        if found is not None and not found[1] and found[2] in (key, _EITHER.get(key)):
            return True
    return False
