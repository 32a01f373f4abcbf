"""``register.csv``: when each issue was made, how it stood and why, kept outside the issues so that they repeat."""

import csv
import io
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from pipeline.clock import iso
from pipeline.problems import JobError, refused, remedy

NAME = "register.csv"

#: Stands for a verdict in the line of an issue that was set aside.
SET_ASIDE = "set aside"
#: How the reason of a release begins which the job file's rule made, and nobody's hand.
BY_RULE = "issue.release is "
#: Stands for a verdict in the line of an issue that was released after it was made, beside the line of its making.
RELEASED = "released"
#: Stands for a verdict in the line of an issue whose files were removed by ``issue.keep``, beside that line as well.
REMOVED = "files removed"

#: Stands behind the reason in a line that was made again, from what else says of the issue.
ANEW = "line written anew after the list was lost, its time that of a file"

_HEADER = ("issue", "made_at", "verdict", "because")
#: By which of them a spreadsheet may have parted the header that it saved.
_PARTED = (",", ";", "\t")

_NO_LIST = "is not the list of issues that tiedown keeps under this name"
_FIX = "if it is yours, move it, or name another folder; if it was the list, rename it: a run writes a new one"


@dataclass(frozen=True)
class Entry:
    """One line of the issues list. Raises ValueError where ``made_at`` lacks its offset from UTC."""

    issue: int
    made_at: datetime
    verdict: str
    because: str

    def __post_init__(self) -> None:
        if self.made_at.tzinfo is None:
            raise ValueError(f"the time at which issue {self.issue} was made needs its offset from UTC")

    @property
    def reason(self) -> str:
        """Return why, without what says that the line was written again."""
        return self.because.removesuffix(ANEW).removesuffix("; ")

    @property
    def is_anew(self) -> bool:
        """Say whether the line was written again, since the list was lost."""
        return self.because.endswith(ANEW)


def made_before(times: Mapping[int, datetime | None]) -> dict[int, int]:
    """Return which issues were made, by their time, before one with a lower number, each with that one's number.

    A clock was wrong then, or the list was edited; of several before, it is the latest. None: the time is not known.
    """
    found: dict[int, int] = {}
    latest: tuple[datetime, int] | None = None
    for number, at in sorted(times.items()):
        if at is None:
            continue
        if latest is not None and at < latest[0]:
            found[number] = latest[1]
        else:
            latest = at, number
    return found


def read_issues_list(folder: Path) -> list[Entry]:
    """Return the lines of the issues list in the file's order; lines in another form (edited by hand) are passed over.

    Raises `JobError` where what is there cannot be read, or is no list of issues.
    """
    return [entry for row in _rows(_text(folder / NAME)) if (entry := _entry(row)) is not None]


def how_released(because: str) -> str:
    """Return how an issue was released for a reason: by hand, unless the job file's rule gave it or it is lost."""
    if because.startswith(BY_RULE):
        return "released by rule"
    return "released" if because.endswith(ANEW) else "released by hand"


def numbers_listed(folder: Path) -> set[int]:
    """Return the numbers of all issues that have a line, whatever has become of the rest of it. Raises as above."""
    lines = [row for row in _rows(_text(folder / NAME)) if row and row[0].strip().isdecimal()]
    return {int(row[0]) for row in lines if not {RELEASED, REMOVED} & {*row[2:3]}}


def entries_of_making(entries: Iterable[Entry]) -> dict[int, Entry]:
    """Return the line of each issue's making, or of its being set aside: the last that says neither other thing."""
    return {entry.issue: entry for entry in entries if entry.verdict not in (RELEASED, REMOVED)}


def cut_reasons(folder: Path) -> set[int]:
    """Return the issues whose lines have a reason that is cut in cells: something put another sign for every comma.

    Raises as above.
    """
    text = _text(folder / NAME)
    rows = _rows(text) if _sign(text) != "," else ()
    return {entry.issue for row in rows if len(row) > len(_HEADER) and (entry := _entry(row)) is not None}


def with_entries(folder: Path, entries: Iterable[Entry]) -> bytes:
    """Return what the issues list will hold with ``entries`` added.

    What stands in it, notes by hand too, stays as it is. Raises as `read_issues_list`.
    """
    before = _text(folder / NAME)
    after = io.StringIO(newline="")
    writer = csv.writer(after, delimiter=_sign(before), lineterminator="\n")
    if before.strip():
        after.write(before if before.endswith("\n") else f"{before}\n")
    else:
        writer.writerow(_HEADER)
    for entry in entries:
        made_at = iso(entry.made_at, "seconds")
        writer.writerow((f"{entry.issue:03d}", made_at, entry.verdict, entry.because))
    return after.getvalue().encode()


def not_ours(folder: Path, *, known: bool) -> tuple[str, str] | None:
    """Say what is wrong with a list that is none, and what to do; None where it is ours, or is not there.

    An empty one is ours only where the folder is ``known`` to be.
    """
    try:
        empty = not _text(folder / NAME).strip()
    except JobError as error:
        return error.problems[0].what, error.problems[0].fix
    if empty and not known and os.path.lexists(folder / NAME):
        return _NO_LIST, _FIX
    return None


def _text(path: Path) -> str:
    """Return what the list says, nothing where it is not there or empty."""
    if not os.path.lexists(path):
        return ""
    if not path.is_file():
        raise _no_list(path, "is not a file")
    try:
        content = path.read_bytes()
    except OSError as error:
        fix = remedy(error) if isinstance(error, PermissionError) else _FIX  # nothing says that it is damaged
        raise _no_list(path, f"cannot be read: {error.strerror or error}", fix) from error
    # A spreadsheet may have saved it with a byte order mark, or in an older code page.
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("cp1252", errors="replace")
    if text.strip() and not _is_list(text):
        raise _no_list(path, _NO_LIST)
    return text


def _no_list(path: Path, what: str, fix: str = _FIX) -> JobError:
    return refused(path, what, fix)


def _is_list(text: str) -> bool:
    """Say whether a text has the list's header, whole or cut short, or a line of an issue."""
    if "\0" in text or _unclosed(text):
        return False
    first, header = _first(text), _sign(text).join(_HEADER)
    return header.startswith(first) or first.startswith(header) or any(_entry(row) for row in _rows(text))


def _first(text: str) -> str:
    return (text.strip().splitlines() or [""])[0].replace('"', "")


def _sign(text: str) -> str:
    """Return the sign that parts the cells: a comma, or what a spreadsheet put there when it saved the list."""
    first = _first(text)
    return next((sign for sign in _PARTED if first.startswith(sign.join(_HEADER))), ",")


def _unclosed(text: str) -> bool:
    """Say whether a quote is opened and never closed: whatever is added after it would belong to it."""
    try:
        for _ in csv.reader(io.StringIO(text, newline=""), delimiter=_sign(text), strict=True):
            pass
    except csv.Error as error:
        return "unexpected end" in str(error)
    return False


def _rows(text: str) -> Iterator[list[str]]:
    """Yield the cells of each line; what no reader of CSV takes in (a cell of more than 128 kB) ends them."""
    try:
        yield from csv.reader(io.StringIO(text, newline=""), delimiter=_sign(text))
    except csv.Error:
        return


def _entry(row: list[str]) -> Entry | None:
    if len(row) < len(_HEADER):
        return None
    try:
        return Entry(int(row[0]), datetime.fromisoformat(row[1]), row[2], row[3])
    except ValueError:
        return None
