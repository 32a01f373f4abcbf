"""The sessions of a job as windows in time, from its ``[[session]]`` tables or the file that ``[sessions]`` names.

It is a spreadsheet, or a CSV in UTF-8 with ``,`` or ``;`` between cells (with ``;`` a decimal comma is read too), or as
``[sessions]`` says. Its columns are the job file's keys; a key inside a table has the table's name before it:

    name, start, end, base, ties, checks, shift, epoch,
    shift_east, shift_north, shift_up, shift_sigma_horizontal, shift_sigma_vertical,
    setup_mark, setup_longitude, setup_latitude, setup_ellipsoid_height, setup_antenna_height, setup_epoch,
    setup_sigma_east, setup_sigma_north, setup_sigma_up, setup_cov_en, setup_cov_eu, setup_cov_nu,
    field_shift_from, field_shift_until, field_shift_earliest, field_shift_latest, field_shift_tie, field_shift_mark,
    field_shift_easting, field_shift_northing, field_shift_height, field_shift_longitude, field_shift_latitude,
    field_shift_ellipsoid_height, field_shift_east, field_shift_north, field_shift_up, field_shift_base,
    field_shift_files, field_shift_model

Only name, start and end are needed; an empty cell is a key left out. Other columns, such as remarks, are ignored unless
they are called nearly like these or have one of their words. Times are ISO 8601 with their offset from UTC, or on the
clock of ``[source] time_zone`` without. A list of occupations is written point=mark, separated by ``;`` (then in quotes
where it separates the cells too) or by ``|``: ``CM2-AM=CM2; CM2-PM=CM2``, or by one name where point and mark share
it. ``shift`` is derive or none, and empty where ``shift_east`` and the rest give it. Checks that were noted in the
field need tables: no cell holds them.
"""

import re
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from functools import partial
from typing import Any

from msgspec import Struct
from pydantic import ValidationError

from pipeline.files.odd_text import look_of_time, why_no_number
from pipeline.files.sheet import Sheet, read_sheet
from pipeline.files.written_table import Written
from pipeline.job.error_messages import explain, key_path
from pipeline.job.job_rules import check_sessions, too_many
from pipeline.job.key_lines import Key, KeyPath, Where
from pipeline.job.load import LoadedJob
from pipeline.job.model import TYPED, Session
from pipeline.job.sound_sections import clock_of
from pipeline.limits import SESSIONS
from pipeline.near import listed, nearest
from pipeline.problems import Problems
from pipeline.sessions.attach import base_key

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MILLISECOND = timedelta(milliseconds=1)


class SessionWindow(Struct, frozen=True):
    """One session as the half-open interval [start_ms, end_ms), in milliseconds UTC since 1970.

    ``index`` is its position in the tuple that `load_sessions` returns; ``base`` is the base id, stripped, or None;
    ``where`` is the file and line that it comes from.
    """

    index: int
    session: Session
    start_ms: int
    end_ms: int
    base: str | None
    where: tuple[str, int]
    tie_lines: tuple[int, ...] = ()
    check_lines: tuple[int, ...] = ()
    field_lines: tuple[int, ...] = ()
    noted_lines: tuple[int, ...] = ()

    def where_tie(self, position: int) -> tuple[str, int]:
        """Return the file and line of the tie at ``position``."""
        return self.where[0], self.tie_lines[position]

    def where_check(self, position: int) -> tuple[str, int]:
        """Return the file and line of the check at ``position``."""
        return self.where[0], self.check_lines[position]

    def where_field_shift(self, position: int) -> tuple[str, int]:
        """Return the file and line of the field shift at ``position``."""
        return self.where[0], self.field_lines[position]

    def where_noted(self, position: int) -> tuple[str, int]:
        """Return the file and line of the noted check at ``position``."""
        return self.where[0], self.noted_lines[position]


def load_sessions(loaded: LoadedJob, problems: Problems) -> tuple[SessionWindow, ...]:
    """Return the job's sessions, sorted by start and then by name.

    What is wrong with a CSV of sessions, and every overlap of two sessions that base ids do not part, is added to
    ``problems``; the windows returned are then those that could be read.
    """
    if loaded.job.sessions is not None:
        file = loaded.job.sessions.file
        if not file.is_file():
            return ()  # the job file's problem
        table, clock = loaded.job.sessions, clock_of(loaded.job.source.model_dump())
        how = Written(table.delimiter, table.decimal, table.encoding, layer=table.layer)
        sheet = read_sheet(file, loaded.show(file), problems, _COLUMNS, how)
        sessions = read_table(sheet, clock, problems) if sheet is not None else []
        check_sessions(sessions, loaded.job.control is not None, problems)
    else:
        sessions = [(each, partial(loaded.where, "session", index)) for index, each in enumerate(loaded.job.session)]
    ordered = sorted(sessions, key=lambda pair: (pair[0].start, pair[0].name))
    windows = tuple(_window(index, session, where) for index, (session, where) in enumerate(ordered))
    _check_overlaps(windows, problems)
    return windows


