"""The occupations that sessions name: each tie and check found among the readings, or a problem that says why not."""

import difflib
from dataclasses import dataclass

import pyarrow as pa

from pipeline.attach import TWO, base_key
from pipeline.problems import Problems
from pipeline.words import REASONS, Reason, Role, reason_code
from pipeline.work.gather import Gathered
from pipeline.work.prepare import Prepared
from pipeline.work.sift import clock, right_id

#: What is told of a reading that is not where a session says.
_OF_ROW = ("name", "session", "held", "time", "source_row", "export", "base")


@dataclass(frozen=True)
class Named:
    """What a session says of one of its points: which mark it stands on, and what it is used for."""

    mark: str
    role: Role


def named_points(prepared: Prepared) -> dict[tuple[int, str], Named]:
    """Return, by session index and point name, what the job file says of the point."""
    found = {}
    for window in prepared.windows:
        for occupation in window.session.checks:
            found[window.index, occupation.point] = Named(occupation.mark, Role.CHECK)
        for occupation in window.session.ties:
            found[window.index, occupation.point] = Named(occupation.mark, Role.TIE)
    return found


def named_by_themselves(prepared: Prepared, gathered: Gathered) -> bool:
    """Tell whether readings are meant for marks by their code, ``mark`` column or name alone."""
    said = named_points(prepared)
    table = gathered.candidates.select(["session", "name", "held"])
    rows = zip(*(table.column(name).to_pylist() for name in table.column_names), strict=True)
    return any(not held and session >= 0 and (session, name or "") not in said for session, name, held in rows)


def report_missing(prepared: Prepared, gathered: Gathered, problems: Problems) -> None:
    """Report every tie and check whose point is not a usable reading of its session.

    A check that is merely held back (a float solution, say) is no problem: it proves nothing, and stands in
    ``held_back`` with its reason. A tie that is held back would leave the session untied, so it is one.
    """
    by_name: dict[str, list[dict[str, object]]] = {}
    for row in gathered.candidates.select(list(_OF_ROW)).to_pylist():
        by_name.setdefault(row["name"] or "", []).append(row)
    for window in prepared.windows:
        uses = [(tie.point, Role.TIE, window.where_tie(number)) for number, tie in enumerate(window.session.ties)]
        uses += [(c.point, Role.CHECK, window.where_check(number)) for number, c in enumerate(window.session.checks)]
        for point, role, where in uses:
            rows = by_name.get(point, [])
            here = [row for row in rows if row["session"] == window.index]
            if any(not row["held"] for row in here) or (here and role is Role.CHECK):
                continue
            if _follows(prepared, here or rows):
                continue
            what, fix = _why(point, window.index, here or rows, by_name, prepared)
            problems.add(*where, f"{role} of session {window.session.name} on the point {what}", fix)


def _follows(prepared: Prepared, rows: list[dict[str, object]]) -> bool:
    """Tell whether a point may be missing only because of a fault that is told already."""
    if not rows:
        return not prepared.exports
    outside = {reason_code(Reason.TWO_SESSIONS), reason_code(Reason.OUTSIDE_SESSIONS)}
    return "sessions" in prepared.faulty and all(row["held"] in outside or row["session"] == -1 for row in rows)


def _files_missing(prepared: Prepared) -> bool:
    return not prepared.faulty.isdisjoint({"exports", "frames"})


def _why(
    point: str,
    session: int,
    rows: list[dict[str, object]],
    by_name: dict[str, list[dict[str, object]]],
    prepared: Prepared,
) -> tuple[str, str]:
    if not rows:
        names = [name for name, found in by_name.items() if any(row["session"] == session for row in found)]
        near = difflib.get_close_matches(point, names, 3)
        fix = f"did you mean {' or '.join(near)}?" if near else "see the names in the session's exports"
        read = "no reading of the files that could be read" if _files_missing(prepared) else "no reading"
        return f'"{point}", but {read} has that name', fix
    row = rows[0]
    export = prepared.exports[int(str(row["export"]))]
    at = f'"{point}" ({export.shown}:{row["source_row"]})'
    if row["session"] == session:
        reason = REASONS[int(str(row["held"])) - 1]
        return f"{at}, which is held back as {reason}", "tie on a point that is not held back, or accept its solution"
    time = row["time"]
    if time is None:
        return f"{at}, which has no readable time", "see the row's time and the block's time_format"
    when = int(pa.scalar(time, pa.timestamp("ms", tz="UTC")).value)
    seen = clock(when)
    number, base = int(str(row["session"])), str(row["base"] or "").strip()
    if number == TWO:
        column = export.points.columns.base
        mapped = "map the column 'base'" if column is None else f"fill in its column {column}"
        fix = f"give the row its base id ({mapped}), or end one session where the other begins"
        return f"{at}, observed {seen} UTC with no base id, when several sessions ran", fix
    window = prepared.windows[session]
    if base_key(base) is not None and base_key(window.base) not in (None, base_key(base)):
        covering = [other for other in prepared.windows if other.start_ms <= when < other.end_ms]
        if window in covering:
            own = f", which makes it one of session {prepared.windows[number].session.name}" if number >= 0 else ""
            has = f"session {window.session.name} has {window.base}"
            what = f"{at}, observed {seen} UTC with base id {base}{own}; {has}"
            return what, right_id(base, [window], prepared.windows)
    where = f"in session {prepared.windows[number].session.name}" if number >= 0 else "outside its sessions"
    return f"{at}, observed {seen} UTC, {where}", "see the session's start and end, and the export's time_zone"
