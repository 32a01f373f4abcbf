"""Finds each named tie and check among the readings, or reports why it cannot be used."""

import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.clock import DAY, stamp
from pipeline.intake.field_windows import FieldWindow
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.prepare import Prepared
from pipeline.intake.sort import right_id
from pipeline.intake.unusable import advice
from pipeline.letter_case import folded
from pipeline.limits import HINTS
from pipeline.near import BETWEEN, and_more, listed, nearest
from pipeline.occupations.signs import Wanted
from pipeline.problems import Problems
from pipeline.read.exports import read_batches
from pipeline.read.findings import Unusable
from pipeline.read.point_names import UnusedFile, names_in
from pipeline.sessions.attach import TWO, base_key
from pipeline.sessions.windows import SessionWindow
from pipeline.tables import folded_column
from pipeline.words import REASONS, Reason, Role, counted, plural, reason_code

#: Names that differ in length by more than this are not near each other.
_LENGTHS = 2

_TOLD = ["name", "session", "held", "detail", "time", "source_row", "export", "solution", "number", "base"]

#: Names that are looked at closely for one that is missing, of each batch of readings.
_CLOSELY = 64

#: Readings that a sentence lists.
_LISTED = 3
_OTHER_TIE = "correct the row in the export, check the limits of [quality], or tie on another occupation"


class Named(Struct, frozen=True):
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


class _Absent(Struct):
    """A point that no reading is called like: the names nearest to it, and a row that may be it but is broken."""

    near: dict[str, None] = field(default_factory=dict)
    broken: str = ""


def _look_again(prepared: Prepared, points: Collection[str]) -> dict[str, _Absent]:
    """Look in the exports for points that no reading is called like, which only a job with such a mistake costs."""
    found = {point: _Absent() for point in points}
    for export in prepared.exports if points else ():
        for batch in read_batches(export):
            _note_near(found, pc.unique(batch.column("name")).drop_null())
            faults = batch.filter(pc.is_null(batch.column("name"))).select(["detail", "source_row"])
            for point, absent in found.items():
                for row in faults.filter(pc.match_substring(faults.column("detail"), f'"{point}'))[:1].to_pylist():
                    absent.broken = absent.broken or f"{export.shown}:{row['source_row']}: {row['detail']}"
    return found


def _note_near(found: dict[str, _Absent], names: pa.Array) -> None:
    """Note which of some names are near to points that no reading is called like."""
    length = pc.utf8_length(names)
    for point, absent in found.items():
        alike = pc.less_equal(pc.abs(pc.subtract(length, len(point))), _LENGTHS)
        absent.near |= dict.fromkeys(nearest(point, _likeliest(point, names.filter(alike))))


def _look_in_unused(
    files: Iterable[UnusedFile], missing: Collection[str], found: dict[str, _Absent]
) -> tuple[set[str], list[UnusedFile]]:
    """Look for points in files that have problems; return those that are there, and the files of which nobody can say.

    Names near to those that are ``found`` to be absent are noted there.
    """
    wanted, there, closed = pa.array(missing, pa.string()), set[str](), list[UnusedFile]()
    for file in files if missing else ():
        try:
            for names in names_in(file):
                there.update(wanted.filter(pc.is_in(wanted, names)).to_pylist())
                _note_near(found, names)
        except Unusable:
            closed.append(file)
    return there, closed


def _likeliest(point: str, names: pa.Array) -> list[str]:
    """Return the names that share most signs with a point's: to look closely at a million takes seconds for each."""
    if len(names) <= _CLOSELY:
        return list(names.to_pylist())
    bare, signs = pc.replace_substring_regex(folded_column(names), BETWEEN, ""), re.sub(BETWEEN, "", folded(point))
    shared = sum(np.minimum(pc.count_substring(bare, sign), many) for sign, many in Counter(signs).items())
    share = shared / (len(signs) + np.asarray(pc.utf8_length(bare)))
    return list(names.take(pa.array(np.argsort(-share, kind="stable")[:_CLOSELY])).to_pylist())


#: What is told of a reading that may be an occupation, by column.
_Row = dict[str, object]


