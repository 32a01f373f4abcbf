"""Sorts the files of a folder into exports, register, sessions table and others."""

import os
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TypeVar

from msgspec import Struct, field

from pipeline.digest import digest
from pipeline.files.sheet import read_sheet
from pipeline.files.workbook import WORKBOOKS, HiddenSheet
from pipeline.job.model import Columns
from pipeline.limits import TABLE
from pipeline.new_job.angles_joined import with_joined_angles
from pipeline.new_job.columns import mapped
from pipeline.new_job.encodings import preferred
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.folder_files import GEOIDS, READ, find_files, not_looked_at, tell_unread
from pipeline.new_job.headings import bare, rank
from pipeline.new_job.headings_like import packed_degrees
from pipeline.new_job.look import FileLook
from pipeline.new_job.look_at_files import hidden_of, looks
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.name_columns import mark_column, marks_named, of_exports, of_register
from pipeline.new_job.session_lists import SessionList, go_together, list_with_positions, session_list
from pipeline.new_job.text_encoding import pages_of
from pipeline.new_job.unread import no_height, no_position
from pipeline.new_job.unread_times import unread_times
from pipeline.problems import Problems
from pipeline.read.findings import Unusable
from pipeline.read.issued_headings import ISSUED_SAID, is_issued
from pipeline.read.mapping import ColumnsMissing, position_of
from pipeline.read.sources import TEXT
from pipeline.words import counted

#: Words in a file's name by which it is a register.
_REGISTER = ("control", "register", "marks", "festpunkt", "fixpunkt", "benchmark", "repere", "borne", "monument")
#: Columns that only a register has.
_OF_REGISTER = ("mark", "hu95", "vu95", "holds", "dated", "source")
#: What a table of sessions has at least, and what it is known by besides.
_NEEDED = ("name", "start", "end")
KNOWN_BY = (*_NEEDED, "base", "ties", "checks")
#: Lines among which the header of one is looked for that cannot be read.
_BEGINNING, _LINES = 1 << 16, 60


class Contents(Struct):
    """What a folder holds; ``told`` is each file with what it is taken for and why, in the order of their names.

    ``unread`` are those that cannot be read at all, as they are shown, with their paths; ``unplaced`` those with rows
    in which no position was found, ``half_placed`` they as far as they are mapped.
    ``refused`` are those whose position, or times, cannot be read, each with why.
    ``tables`` is what every table looks like, whatever it is taken for.
    ``not_looked_at`` says what a limit kept from being looked at, "" where that is nothing.
    """

    exports: list[FileFound] = field(default_factory=list)
    registers: list[FileFound] = field(default_factory=list)
    sessions: list[tuple[str, Path]] = field(default_factory=list)
    session_lists: list[SessionList] = field(default_factory=list)
    geoids: list[tuple[str, Path]] = field(default_factory=list)
    told: list[tuple[str, str, str]] = field(default_factory=list)
    unread: dict[str, Path] = field(default_factory=dict)
    unplaced: list[FileLook] = field(default_factory=list)
    half_placed: list[FileFound] = field(default_factory=list)
    refused: list[tuple[FileFound, str]] = field(default_factory=list)
    tables: list[FileLook] = field(default_factory=list)
    not_looked_at: str = ""


def contents(folder: Path, base: Path) -> Contents:
    """Look at every file of a folder and of those in it, shown from ``base``. Raises OSError.

    Which table is the register is chosen afterwards.
    """
    there = find_files(folder)
    found = Contents(not_looked_at=not_looked_at(there))
    files = {path: path.exists() for path in there.files}
    page = preferred([pages for path, exists in files.items() if exists and (pages := pages_of(path)) is not None])
    unread: list[tuple[str, Path]] = []
    for path, exists in files.items():
        shown = Path(os.path.relpath(path, base)).as_posix()
        if not exists:
            found.told.append((shown, "neither", "is a link to a file that is not there"))
            continue
        if path.name[0] == ".":
            _tell_hidden_file(path, shown, page, found)
            continue
        if path.suffix.lower() not in (*READ, *GEOIDS):
            unread.append((shown, path))
            continue
        try:
            _sort(path, shown, page, found)
        except Unusable as error:
            where = f" in line {error.line}" if error.line > 0 else ""
            fix = f": {error.fix}" if error.fix else ""
            found.told.append((shown, "neither", f"cannot be read{where}: {error.what}{fix}"))
            found.unread[shown] = path
        except OSError as error:
            found.told.append((shown, "neither", f"cannot be read: {error.strerror or error}"))
        except ValueError:  # no TOML could say it
            found.told.append((shown, "neither", "cannot be read: its headings contain control characters"))
    found.told += tell_unread(unread)
    _use_one_list(found)
    _suppose_positions(found)
    _leave_copies_out(found)
    return found


