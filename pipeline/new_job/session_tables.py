"""Finds the sessions table of a folder, the clock of its times, and what in it cannot be read."""

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path

import numpy as np
from msgspec import Struct

from pipeline.arrays import Integers
from pipeline.files.sheet import Sheet, read_sheet
from pipeline.job.job_rules import check_sessions
from pipeline.job.key_values import ZONE
from pipeline.job.time_zones import localised
from pipeline.job.toml_text import quoted
from pipeline.near import listed
from pipeline.new_job.draft import Draft
from pipeline.new_job.folder import KNOWN_BY
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.session_lists import SessionList, free_name
from pipeline.new_job.session_spans import Spans
from pipeline.new_job.zones import clocks_near
from pipeline.problems import Problems
from pipeline.replace import replace
from pipeline.sessions.windows import KNOWN, read_table
from pipeline.words import counted

#: Columns of times of a sessions' table.
_TIMES = ("start", "end", *(f"field_shift_{word}" for word in ("from", "until", "earliest", "latest")))
#: Columns that say no more than when which base ran.
_PLAIN = frozenset(["name", "start", "end", "base"])
#: Faults of a table that are told.
_TOLD = 6


class TableSession(Struct, frozen=True):
    """A session as a table has it; start and end have no offset from UTC where the table gives none.

    ``file`` is the one that has it, where the table is of several, else "".
    """

    name: str
    start: datetime
    end: datetime
    base: str
    line: int
    file: str = ""


class SessionTable(Struct, frozen=True):
    """The table that is taken: its state as ``sessions.file``, None where no run reads it, and as far as it is read.

    ``spans`` are the sessions whose times say their offsets, None for none; ``local`` start and end (n, 2) of those
    that do not, ``shown`` is the file, ``first`` the first time without an offset, "" where all have one. ``notes`` are
    what is to be told of its rows. ``rows`` are its sessions where it says nothing but when which base ran, so that
    they can stand in the job file with their ties: none where it has more, or a fault.
    """

    shown: str
    file: State
    spans: Spans | None
    local: list[tuple[datetime, datetime]]
    first: str
    notes: list[str]
    rows: tuple[TableSession, ...] = ()


def session_table(found: Sequence[tuple[str, Path]], lists: Sequence[SessionList]) -> SessionTable | None:
    """Return the table of sessions of a folder, the first where it has several; None where it has none.

    ``lists`` are those under headings of their own, which are used where there is no other.
    """
    if not found:
        return _of_lists(lists) if lists else None
    shown, path = found[0]
    file: State = Known(quoted(shown))
    if len(found) > 1:
        candidates = tuple(Candidate(quoted(each), "") for each, _ in found)
        asks = (
            "which of these is the sessions table? A job reads one: if it needs the sessions of several, put their rows"
        )
        file = Question("sessions.file", f"{asks} into one file", candidates)
    problems = Problems()
    sheet = read_sheet(path, shown, problems, (*KNOWN_BY, *_TIMES))
    if sheet is not None:
        # with any clock, as one that is not known yet is no fault of the table
        check_sessions(read_table(sheet, {ZONE: "UTC"}, problems), True, problems)
    notes = [str(each) for each in sorted(problems.found)[:_TOLD]]
    if len(problems.found) > _TOLD:
        notes.append(f"{shown}: {counted(len(problems.found) - _TOLD, 'more fault')} like these")
    if sheet is None:
        return SessionTable(shown, file, None, [], "", notes)
    rows = () if notes or len(found) > 1 or not _PLAIN.issuperset(KNOWN.intersection(sheet.columns)) else _rows(sheet)
    if "ties" not in sheet.columns and not rows:
        notes.append(
            f"{shown} has no column ties: add it, with the reading of each session on each mark, such as"
            " CM1-AM=CM1; a session without a tie is held back"
        )
    pairs = [pair for _, cells in sheet.rows if (pair := _pair(cells)) is not None]
    zoned = [pair for pair in pairs if pair[0].tzinfo is not None and pair[1].tzinfo is not None]
    local = [pair for pair in pairs if pair[0].tzinfo is None and pair[1].tzinfo is None]
    return SessionTable(shown, file, _spans(shown, zoned), local, _without_offset(sheet), notes, rows)


def _of_lists(lists: Sequence[SessionList]) -> SessionTable:
    """Return lists that go together as one table, which no run reads."""
    several, taken, rows = len(lists) > 1, set[str](), list[TableSession]()
    for one in lists:
        for name, start, end, base, line in one.rows:
            file = one.shown if several else ""
            rows.append(TableSession(free_name(name, taken), start, end, base, line, file))
    shown = listed([one.shown for one in lists])
    first = next((one.first for one in lists if one.first), "")
    zoned = [(row.start, row.end) for row in rows if row.start.tzinfo is not None]
    local = [(row.start, row.end) for row in rows if row.start.tzinfo is None]
    return SessionTable(shown, None, _spans(shown, zoned), local, first, [], tuple(rows))


