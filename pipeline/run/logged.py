"""Reads a job log back: each run, or a count of identical runs, of whatever version."""

import re
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from pipeline.clock import from_iso
from pipeline.files.regular_files import read_whole
from pipeline.run.run_log import COUNTED, HEAD, LARGEST, NOTIFY

#: Beyond the bytes that a log has at the most before the oldest entries go.
_MOST = 2 * LARGEST
#: The first line of an entry; early versions said no more in it than the exit code.
_ENTRY = re.compile(
    r"^(\d{4}-\S+Z)  exit code (\d+)(?:  ([a-z ]+)  (?:issue (\d+), ([a-z]+)(, pending)?|no new issue)  \S+ \S+)?  .*$",
    re.MULTILINE,
)
#: The first line of what a command said that was told of the run before.
_NOTIFIED = re.compile(rf"^\d{{4}}-\S+Z  {NOTIFY}  ", re.MULTILINE)
_SAME = re.compile(COUNTED.pattern.decode())


@dataclass(frozen=True)
class Logged:
    """One run, or several one after another that said the same, the first at ``first`` and the newest at ``last``.

    ``word`` is what became of it and ``issue`` the number of the issue that stood then, "" and None where the log does
    not say; ``lines`` is what else it said.
    """

    first: datetime
    last: datetime
    runs: int
    code: int
    word: str
    issue: int | None
    lines: tuple[str, ...]


def logged(path: Path) -> list[Logged]:
    """Return the runs in a log, oldest first; none where there is no log of ours. Raises OSError where it is closed."""
    try:
        data = read_whole(path, _MOST)
    except FileNotFoundError:
        return []
    if not data.startswith(HEAD):
        return []
    text = data.decode("utf-8", "replace")
    heads = list(_ENTRY.finditer(text))
    ends = [*(head.start() for head in heads), len(text)][1:]
    read = (_read(head, text[head.end() : end]) for head, end in zip(heads, ends, strict=True))
    return [one for one in read if one is not None]


def _read(head: re.Match[str], rest: str) -> Logged | None:
    rest = _NOTIFIED.split(rest, maxsplit=1)[0]
    same = _SAME.search(rest)
    try:
        first = from_iso(head[1])
        last, runs = (from_iso(same[1]), int(same[2])) if same else (first, 1)
    except (ValueError, OverflowError):  # edited by hand
        return None
    said = rest[: same.start()] if same else rest
    lines = tuple(line[2:] for line in said.split("\n") if line.strip())
    return Logged(first, last, runs, int(head[2]), head[3] or "", int(head[4]) if head[4] else None, lines)
