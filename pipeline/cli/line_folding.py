"""Long lines broken at blanks to the width of a terminal; for files, pipes and programs they stay whole."""

import os
import re
import sys
from collections.abc import Iterable
from textwrap import wrap
from typing import TextIO

#: Columns below which lines are left to the terminal, and how much further in the rest of a line stands.
_NARROW, _HANG = 40, 4
#: What a line has that is laid out: columns of a table, a heading or a key of a job file that is to be copied.
_LAID_OUT = re.compile(r"\S {2,}\S|^ *(?:\[|[\w-]+ = )")


def fitted(text: str, stream: TextIO) -> str:
    """Return a text as it is to be printed on a stream."""
    columns = _columns(stream)
    return text if columns is None else "\n".join(_folded(line, columns) for line in text.split("\n"))


def print_lines(lines: Iterable[str]) -> None:
    """Print lines, folded where stdout is a terminal."""
    for line in lines:
        print(fitted(line, sys.stdout))
    sys.stdout.flush()


def _columns(stream: TextIO) -> int | None:
    """Return how many columns a terminal has; None where a stream is no terminal, or one that does not say so."""
    try:
        columns = os.get_terminal_size(stream.fileno()).columns if stream.isatty() else 0
    except (OSError, ValueError):
        return None
    return columns if columns >= _NARROW else None


def _folded(line: str, columns: int) -> str:
    if len(line) <= columns or _LAID_OUT.search(line):
        return line
    further = " " * (len(line) - len(line.lstrip(" ")) + _HANG)
    return "\n".join(wrap(line, columns, subsequent_indent=further, break_long_words=False, break_on_hyphens=False))
