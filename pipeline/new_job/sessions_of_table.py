"""Drafts the sessions that a table gives, with the readings on marks that tie and check each."""

from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Integers
from pipeline.job.toml_text import quoted
from pipeline.letter_case import folded
from pipeline.new_job.draft import Draft, SessionDraft
from pipeline.new_job.occupations import ReadingsAndMarks, occupied
from pipeline.new_job.questions import Known, Question, State
from pipeline.new_job.session_tables import SessionTable, TableSession, clocks_asked, share_inside, utc_of
from pipeline.new_job.sessions import add_session, codes_of_checks, join_by_temporary_marks
from pipeline.new_job.stretches import Stretch
from pipeline.new_job.timed_rows import TimedRows
from pipeline.words import counted, plural

#: Sessions without a reading that are told of one table.
_TOLD = 6
#: The part of the readings that may lie in no session of a list that is used: some were read before a base ran.
_OUTSIDE = 0.2


def fit(draft: Draft, table: SessionTable, rows: TimedRows, place: tuple[float, float] | None) -> SessionTable | None:
    """Return the table, or None where it says less than the readings themselves do, which the draft tells then.

    ``place`` is where the job lies [deg], which tells the clocks that its times may be on.
    """
    why = _unfit(table, rows, clocks_asked(draft, place))
    if not why:
        return table
    told = f"{table.shown} is not used as a table of sessions: {why}. Those below are by what the readings say"
    draft.notes.append(told)
    not_used = ("neither", f"is a list of sessions, but is not used: {why}")
    files = {row.file or table.shown for row in table.rows}
    draft.files[:] = [(one[0], *not_used) if one[0] in files else one for one in draft.files]
    return None


def _unfit(table: SessionTable, rows: TimedRows, clocks: Sequence[str]) -> str:
    """Return in words why a table does not say which session each reading is of, "" where it does.

    ``clocks`` are those that its times may be on.
    """
    if not table.rows or not len(rows):
        return ""
    zone = max(clocks, key=lambda zone: share_inside(table.local, zone, rows.time)) if table.local else "UTC"
    read = _readings_in(table, rows, Known(quoted(zone), ""))
    times = np.zeros(len(rows), np.int64)
    for one, part in read:
        times[part.members] += 1
        ids = sorted({folded(rows.base[at]) for at in part.members.tolist()} - {""})
        if not one.base and len(ids) > 1:
            return f"it has no base for session {one.name}, whose readings are of several"
    if twice := int((times > 1).sum()):
        return f"{counted(twice, 'reading')} {plural(twice, 'lies', 'lie')} in two of its sessions at once"
    outside = int((times == 0).sum())
    if table.file is None and outside > _OUTSIDE * len(rows):
        return (
            f"{counted(outside, 'reading')} of {len(rows):,} {plural(outside, 'lies', 'lie')} in none of its sessions"
        )
    return ""


def _readings_in(table: SessionTable, rows: TimedRows, clock: State) -> list[tuple[TableSession, Stretch]]:
    """Return the sessions of a table that readings lie in, each with them.

    A session has the readings between its start and end whose base id is its own, or that have none.

    Args:
        table: gives the sessions.
        rows: the exports' rows.
        clock: the state of ``source.time_zone``; of a question the answer is taken by which most readings lie in them.
    """
    zone = _zone_now(table, clock, rows.time)
    ids = np.array([folded(base) for base in rows.base], object)
    found = []
    for one in table.rows:
        since, until = (utc_of(at, zone) for at in (one.start, one.end))
        if since is None or until is None:
            continue
        inside = (rows.time >= since) & (rows.time < until)
        if base := folded(one.base):
            inside &= (ids == base) | (ids == "")
        if inside.any():
            members = np.flatnonzero(inside)
            members = members[np.argsort(rows.time[members], kind="stable")]
            found.append((one, Stretch(one.base or _only_base(rows, members), members, since, until)))
    return found


def _only_base(rows: TimedRows, members: Integers) -> str:
    """Return the id of the one base that readings have, "" where they have none or several."""
    called = {folded(rows.base[at]): str(rows.base[at]) for at in members.tolist() if folded(rows.base[at])}
    return next(iter(called.values())) if len(called) == 1 else ""


def _zone_now(table: SessionTable, clock: State, times: Integers) -> str:
    if not isinstance(clock, Question) or not clock.candidates:
        return "UTC" if clock is None or isinstance(clock, Question) else clock.value.strip('"')
    zones = [each.value.strip('"') for each in clock.candidates]
    return max(zones, key=lambda zone: share_inside(table.local, zone, times))


def sessions_of_table(draft: Draft, table: SessionTable, both: ReadingsAndMarks) -> None:
    """Draft the sessions of a table: with ties and checks where it says nothing of these, else by the table's name.

    Nothing is drafted of a list that no run can read and in whose sessions no reading lies. The clock of the table's
    times must be known or asked by now.
    """
    rows = both.rows
    read = _readings_in(table, rows, draft.source.get("time_zone"))
    if not read:
        draft.sessions_file = table.file
        if table.rows:
            none = f"no reading lies in a session of {table.shown}: check its dates, its clock and its base ids"
            if table.file is not None:
                none += ", and add the column ties, with the reading of each session on each mark, such as CM1-AM=CM1"
            draft.notes.append(none)
        return
    found = [(part, occupied(part, both)) for _, part in read]
    join_by_temporary_marks(found, both)
    draft.sessions_as = table.shown
    for (one, part), pair in zip(read, found, strict=True):
        why = f"{one.file or table.shown}:{one.line}, {counted(len(part.members), 'reading')}"
        session = SessionDraft(one.name, one.start, one.end, part.base, why)
        add_session(draft, session, pair, both)
    with_readings = {(one.file, one.line) for one, _ in read}
    empty = [one for one in table.rows if (one.file, one.line) not in with_readings]
    for one in empty[:_TOLD]:
        line = f"{one.file or table.shown}:{one.line}"
        draft.notes.append(f"{line}: no reading lies in session {one.name}, so it is left out")
    if len(empty) > _TOLD:
        draft.notes.append(f"{table.shown}: {counted(len(empty) - _TOLD, 'more session')} like these")
    inside = np.zeros(len(rows), bool)
    for _, part in read:
        inside[part.members] = True
    if outside := int((~inside).sum()):
        lie = plural(outside, "lies", "lie")
        draft.notes.append(
            f"{counted(outside, 'reading')} {lie} in no session of {table.shown} and would be held back: correct start,"
            " end or base of the sessions if they belong to one"
        )
    draft.codes = codes_of_checks(rows, {at for _, each in found for at, _ in each.every})
