"""Questions that `tiedown new` marked OPEN in a job file and that nobody answered."""

import re
from collections.abc import Iterator, Mapping
from typing import Any

from pipeline.problems import Problems
from pipeline.replace import replace

_MARK = "# OPEN: "
_KEY = re.compile(r'\s*(#\s?)?"?([a-z_]+)"?\s*=')
#: Where a question's lines end at the latest, and keys that are offered below one and are none of its answers.
_ENDS = re.compile(r"\s*$|\s*\[|# OPEN: ")
_OFFERED = frozenset(("max_sigma_horizontal", "max_sigma_vertical"))
_FIX = (
    "remove the # from the correct line below it, or write another value there; if none applies, delete the lines of"
    " the question (earlier versions ignored it)"
)


#: Keys that are told as missing themselves where they are.
_MISSED = frozenset(("grid", "height", "ellipsoid_height", "crs"))


def check_open(text: str, raw: Mapping[str, Any], shown: str, problems: Problems, *, alone: bool = True) -> None:
    """Note every question whose answers all stand behind a # still, and whose key its table has not.

    A question that lost its answers was answered by leaving them out: so is one after a column that is not meant.
    Where they are not ``alone`` wrong, those after keys that are told as missing are named there.
    """
    lines = text.splitlines()
    for at, line in enumerate(lines):
        key = _asked(lines, at) if line.startswith(_MARK) else None
        if key is None or _is_there(raw, lines, at, key):
            continue
        if not alone and key in _MISSED:
            _add_to_missing(problems, shown, f"'{key}' in [{_headers(lines, at)[-1]}] is missing", at + 1)
        else:
            asks = line.removeprefix(_MARK) + "".join(_rest(lines, at))
            problems.add(shown, at + 1, f"this question is still open: {asks}", _FIX)


def _add_to_missing(problems: Problems, shown: str, what: str, line: int) -> None:
    """Say behind a key that is told as missing which line asks for it."""
    for number, one in enumerate(problems.found):
        if (one.file, one.what, one.fix) == (shown, what, ""):
            fix = f"line {line} asks for it, and is still open: remove the # from the correct line below it"
            problems.found[number] = replace(one, fix=f"{fix}, or write another value there")


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


#: Keys of one table of which either answers the question after the other.
_EITHER = {
    "height": "ellipsoid_height", "ellipsoid_height": "height", "longitude": "easting", "easting": "longitude",
}  # fmt: skip
_TABLE = re.compile(r"\s*\[\[?\s*([a-z_.]+)\s*\]")


def _is_there(raw: Mapping[str, Any], lines: list[str], at: int, key: str) -> bool:
    """Tell whether the table in which a question stands has a key.

    ``[source]`` answers for a block of points, and all blocks for ``[source]``.
    """
    headers = _headers(lines, at)
    asked, keys = headers[-1], {key, _EITHER.get(key, key)}
    tables = [_table(raw, asked, headers)]
    if asked == "points":
        tables.append(raw.get("source"))
    blocks = raw.get("points")
    everywhere = asked == "source" and isinstance(blocks, list) and bool(blocks) and all(map(keys.intersection, blocks))
    return everywhere or any(isinstance(table, Mapping) and bool(keys & table.keys()) for table in tables)


def _headers(lines: list[str], at: int) -> list[str]:
    """Return the tables that begin above a line, the last one in which it stands, "" for none."""
    return ["", *(found[1] for line in lines[:at] if (found := _TABLE.match(line)) is not None)]


def _table(raw: Mapping[str, Any], name: str, headers: list[str]) -> object:
    """Return a table by its name; of a list of tables the one that the last of the ``headers`` before it began."""
    found: object = raw
    parts = name.split(".") if name else []
    for number, part in enumerate(parts, start=1):
        found = found.get(part) if isinstance(found, Mapping) else None
        if isinstance(found, list):
            place = headers.count(".".join(parts[:number])) - 1
            found = found[place] if 0 <= place < len(found) else None
    return found
