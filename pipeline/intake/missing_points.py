"""Reports named ties and checks, and ties of field shifts, that are no usable reading of their session, and why."""

from collections.abc import Iterator

import pyarrow.compute as pc

from pipeline.clock import DAY, stamp
from pipeline.intake.candidate_rows import CandidateRow, detail_of, milliseconds_of, reason_of
from pipeline.intake.field_windows import FieldWindow
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.looked_for import Absent, LookedFor
from pipeline.intake.prepare import Prepared
from pipeline.intake.sort import right_id
from pipeline.intake.unusable import advice
from pipeline.near import and_more, listed, nearest
from pipeline.problems import Problems
from pipeline.sessions.attach import TWO, base_key
from pipeline.sessions.windows import SessionWindow
from pipeline.words import Reason, Role, plural, reason_code

_OTHER_TIE = "correct the row in the export, check the limits of [quality], or tie on another occupation"


def report_missing(prepared: Prepared, first_pass: FirstPass, problems: Problems) -> None:
    """Report every tie and check whose point is not a usable reading of its session.

    A check that is merely held back (a float solution, say) is no problem: it proves nothing, and stands in
    ``held_back`` with its reason. A tie that is held back would leave the session untied, so it is one.
    """
    looked = LookedFor.of(prepared, first_pass)
    _report_gone(looked, problems)
    for window in prepared.windows:
        if window.end_ms <= window.start_ms:
            continue  # told of its times, in which no reading lies
        for point, role, where in _uses(window):
            missing = _missing(looked, first_pass, window.index, point, role)
            if missing is not None:
                what, fix = missing
                problems.add(*where, f"{role} of session {window.session.name} on the point {what}", fix)
    _report_field_shifts(looked, first_pass, problems)
    for file in looked.closed if looked.missing else ():
        problems.extend(file.shown, f"ties and checks could not be looked for in it: {listed(looked.missing)}")


def _report_gone(looked: LookedFor, problems: Problems) -> None:
    """Report the exports that are gone since the last issue, with the ties and checks that are missing with them."""
    gone, lost = looked.prepared.gone, dict[str, list[str]]()
    whole = True
    for window in looked.prepared.windows if gone is not None else ():
        points = list(dict.fromkeys(point for point, _, _ in _uses(window)))
        if mine := [point for point in points if looked.is_gone(point)]:
            lost[window.session.name] = mine
            whole = whole and mine == points
    if gone is None or not lost:
        return
    sessions = f"{plural(len(lost), 'session', 'sessions')} {listed(lost)}"
    named = listed(point for mine in lost.values() for point in mine)
    what = f"issue {gone.issue:03d} read this file, and it is no longer there: no other file has {named} of {sessions}"
    fix = f"put it back, or take {sessions if whole else 'these ties and checks'} out of the job file"
    for file in gone.files:
        problems.add(file, 0, what, fix)


def _uses(window: SessionWindow) -> Iterator[tuple[str, Role, tuple[str, int]]]:
    """Yield the points that a session names: what each is used for, and where the job says so."""
    for number, tie in enumerate(window.session.ties):
        yield tie.point, Role.TIE, window.where_tie(number)
    for number, check in enumerate(window.session.checks):
        yield check.point, Role.CHECK, window.where_check(number)


def _missing(looked: LookedFor, first_pass: FirstPass, session: int, point: str, role: Role) -> tuple[str, str] | None:
    """Return why a point is no usable reading of its session, and what to do; None where it is, or nothing is to do."""
    rows, here = looked.rows(point, session)
    if any(not row["held"] for row in here) or (here and role is Role.CHECK):
        return None
    if _follows(looked, point, here or rows):
        return None
    what, fix = _why(looked, point, session, here or rows)
    if here and here[0]["held"] == reason_code(Reason.IMPLAUSIBLE) and not here[0]["detail"]:
        return f"{what}: {first_pass.implausible.detail(int(str(here[0]['number'])))}", _OTHER_TIE
    cut = "" if _told_as_broken(looked, point, here or rows) else _cut_off(looked.prepared, first_pass, here or rows)
    return (f"{what}; {cut}", f"export or copy that file again; where it is whole: {fix}") if cut else (what, fix)


def _told_as_broken(looked: LookedFor, point: str, rows: list[CandidateRow]) -> bool:
    """Tell whether it is said already that a point's row cannot be read, and how it is cut off if it is."""
    if rows:
        return bool(rows[0]["held"] == reason_code(Reason.UNREADABLE))
    return point in looked.absent and bool(looked.absent[point].broken)


def _cut_off(prepared: Prepared, first_pass: FirstPass, rows: list[CandidateRow]) -> str:
    """Return which file seems to end within the first of a point's rows, or which do where it has none; else ""."""
    at = (int(str(rows[0]["export"])), rows[0]["source_row"]) if rows else None
    cut = [(number, row) for number, row in sorted(first_pass.cut_off.items()) if at in (None, (number, row.line))]
    if not cut:
        return ""
    number, row = cut[0]
    return row.told(prepared.exports[number].shown) + and_more(len(cut) - 1)


