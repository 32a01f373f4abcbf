"""The lines of a job file that split a session where its base moved."""

from datetime import UTC, datetime

from pipeline.words import Role
from pipeline.work.prepare import Prepared
from pipeline.work.settle import Settled


def split_lines(prepared: Prepared, settled: Settled, session: int, last_good: int, first_bad: int) -> str:
    """Return the two ``[[session]]`` tables that take the place of one.

    The first ends just after the last occupation that passed, the second starts with the first that failed and is tied
    to it: what lies between belongs to neither, since nobody knows when the base moved, and is held back.

    Args:
        prepared: the job.
        settled: the job as settled.
        session: index of the session.
        last_good: row of the last occupation before the base moved.
        first_bad: row of the first one after it.
    """
    on_marks, given = settled.occupations, prepared.windows[session].session
    names = on_marks.table.column("name").to_pylist()
    rows = [row for row in range(len(on_marks.marks)) if on_marks.session[row] == session]
    end, start = int(on_marks.time[last_good]) + 1, int(on_marks.time[first_bad])
    early = [row for row in rows if on_marks.time[row] < end]
    late = [row for row in rows if on_marks.time[row] >= start]
    # occupations of one mark tie; those of any other prove
    tie = on_marks.marks[first_bad]
    parts = (
        (given.name, int(prepared.windows[session].start_ms), end, early, None),
        (f"{given.name}-2", start, int(prepared.windows[session].end_ms), late, tie),
    )
    lines = [f"# in place of session {given.name}: its base moved"]
    for name, since, until, of, mark in parts:
        ties = [row for row in of if (on_marks.roles[row] is Role.TIE if mark is None else on_marks.marks[row] == mark)]
        checks = [row for row in of if row not in ties]
        lines += ["[[session]]", f"name = {_text(name)}", f"start = {_time(since)}", f"end = {_time(until)}"]
        if given.base is not None:
            lines.append(f"base = {_text(given.base)}")
        for key, chosen in (("ties", ties), ("checks", checks)):
            if chosen:
                pairs = dict.fromkeys((names[row], on_marks.marks[row]) for row in chosen)
                said = ", ".join(f"{{ point = {_text(point)}, mark = {_text(on)} }}" for point, on in pairs)
                lines.append(f"{key} = [{said}]")
        lines.append("")
    return "\n".join(lines)


def _text(value: str | None) -> str:
    escaped = (value or "").replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


def _time(milliseconds: int) -> str:
    moment = datetime.fromtimestamp(milliseconds / 1000, UTC)
    return moment.isoformat(timespec="milliseconds").replace("+00:00", "Z")
