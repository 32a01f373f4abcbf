"""``register.csv``: when each issue was made, how it stood and why, kept outside the issues so that they repeat."""

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from pipeline.clock import iso

NAME = "register.csv"

_HEADER = ("issue", "made_at", "verdict", "because")


@dataclass(frozen=True)
class Entry:
    """One line of the register. Raises ValueError where ``made_at`` lacks its offset from UTC."""

    issue: int
    made_at: datetime
    verdict: str
    because: str

    def __post_init__(self) -> None:
        if self.made_at.tzinfo is None:
            raise ValueError(f"the time at which issue {self.issue} was made needs its offset from UTC")


def read_register(folder: Path) -> list[Entry]:
    """Return the register's lines in the file's order; lines in another form (edited by hand) are passed over.

    Raises OSError where the file is there and cannot be read.
    """
    text = _text(folder / NAME)
    return [entry for row in csv.reader(io.StringIO(text, newline="")) if (entry := _entry(row)) is not None]


def registered(folder: Path) -> set[int]:
    """Return the numbers of all issues that have a line, whatever has become of the rest of it. Raises as above."""
    rows = csv.reader(io.StringIO(_text(folder / NAME), newline=""))
    return {int(row[0]) for row in rows if row and row[0].strip().isdecimal()}


def with_entries(folder: Path, entries: Iterable[Entry]) -> bytes:
    """Return what the register will hold with ``entries`` added; what stands in it, notes by hand too, stays as it is.

    Raises OSError where the file is there and cannot be read.
    """
    before = _text(folder / NAME)
    after = io.StringIO(newline="")
    writer = csv.writer(after, lineterminator="\n")
    if before.strip():
        after.write(before if before.endswith("\n") else f"{before}\n")
    else:
        writer.writerow(_HEADER)
    for entry in entries:
        made_at = iso(entry.made_at, "seconds")
        writer.writerow((f"{entry.issue:03d}", made_at, entry.verdict, entry.because))
    return after.getvalue().encode()


def _text(path: Path) -> str:
    # A spreadsheet may have saved it with a byte order mark, or in an older code page.
    try:
        content = path.read_bytes()
    except FileNotFoundError:
        return ""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252", errors="replace")


def _entry(row: list[str]) -> Entry | None:
    if len(row) < len(_HEADER):
        return None
    try:
        return Entry(int(row[0]), datetime.fromisoformat(row[1]), row[2], row[3])
    except ValueError:
        return None
