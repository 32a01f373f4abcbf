"""Asks whether files that are not read hold readings, where they look as if they did: a second rover's, say."""

import re
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from pipeline.job.toml_text import quoted
from pipeline.near import and_more
from pipeline.new_job.columns import mapped
from pipeline.new_job.folder import Contents
from pipeline.new_job.folder_files import ask_not_looked_at
from pipeline.new_job.look import BYTES, ROWS, FileLook
from pipeline.new_job.questions import Question
from pipeline.new_job.unread_times import unread_times
from pipeline.read.sources import JSON, TEXT
from pipeline.words import plural

#: A number as of a position: degrees with many decimals, or a length of a grid or from the earth's centre; and an angle
#: in degrees and minutes, with seconds or without.
_NUMBER = re.compile(r"[-+]?(?:\d{1,3}[.,]\d{6,}|\d{4,8}[.,]\d{2,})")
_ANGLE = re.compile(
    r"[-+NSEWO]? ?\d{1,3} ?[°:d\- ] ?\d{1,2}(?: ?['′:m\- ] ?\d{1,2})?[.,]\d{2,} ?[\"″'′]{0,2} ?[NSEWO]?"
)
#: A height, or a precision: what readings have beside their position, and lists of photographs or of tracks have not.
_THIRD = re.compile(r"[-+]?\d{1,5}[.,]\d{2,}")
#: A time of day, with seconds or without, alone or behind a date.
_CLOCK = re.compile(r"(?:^|[\s\"T_,;-])\d{1,2}:\d\d(?::\d\d(?:[.,]\d+)?)?(?:$|[\s\"Z,;+-])")
#: Coordinates that a row of readings has at least, how many rows there are at least, and their share of all.
_AXES, _LEAST, _MOSTLY = 2, 3, 0.5
#: Files that a question names.
_SHOWN = 4


def left_out(found: Contents) -> Iterator[Question]:
    """Yield the questions after files that are taken for nothing and may hold readings, one for those of one layout.

    Last is that after what a limit kept from being looked at.
    """
    why = {called: reason for called, role, reason in found.told if role == "neither"}
    layouts: dict[tuple[str, ...], list[str]] = {}
    for look in found.tables:
        if look.called in why and may_be_readings(look):
            layouts.setdefault(look.names, []).append(look.called)
    for shown, path in found.unread.items():
        if shown in why and _broken(path):
            layouts.setdefault(("", why[shown]), []).append(shown)
    for called in layouts.values():
        several = ", ".join(map(quoted, called[:_SHOWN])) + and_more(len(called) - _SHOWN)
        yield Question(
            "files",
            f"{plural(len(called), 'does', 'do')} {several} hold readings of this job?"
            f" {plural(len(called), 'it is', 'they are')} not read: {why[called[0]]}. If so, correct that and run"
            " `tiedown new` again; if not, delete these lines",
        )
    if found.not_looked_at:
        yield ask_not_looked_at(found.not_looked_at)


def _broken(path: Path) -> bool:
    """Tell whether a file that cannot be read may hold readings: by its lines, or as one that holds tables alone.

    Not one that a program puts beside an open file of its own.
    """
    ending = path.suffix.lower()
    if path.name.startswith("~$"):
        return False
    if ending not in (*TEXT, *JSON):
        return True
    with path.open("rb") as file:
        lines = file.read(BYTES).decode("utf-8", "replace").splitlines()[:ROWS]
    if ending in JSON:
        return any('"Feature' in line for line in lines)
    filled = [line for line in lines if line.strip()]
    rows = sum(bool(_CLOCK.search(line)) and _measured(re.split("[,;\t|]", line))[0] >= _AXES for line in filled)
    return rows >= _LEAST and rows >= _MOSTLY * len(filled)


def may_be_readings(look: FileLook) -> bool:
    """Tell whether most rows hold a position, as numbers of a reading's accuracy or a geometry, and a time.

    Readings have a height or a precision, too, or how they were solved.
    """
    columns = list(look.columns.values())
    count, rows = max(map(len, columns), default=0), 0
    if count < _LEAST:
        return False
    found = mapped(look)
    timed = found.times is not None or unread_times(look, found) is not None
    solved = "solution" in found.columns
    flat = look.place is None or not np.isfinite(look.place[2]).any()
    for at in range(count):
        cells = [column[at].strip() for column in columns if at < len(column) and column[at].strip()]
        placed, beside = _measured(cells)
        known = placed >= _AXES if look.place is None else True
        further = solved or not flat or placed + beside > (_AXES if look.place is None else 0)
        rows += known and further and (timed or any(map(_CLOCK.search, cells)))
    return rows >= _LEAST and rows >= _MOSTLY * count


def _measured(cells: Sequence[str]) -> tuple[int, int]:
    """Return how many cells are as a coordinate is, and how many others as a height; or parts of an unparted row's."""
    best = (0, 0)
    for parts in (cells, *(re.split(r"[\s;|]+", cell) for cell in cells)):
        placed = [part for part in parts if _NUMBER.fullmatch(part) or _ANGLE.fullmatch(part)]
        best = max(best, (len(placed), sum(bool(_THIRD.fullmatch(part)) for part in parts if part not in placed)))
    return best