class _Looked(Struct, frozen=True):
    """What the exports have of the points that a job names.

    Args:
        prepared: the job.
        by_name: the readings that may be occupations, by name.
        occupied: per index of a session the names of its readings, each once and in their order.
        absent: what is found of points that no reading is called like.
        unused: those of them that a file has which cannot be used.
        missing: those of which nobody can say, for there are ``closed`` files, whose names cannot be read.
    """

    prepared: Prepared
    by_name: dict[str, list[_Row]]
    occupied: dict[int, dict[str, None]]
    absent: dict[str, _Absent]
    unused: set[str]
    missing: list[str]
    closed: list[UnusedFile]

    @classmethod
    def of(cls, prepared: Prepared, first_pass: FirstPass) -> "_Looked":
        by_name: dict[str, list[_Row]] = {}
        occupied: dict[int, dict[str, None]] = {}
        for row in first_pass.candidates.select(_TOLD).to_pylist():
            by_name.setdefault(row["name"] or "", []).append(row)
        for name, rows in by_name.items():
            for row in (row for row in rows if row["number"] not in first_pass.few.numbers):
                occupied.setdefault(int(str(row["session"])), {})[name] = None
        named = [one.point for w in prepared.windows for one in (*w.session.ties, *w.session.checks)]
        named += [one.stated.tie for one in prepared.field_windows if one.stated.tie is not None]
        missing = list(dict.fromkeys(point for point in named if point not in by_name))
        absent = _look_again(prepared, missing[:HINTS])
        there, closed = _look_in_unused(prepared.unused, missing, absent)
        missing = [point for point in missing if point not in there]
        return cls(prepared, by_name, occupied, absent, there, missing, closed)

    def rows(self, point: str, session: int) -> tuple[list[_Row], list[_Row]]:
        """Return the readings that are called like a point, and those of them that are of a session."""
        rows = self.by_name.get(point, [])
        return rows, [row for row in rows if row["session"] == session]

    def is_gone(self, point: str) -> bool:
        """Tell whether a point was an occupation when exports that are gone were there, and nothing else may be it."""
        gone, absent = self.prepared.gone, self.absent.get(point, _Absent())
        return (
            gone is not None
            and point in gone.occupations
            and point in self.missing
            and not (nearest(point, absent.near) or absent.broken)
        )


def report_missing(prepared: Prepared, first_pass: FirstPass, problems: Problems) -> None:
    """Report every tie and check whose point is not a usable reading of its session.

    A check that is merely held back (a float solution, say) is no problem: it proves nothing, and stands in
    ``held_back`` with its reason. A tie that is held back would leave the session untied, so it is one.
    """
    looked = _Looked.of(prepared, first_pass)
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


def _report_gone(looked: _Looked, problems: Problems) -> None:
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


def _missing(looked: _Looked, first_pass: FirstPass, session: int, point: str, role: Role) -> tuple[str, str] | None:
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


def _told_as_broken(looked: _Looked, point: str, rows: list[_Row]) -> bool:
    """Tell whether it is said already that a point's row cannot be read, and how it is cut off if it is."""
    if rows:
        return bool(rows[0]["held"] == reason_code(Reason.UNREADABLE))
    return point in looked.absent and bool(looked.absent[point].broken)


def _cut_off(prepared: Prepared, first_pass: FirstPass, rows: list[_Row]) -> str:
    """Return which file seems to end within the first of a point's rows, or which do where it has none; else ""."""
    at = (int(str(rows[0]["export"])), rows[0]["source_row"]) if rows else None
    cut = [(number, row) for number, row in sorted(first_pass.cut_off.items()) if at in (None, (number, row.line))]
    if not cut:
        return ""
    number, row = cut[0]
    return row.told(prepared.exports[number].shown) + and_more(len(cut) - 1)


def _report_field_shifts(looked: _Looked, first_pass: FirstPass, problems: Problems) -> None:
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


def _not_raw(prepared: Prepared, one: FieldWindow, tie: str, usable: list[_Row]) -> tuple[str, str]:
    """Return why none of the usable readings of a field shift's tie was read raw before it, and what to do."""
    row = next((row for row in usable if row["session"] == one.session), usable[0])
    export, when = prepared.exports[int(str(row["export"]))].shown, stamp(_milliseconds(row["time"]))
    applied = "when the shift was applied already" if row["session"] == one.session else "in a later session"
    what = f'"{tie}" ({export}:{row["source_row"]}), observed {when} UTC, {applied}'
    return (
        what,
        f"the field shift needs a raw reading of the tie, taken before it began at {stamp(one.start)} UTC: check"
        " `from`, or name that reading",
    )