def _window(index: int, session: Session, where: Where) -> SessionWindow:
    return SessionWindow(
        index=index,
        session=session,
        start_ms=_milliseconds(session.start),
        end_ms=_milliseconds(session.end),
        base=(session.base or "").strip() or None,
        where=where(),
        tie_lines=tuple(where("ties", position)[1] for position in range(len(session.ties))),
        check_lines=tuple(where("checks", position)[1] for position in range(len(session.checks))),
        field_lines=tuple(where(*session.place_of_field_shift(n))[1] for n in range(len(session.field_shifts))),
        noted_lines=tuple(where("noted", position)[1] for position in range(len(session.noted))),
    )


def _milliseconds(moment: datetime) -> int:
    """Return the first whole millisecond since 1970 that is not before ``moment``, which keeps [start, end) exact."""
    return -((_EPOCH - moment) // _MILLISECOND)


def _check_overlaps(windows: tuple[SessionWindow, ...], problems: Problems) -> None:
    """Note each session that begins while another one runs from which its base does not tell it apart.

    Of several such the one that ends last is told, so that many sessions over one time are not as many squared.
    """
    latest: dict[str | None, SessionWindow] = {}  # by base, and None for those without
    last: SessionWindow | None = None
    for window in windows:
        if window.end_ms > window.start_ms:
            base = base_key(window.base)
            before = [last] if base is None else [latest.get(None), latest.get(base)]
            for earlier in before:
                if earlier is not None and earlier.end_ms > window.start_ms:
                    _note_overlap(earlier, window, problems)
            latest[base] = _later(latest.get(base), window)
            last = _later(last, window)


def _later(one: SessionWindow | None, other: SessionWindow) -> SessionWindow:
    return other if one is None or other.end_ms > one.end_ms else one


def _note_overlap(earlier: SessionWindow, later: SessionWindow, problems: Problems) -> None:
    until = min(earlier.session.end, later.session.end)
    file, line = earlier.where
    bases = "neither states its base" if earlier.base is None and later.base is None else "one does not state its base"
    if earlier.base is not None and later.base is not None:
        bases = f"both have the base '{later.base}'"
    problems.add(
        *later.where,
        f"session '{later.session.name}' overlaps session '{earlier.session.name}' ({file}:{line}) "
        f"from {later.session.start.isoformat()} to {until.isoformat()}, and {bases}",
        "end the one where the other begins, or give each its own base id",
    )


def read_table(sheet: Sheet, clock: dict[str, str | None], problems: Problems) -> list[tuple[Session, Where]]:
    """Return the sessions of a table with where each stands; what is wrong with a row is added to ``problems``.

    ``clock`` is the context that `clock_of` returns: the clock of times without an offset from UTC.
    """
    return list(_read_rows(sheet, clock, problems))


def _read_rows(sheet: Sheet, clock: dict[str, str | None], problems: Problems) -> Iterator[tuple[Session, Where]]:
    if len(sheet.rows) > SESSIONS:
        problems.add(sheet.shown, 0, *too_many(len(sheet.rows), "session", SESSIONS))
        return
    _check_columns(sheet, problems)
    for line, cells in sheet.rows:
        session = _read_row(sheet, line, cells, clock, problems)
        if session is not None:
            yield session, partial(_at, sheet.shown, line)
    if not sheet.rows:
        problems.add(sheet.shown, sheet.header, "there is no session in this table", "write a row per base session")


def _at(shown: str, line: int, *_: Key) -> tuple[str, int]:
    return shown, line


def _check_columns(sheet: Sheet, problems: Problems) -> None:
    for column in sheet.columns:
        if column == "noted":
            fix = "state such sessions as [[session]] with [[session.noted]]; rename a column of remarks"
            problems.add(sheet.shown, sheet.header, "a table of sessions cannot hold noted checks", fix)
        elif column and column not in _COLUMNS:
            near = nearest(column, _COLUMNS, 1) or _alike(column)
            if near:
                fix = f"the nearest known column is '{near[0]}'; if it is none of them, give it another name"
                problems.add(sheet.shown, sheet.header, f"unknown column: '{column}'", fix)
    for column in ("name", "start", "end"):
        if column not in sheet.columns:
            near = nearest(column, sheet.columns, 1)
            is_it = f"is it '{near[0]}'?" if near else f"the columns are {listed(sheet.columns)}"
            problems.add(sheet.shown, sheet.header, f"the column '{column}' is missing", is_it)


def _alike(column: str) -> list[str]:
    """Return the columns that share most words with a name: what seems to say something of a session is not ignored."""
    words = {word.removesuffix("s") for word in re.findall("[a-z]+", column)}
    shared = {known: len(words & {part.removesuffix("s") for part in known.split("_")}) for known in _COLUMNS}
    return [known for known, count in shared.items() if count and count == max(shared.values())][:1]


def _read_row(
    sheet: Sheet, line: int, cells: dict[str, str], clock: dict[str, str | None], problems: Problems
) -> Session | None:
    told, unread = _told(sheet, line, cells, problems)
    try:
        session = Session.model_validate(told, context=clock)
    except ValidationError as error:
        for each in error.errors(include_url=False):
            path = key_path(each)
            known = not path or path[0] not in ("name", "start", "end") or path[0] in sheet.columns
            if path in unread or not known:
                continue
            if each["type"] == "missing":
                problems.add(sheet.shown, line, f"{_column(path)} is empty in this row")
            else:
                wrong = explain(each, Session, _column)
                problems.add(sheet.shown, line, wrong.what, wrong.fix)
        return None
    return None if unread else session


def _told(sheet: Sheet, line: int, cells: dict[str, str], problems: Problems) -> tuple[dict[str, Any], set[KeyPath]]:
    """Return a row as the keys of a ``[[session]]`` table, and the paths of those whose cells could not be read."""
    told: dict[str, Any] = {}
    unread: set[KeyPath] = set()
    for column, (path, read) in _COLUMNS.items():
        text = cells.get(column, "")
        if not text:
            continue
        table = told
        for key in path[:-1]:
            if not isinstance(table.setdefault(key, {}), dict):
                problems.add(
                    sheet.shown, line, f"'{column}' is given, but the column '{key}' has '{table[key]}'", "keep one"
                )
                return told, unread | {path}
            table = table[key]
        try:
            table[path[-1]] = read(text, sheet)
        except ValueError as error:
            problems.add(sheet.shown, line, f"the column '{column}' holds '{text}': {error}")
            unread.add(path)
    return told, unread


def _column(path: KeyPath) -> str:
    """Return what a path of keys is called in the table: its column, and the number of the item in a list."""
    keys = [key for key in path if isinstance(key, str)]
    items = [key + 1 for key in path if isinstance(key, int)]
    if items:
        return f"'{keys[-1]}' of number {items[0]} in the column '{keys[0]}'"
    return f"the column '{'_'.join(keys)}'"


def _as_text(text: str, _: Sheet) -> str:
    return text


def _as_number(text: str, sheet: Sheet) -> float:
    value = sheet.number(text)
    if value is None:
        raise ValueError(f"that {why_no_number(text)}")
    return value


def _as_moment(text: str, _: Sheet) -> datetime:
    try:
        found = datetime.fromisoformat(text)
        if re.fullmatch(r"[0-9W-]+", text):  # a date alone would be its midnight
            raise ValueError
        return found
    except ValueError:
        look = look_of_time(text)
        seems = f", it {look.seems}" if look.seems and not look.by_key else ""
        raise ValueError(f"that is not a time such as 2026-03-02T07:30:00+13:00{seems}") from None


def _as_occupations(text: str, _: Sheet) -> list[dict[str, str]]:
    found = []
    for item in text.replace("|", ";").split(";"):
        if not item.strip():
            continue
        point, sign, mark = (part.strip() for part in item.partition("="))
        if not point or (sign and not mark) or "=" in mark:
            raise ValueError("occupations are written point=mark; point=mark, or as one name where both are the same")
        found.append({"point": point, "mark": mark or point})
    return found


def _as_files(text: str, _: Sheet) -> list[str]:
    return [part.strip() for part in text.replace("|", ";").split(";") if part.strip()]


_Read = Callable[[str, Sheet], object]
_OF_POSITION = ("sigma_east", "sigma_north", "sigma_up", "cov_en", "cov_eu", "cov_nu")
_NUMBERS = {
    "shift": ("east", "north", "up", "sigma_horizontal", "sigma_vertical"),
    "setup": ("longitude", "latitude", "ellipsoid_height", "antenna_height", "epoch", *_OF_POSITION),
    "field_shift": ("east", "north", "up", *TYPED[0], *TYPED[1]),
}

#: Column -> the path of its key in a ``[[session]]`` table, and how its cell is read.
_COLUMNS: dict[str, tuple[tuple[str, ...], _Read]] = {
    "name": (("name",), _as_text),
    "start": (("start",), _as_moment),
    "end": (("end",), _as_moment),
    "base": (("base",), _as_text),
    "ties": (("ties",), _as_occupations),
    "checks": (("checks",), _as_occupations),
    "shift": (("shift",), _as_text),
    "epoch": (("epoch",), _as_number),
    "setup_mark": (("setup", "mark"), _as_text),
    "field_shift_from": (("field_shift", "from"), _as_moment),
    **{f"field_shift_{key}": (("field_shift", key), _as_moment) for key in ("until", "earliest", "latest")},
    "field_shift_files": (("field_shift", "files"), _as_files),
    **{f"field_shift_{key}": (("field_shift", key), _as_text) for key in ("tie", "mark", "base", "model")},
    **{f"{table}_{key}": ((table, key), _as_number) for table, keys in _NUMBERS.items() for key in keys},
}

#: The columns that say something of a session.
KNOWN = frozenset(_COLUMNS)