def _suppose_positions(found: Contents) -> None:
    """Take tables of which no heading says a position for exports where there are none, and so for the register.

    What may be their position is asked for then. A register is only what looks like one, or has names of readings.
    """
    lacking, found.unplaced = found.unplaced, []
    if not found.exports:
        for look in lacking:
            if packed_degrees(look.columns):
                continue  # they are no eastings
            both = FileFound(look, mapped(look, unheaded=True))
            if _is_export(both):
                found.exports.append(both)
                _tell_again(found, look, "export", f'times ("{_timed(both)}") and what may be positions')
    if not found.registers:
        exports = of_exports(found.exports)
        for look in lacking:
            both = FileFound(look, mapped(look, unheaded=True))
            if _is_register(both) and (
                register_looks(both) or marks_named(of_register(both), mark_column(both), exports)
            ):
                found.registers.append(both)
                found.told = [told for told in found.told if told[0] != look.called]
    taken = [one.look for one in (*found.exports, *found.registers)]
    found.unplaced = [look for look in lacking if look not in taken]


def _use_one_list(found: Contents) -> None:
    """Leave lists of sessions out beside a table of sessions that runs read, and beside one that says otherwise."""
    lists, found.session_lists = found.session_lists, []
    for one in lists:
        against = next((each.shown for each in found.session_lists if not go_together(each, one)), "")
        first = found.sessions[0][0] if found.sessions else against
        if not first:
            found.session_lists.append(one)
            continue
        why = f"seems to be a list of sessions, but {first} is one too, which is used"
        found.told = [(one.shown, "neither", why) if told[0] == one.shown else told for told in found.told]


def _tell_again(found: Contents, look: FileLook, role: str, why: str) -> None:
    found.told = [(look.called, role, why) if told[0] == look.called else told for told in found.told]


def _timed(one: FileFound) -> str:
    """Return the heading of an export's times."""
    return one.mapped.columns.get("time") or one.mapped.columns["gps_week"]


def _is_register(one: FileFound) -> bool:
    columns = one.mapped
    return bool(columns.kind) and columns.times is None and not columns.refused and "name" in columns.columns


def _is_export(one: FileFound) -> bool:
    columns = one.mapped
    readable = bool(columns.kind) and not columns.refused and columns.times is not None and _unreadable(columns) is None
    return readable and not (register_looks(one) >= 4 and "solution" not in columns.columns)


def _tell_hidden_file(path: Path, shown: str, page: str | None, found: Contents) -> None:
    """Tell of a file that nobody sees, as its name begins with a point, that it holds readings or marks."""
    inside = Contents()
    try:
        _sort(path, shown, page, inside)
    except (Unusable, OSError, ValueError):  # what programs keep for themselves
        return
    if inside.exports or inside.registers:
        what = "readings" if inside.exports else "names and positions"
        why = f'has {what}, but is hidden, as its name begins with ".", and not read: if it belongs here, rename it'
        found.told.append((shown, "neither", why))


def _leave_copies_out(found: Contents) -> None:
    """Take each export, register and table of sessions once: of files with the same bytes that of the shortest name."""
    for some in (found.exports, found.registers):
        for one, other in _copies([(each, each.look.path, each.look.shown) for each in some]):
            some.remove(one)
            _tell_copy(one.look.called, other.look.shown, found)
    for table, first in _copies([(each, each[1], each[0]) for each in found.sessions]):
        found.sessions.remove(table)
        _tell_copy(table[0], first[0], found)


_One = TypeVar("_One")


def _copies(some: Sequence[tuple[_One, Path, str]]) -> Iterator[tuple[_One, _One]]:
    """Yield what lies in files whose bytes are those of another, with one in that; each has its path and its name."""
    sizes = Counter(path.stat().st_size for path in {path for _, path, _ in some})
    first: dict[str, tuple[_One, Path]] = {}
    for one, path, _ in sorted(some, key=lambda each: (len(each[2]), each[2])):
        if sizes[path.stat().st_size] < 2:
            continue
        other, where = first.setdefault(digest(path), (one, path))
        if where != path:
            yield one, other


def _tell_copy(called: str, first: str, found: Contents) -> None:
    found.told = [told for told in found.told if told[0] != called]
    found.told.append((called, "neither", f"is identical to {first}, which is used"))
    found.tables = [look for look in found.tables if look.called != called]