def _rows(sheet: Sheet) -> tuple[TableSession, ...]:
    """Return the sessions of a table without a fault; none where some of its times say their offset and some do not."""
    pairs = [(line, cells, pair) for line, cells in sheet.rows if (pair := _pair(cells)) is not None]
    if len({at.tzinfo is None for _, _, pair in pairs for at in pair}) != 1:
        return ()
    return tuple(TableSession(cells["name"], *pair, cells.get("base", ""), line) for line, cells, pair in pairs)


def _moment(text: str) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


def _pair(cells: dict[str, str]) -> tuple[datetime, datetime] | None:
    start, end = _moment(cells.get("start", "")), _moment(cells.get("end", ""))
    return None if start is None or end is None else (start, end)


def _without_offset(sheet: Sheet) -> str:
    """Return the first time that says no offset from UTC, "" where there is none."""
    for _, cells in sheet.rows:
        for column in _TIMES:
            text = cells.get(column, "")
            if (at := _moment(text)) is not None and at.tzinfo is None:
                return text
    return ""


def _spans(shown: str, zoned: Sequence[tuple[datetime, datetime]]) -> Spans | None:
    if not zoned:
        return None
    since, until = ([round(pair[end].timestamp() * 1000) for pair in zoned] for end in (0, 1))
    offsets = dict.fromkeys(f"{pair[0]:%z}" for pair in zoned if pair[0].utcoffset())
    return Spans(shown, since, until, tuple(f"{one[:3]}:{one[3:5]}" for one in offsets))


def ask_clock(draft: Draft, table: SessionTable, place: tuple[float, float] | None, times: Integers) -> None:
    """Ask for the clock of a table whose times do not say it; ``times`` (n,) are the readings', UTC milliseconds.

    It is that of ``source.time_zone``: exports whose clock is known keep it in their own blocks.
    """
    if not table.first:
        return
    state = draft.source.get("time_zone")
    if isinstance(state, Question):  # one clock for both is usual
        also = (
            f"; the times of {table.shown}, such as {quoted(table.first)}, use it too: if they are on another"
            " clock, add their offset to each, such as +13:00"
        )
        draft.source["time_zone"] = replace(state, asks=state.asks + also)
        return
    of_exports = [each for block in draft.blocks if isinstance(each := block.states.get("time_zone"), Known)]
    if isinstance(state, Known):
        of_exports = [state]
        for block in draft.blocks:
            block.states["time_zone"] = state
    else:
        for block in draft.blocks:
            if block.states.get("time_zone") is None and "gps_week" not in block.columns:
                block.states["time_zone"] = Known('"UTC"', "its times say their own offset")
    same = {each.value.strip('"'): "the clock of the exports" for each in of_exports}
    near = clocks_near(*place) if place is not None else []
    whose = same | {one.zone: one.whose for one in near}
    whose |= same | {"UTC": same.get("UTC", "if the table is in UTC")}
    share = {zone: share_inside(table.local, zone, times) for zone in whose}
    ranked = sorted(whose, key=lambda zone: -round(share[zone], 2))  # what is as likely stays in its order
    candidates = tuple(Candidate(quoted(zone), f"{whose[zone]}: {_inside(share[zone])}") for zone in ranked)
    asks = (
        f"which clock are the times of {table.shown} on, as {quoted(table.first)}? they do not state it, and may be on"
        " a different one from the exports"
    )
    draft.source["time_zone"] = Question("source.time_zone", asks, candidates)


def clocks_asked(draft: Draft, place: tuple[float, float] | None) -> list[str]:
    """Return the clocks that the times of a table may be on: that of the exports, those of the place, UTC."""
    state = draft.source.get("time_zone")
    if isinstance(state, Known):
        return [state.value.strip('"')]
    asked = [each.value.strip('"') for each in state.candidates] if isinstance(state, Question) else []
    near = clocks_near(*place) if place is not None else []
    return [*asked, *(one.zone for one in near), "UTC"]


def share_inside(local: Sequence[tuple[datetime, datetime]], zone: str, times: Integers) -> float:
    """Return the share of the readings that lie in a session when a table is read on a clock.

    Args:
        local: start and end of each session on that clock.
        zone: the clock, as a job file names it.
        times: (n,) of the readings, UTC milliseconds.
    """
    inside = np.zeros(len(times), bool)
    for pair in local:
        since, until = (utc_of(at, zone) for at in pair)
        if since is not None and until is not None:
            inside |= (times >= since) & (times < until)
    return float(inside.mean()) if len(times) else 0.0


def utc_of(at: datetime, zone: str) -> int | None:
    """Return a time in UTC milliseconds, one without an offset on a clock; None where it comes twice or never there."""
    try:
        return round((at if at.tzinfo is not None else localised(at, zone)).timestamp() * 1000)
    except ValueError:
        return None


def _inside(share: float) -> str:
    # rounded down: all is all
    return f"{int(100 * share)} % of the readings are then in its sessions"