def _report_field_shifts(looked: LookedFor, first_pass: FirstPass, problems: Problems) -> None:
    """Report every field shift whose tie was not read raw before it, and every one of a base that nothing carries."""
    prepared = looked.prepared
    if not prepared.field_windows:
        return
    sound = first_pass.candidates.filter(pc.equal(first_pass.candidates.column("held"), 0))
    bases = {key: text for log in reversed(first_pass.files) for key, text in log.ids.items()}
    for one in prepared.field_windows:
        says, tie = f"field shift of session {one.name}", one.stated.tie
        if one.base not in (None, one.own_base, *bases) and not _files_missing(prepared):
            there = (
                f"the base ids of the exports are {listed(sorted(bases.values()))}"
                if bases
                else "no export has a base id"
            )
            problems.add(*one.where, f"{says} is for base {one.stated.base}, which no reading has", there)
        if tie is None or one.tie_row(sound) is not None:
            continue
        rows, here = looked.rows(tie, one.session)
        usable = [row for row in rows if not row["held"]]
        if usable:
            what, fix = _not_raw(prepared, one, tie, usable)
        elif _follows(looked, tie, here or rows):
            continue
        else:
            what, fix = _why(looked, tie, one.session, here or rows)
        problems.add(*one.where, f"{says} refers to the tie {what}", fix)


def _not_raw(prepared: Prepared, one: FieldWindow, tie: str, usable: list[CandidateRow]) -> tuple[str, str]:
    """Return why none of the usable readings of a field shift's tie was read raw before it, and what to do."""
    row = next((row for row in usable if row["session"] == one.session), usable[0])
    export, when = prepared.exports[int(str(row["export"]))].shown, stamp(milliseconds_of(row["time"]))
    applied = "when the shift was applied already" if row["session"] == one.session else "in a later session"
    what = f'"{tie}" ({export}:{row["source_row"]}), observed {when} UTC, {applied}'
    return (
        what,
        f"the field shift needs a raw reading of the tie, taken before it began at {stamp(one.start)} UTC: check"
        " `from`, or name that reading",
    )


def _advice(row: CandidateRow, prepared: Prepared) -> str:
    solution = [str(row["solution"])] if row["solution"] else []
    return advice(reason_of(row), prepared, int(str(row["export"])), solution)


def _follows(looked: LookedFor, point: str, rows: list[CandidateRow]) -> bool:
    """Tell whether a point may be missing only because of a fault that is told already."""
    prepared = looked.prepared
    if not rows and looked.is_gone(point):
        return True
    if not rows:
        return point in looked.unused or not (prepared.exports or (prepared.unused and not looked.closed))
    outside = {reason_code(Reason.TWO_SESSIONS), reason_code(Reason.OUTSIDE_SESSIONS)}
    return "sessions" in prepared.faulty and all(row["held"] in outside or row["session"] == -1 for row in rows)


def _files_missing(prepared: Prepared) -> bool:
    return not prepared.faulty.isdisjoint({"exports", "frames"})


def _why_absent(looked: LookedFor, point: str, session: int) -> tuple[str, str]:
    """Return that no reading has a point's name, with names that are near it, and what to do."""
    names, missed = looked.occupied.get(session, {}), looked.absent.get(point, Absent())
    near = nearest(point, missed.near)
    there = f"the session's occupations are {listed(names)}" if names else "the session has no occupation by name"
    if not names and looked.prepared.unused:
        there = "check how the exports spell it"
    fix = f"did you mean {' or '.join(near)}? {there}" if near else there
    if missed.broken:
        what = f'"{point}", but the row that may be it cannot be split into cells, {missed.broken}'
        return what, "correct that row"
    read = "no reading of the files that could be read" if _files_missing(looked.prepared) else "no reading"
    return f'"{point}", but {read} has that name', fix


def _why(looked: LookedFor, point: str, session: int, rows: list[CandidateRow]) -> tuple[str, str]:
    """Return why readings of a point's name, which may be none, are no occupation of a session, and what to do."""
    prepared = looked.prepared
    if not rows:
        return _why_absent(looked, point, session)
    row = rows[0]
    export = prepared.exports[int(str(row["export"]))]
    at = f'"{point}" ({export.shown}:{row["source_row"]})'
    if row["session"] == session:
        return f"{at}, which is held back as {reason_of(row)}{detail_of(row)}", _advice(row, prepared)
    time = row["time"]
    if time is None:
        return f"{at}, which has no readable time{detail_of(row)}", _advice(row, prepared)
    when = milliseconds_of(time)
    seen = stamp(when)
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
    fix = "check the session's start and end, and the export's time_zone"
    if number < 0 and window.start_ms <= when + DAY < window.end_ms:
        fix += "; one day later it is in the session: check whether the export's date stays the same past midnight"
    return f"{at}, observed {seen} UTC, {where}", fix