def held_checks(prepared: Prepared, first_pass: FirstPass) -> list[str]:
    """Return in words which checks that sessions name are held back, and why: they prove nothing."""
    wanted = {(window.index, check.point): window for window in prepared.windows for check in window.session.checks}
    told: dict[tuple[int, str], str] = {}
    sound = set()
    for row in first_pass.candidates.select(_TOLD).to_pylist():
        key = (row["session"], row["name"] or "")
        if key not in wanted:
            continue
        if not row["held"]:
            sound.add(key)
        export = prepared.exports[row["export"]].shown
        told.setdefault(
            key,
            f"the check of session {wanted[key].session.name} on the point {row['name']} ({export}:{row['source_row']})"
            f" proves nothing: it is held back as {_reason(row) if row['held'] else ''}{_detail(row)}",
        )
    return [*(words for key, words in told.items() if key not in sound), *_held_by_code(prepared, first_pass)]


def _held_by_code(prepared: Prepared, first_pass: FirstPass) -> Iterator[str]:
    """Yield in words the readings of a check's code that no session names and that are held back, repeats left out."""
    table = first_pass.candidates
    codes = Wanted.of([], prepared.loaded.job.checks.codes).has_code(table.column("code"))
    reason = table.column("held")
    held = pc.and_(pc.greater(reason, 0), pc.not_equal(reason, reason_code(Reason.DUPLICATE)))
    points = {one.point for w in prepared.windows for one in (*w.session.ties, *w.session.checks)}
    rows = [row for row in table.filter(pc.and_(codes, held)).select(_TOLD).to_pylist() if row["name"] not in points]
    if not rows:
        return
    listed = "; ".join(
        f"{row['name'] or 'a reading'} ({prepared.exports[row['export']].shown}:{row['source_row']}) as"
        f" {_reason(row)}{_detail(row)}"
        for row in rows[:_LISTED]
    )
    more = and_more(len(rows) - _LISTED, "; ")
    some = counted(len(rows), "reading of a check's code proves", "readings of a check's code prove")
    yield f"{some} nothing, being held back: {listed}{more}"


def _reason(row: _Row) -> Reason:
    return REASONS[int(str(row["held"])) - 1]


def _detail(row: _Row) -> str:
    """Return what is wrong with a row, the first of several faults: the row in the export has them all."""
    first, _, others = str(row["detail"] or "").partition("; ")
    more = others.count("; ") + 1
    return f": {first}{f' (and {more} more in that row)' if others else ''}" if first else ""


def _advice(row: _Row, prepared: Prepared) -> str:
    solution = [str(row["solution"])] if row["solution"] else []
    return advice(_reason(row), prepared, int(str(row["export"])), solution)


def _follows(looked: _Looked, point: str, rows: list[_Row]) -> bool:
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


def _why_absent(looked: _Looked, point: str, session: int) -> tuple[str, str]:
    """Return that no reading has a point's name, with names that are near it, and what to do."""
    names, missed = looked.occupied.get(session, {}), looked.absent.get(point, _Absent())
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


def _why(looked: _Looked, point: str, session: int, rows: list[_Row]) -> tuple[str, str]:
    """Return why readings of a point's name, which may be none, are no occupation of a session, and what to do."""
    prepared = looked.prepared
    if not rows:
        return _why_absent(looked, point, session)
    row = rows[0]
    export = prepared.exports[int(str(row["export"]))]
    at = f'"{point}" ({export.shown}:{row["source_row"]})'
    if row["session"] == session:
        return f"{at}, which is held back as {_reason(row)}{_detail(row)}", _advice(row, prepared)
    time = row["time"]
    if time is None:
        return f"{at}, which has no readable time{_detail(row)}", _advice(row, prepared)
    when = _milliseconds(time)
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


def _milliseconds(time: object) -> int:
    """Return a time of a row as UTC milliseconds."""
    return int(pa.scalar(time, pa.timestamp("ms", tz="UTC")).value)