def _sort(path: Path, shown: str, page: str | None, found: Contents) -> None:
    ending = path.suffix.lower()
    if ending in GEOIDS:
        found.geoids.append((shown, path))
        found.told.append((shown, "grid", "may be a geoid grid"))
        return
    found.told += [_hidden(shown, one) for one in hidden_of(path)]
    if ending in (*TEXT, *WORKBOOKS) and _is_sessions(path, shown):
        found.sessions.append((shown, path))
        found.told.append((shown, "sessions", "has the columns name, start and end"))
        return
    some, fault = list[FileLook](), None
    try:
        for look in looks(path, shown, page):
            some.append(look)
    except Unusable as error:
        fault = error
    if any(is_issued(look.names) for look in some):
        found.told.append((shown, "neither", ISSUED_SAID))
        return
    for look in some:
        _sort_table(look, found)
    if fault is not None:
        raise fault


def _hidden(shown: str, one: HiddenSheet) -> tuple[str, str, str]:
    """Return what is told of a sheet that is not shown: nobody sees that it is left out."""
    holds = f"{counted(one.rows, 'row')} in it may be readings or marks: if so, " if one.rows else ""
    cure = (
        f"{holds}unhide the sheet and run `tiedown new` again" if holds else "it has no row that looks like a reading"
    )
    return f"{shown}, layer {one.name}", "neither", f"hidden, not read: {cure}"


def _is_sessions(path: Path, shown: str) -> bool:
    """Tell whether a text or spreadsheet is a table of sessions, a text that cannot be read too."""
    if path.stat().st_size > min(TABLE, 4 << 20):
        return False
    sheet = read_sheet(path, shown, Problems(), KNOWN_BY)
    if sheet is not None:
        places = any(rank(word, name) is not None for name in sheet.columns for word in ("latitude", "northing"))
        return set(_NEEDED) <= set(sheet.columns) and not places  # an export may have the ends of occupations
    if path.suffix.lower() in WORKBOOKS:
        return False
    with path.open("rb") as file:
        lines = file.read(_BEGINNING).decode("utf-8", "replace").removeprefix("\ufeff").splitlines()[:_LINES]
    heads = ([cell.strip(' "').casefold() for cell in re.split("[,;\t|]", line)] for line in lines)
    return any(set(_NEEDED) <= set(head) for head in heads)


def _sort_table(look: FileLook, found: Contents) -> None:
    joined = with_joined_angles(look)
    if joined is not None and _is_register(joined):
        found.registers.append(joined)
        return
    both = joined if joined is not None and _is_export(joined) else FileFound(look, mapped(look))
    look, columns = both.look, both.mapped
    found.tables.append(look)
    rows = any(len(texts) for texts in look.columns.values()) or look.place is not None
    if not rows:
        found.told.append((look.called, "neither", "has no rows"))
    elif (sessions := list_with_positions(look, columns.columns) if columns.kind else session_list(look)) is not None:
        if sessions.wrong:
            found.told.append((look.called, "neither", f"seems to be a list of sessions, but {sessions.wrong}"))
            return
        found.session_lists.append(sessions)
        found.told.append((look.called, "sessions", f"has when which base ran ({sessions.headed})"))
    elif not columns.kind:
        found.told.append((look.called, "neither", no_position(look)))
        found.unplaced.append(look)
        found.half_placed.append(both)
    elif wrong := columns.refused or _no_height(look, columns):
        found.told.append((look.called, "neither", wrong))
        found.refused.append((both, wrong))
    elif _is_export(both):
        found.exports.append(both)
        found.told.append((look.called, "export", f'positions and times ("{_timed(both)}")'))
    elif "name" in columns.columns:
        found.registers.append(both)
    else:
        why = unread_times(look, columns)
        found.told.append((look.called, "neither", "positions without times and names" + (f"; {why}" if why else "")))


def _no_height(look: FileLook, columns: Mapped) -> str:
    """Return what is wrong with the position of a file with times, "" for nothing: most often it lacks its height."""
    if columns.times is None or (wrong := _unreadable(columns)) is None:
        return ""
    return no_height(look, str(wrong), isinstance(wrong, ColumnsMissing) and wrong.missing == ("height",))


def _unreadable(columns: Mapped) -> ValueError | None:
    """Return what is wrong with the position that the columns give, None where nothing is."""
    try:
        position_of(Columns(**columns.columns))
    except ValueError as error:
        return error
    return None


def register_looks(one: FileFound) -> int:
    """Return how much a table looks like a register: by its headings and by its file's name."""
    own = sum(any(rank(word, name) == 0 for name in one.look.names) for word in _OF_REGISTER)
    first = any(rank("mark", name) is not None for name in one.look.names)
    called = any(word in bare(one.look.path.stem) for word in _REGISTER)
    return own + 3 * first + 3 * called
