"""Tables sessions and check marks."""

import math
from collections.abc import Iterator, Mapping

from pipeline.issue.field_shift_types import FieldShiftTaken
from pipeline.issue.record_types import Record
from pipeline.issue.report import word_meanings
from pipeline.issue.report.number_format import clipped, many, metres, minute
from pipeline.issue.report.row_choice import choose
from pipeline.issue.report.tables import (
    Column,
    Table,
    clocks,
    difference,
    difference_columns,
    length,
    name,
    number,
    table,
    time,
    words,
)
from pipeline.issue.row_types import CheckRow, SessionRow
from pipeline.issue.session_types import BaseLog, Logged
from pipeline.near import and_more
from pipeline.tolerance import Tolerance
from pipeline.words import Holds, Role, Verdict

#: Rows that the page has at the most, values of one thing in a base log, and marks that a sentence names.
_SESSIONS, _CHECKS, _LOGGED, _MARKS = 1000, 2000, 6, 12
_OF_NOTED = " Noted checks were read off the screen in the field: no export has a row for them, and they prove nothing."


def urgency(session: SessionRow) -> int:
    """Return how much a session's verdict needs a look."""
    return word_meanings.URGENCY[Verdict(session["verdict"])]


def session_table(record: Record, package: str) -> Table:
    """Return the table of the base sessions."""
    axes = (("East", "east"), ("North", "north"), ("Up", "up"))
    columns: list[Column[SessionRow]] = [
        name("Session", "session", names=True),
        words("Verdict", "verdict"),
        name("Base", "base"),
        time("From", "start", seconds=False, zone=record["local_clock"]),
        time("To", "end", seconds=False, zone=record["local_clock"]),
        number("Points", "points"),
        number("Ties", "ties"),
        number("Checks", "checks"),
    ]
    for head, axis in axes:
        columns += [difference(head, f"shift_{axis}"), length("sigma", f"sigma_{axis}")]
    caption = (
        f"Base sessions: {clocks(record['local_clock'])}; the shift that was added to the raw positions, east,"
        " north and up at the session's base or points, each with its standard uncertainty (sigma), metres."
    )
    chosen = choose(record["sessions"], urgency, most=_SESSIONS)
    return table(caption, columns, chosen, f"the layer sessions of {package}")


def field_shift_table(record: Record) -> Table | None:
    """Return the table of what the field had applied and was taken out first; None where there is nothing."""
    if not record["field_shifts"]:
        return None
    columns: list[Column[FieldShiftTaken]] = [
        name("Session", "session", names=True),
        Column("Of", "long", lambda row: ", ".join([row["base"] or "", *row["files"]]).strip(", ") or "all"),
        time("From", "from"),
        time("To", "until"),
        name("Tie", "tie"),
        time("Tie read", "observed"),
        Column("Mark", "t", lambda row: ", ".join(said for said in (row["mark"], row["coordinates"]) if said) or "-"),
        difference("East", "shift_east"),
        difference("North", "shift_north"),
        difference("Up", "shift_up"),
        Column("Model", "t", lambda row: row["model"]),
        number("Since issue", "since"),
    ]
    caption = (
        "What the field had already applied and was removed first, metres: as stated, or computed from a tie as the"
        " equipment did, with the mark's coordinates from the register or as typed. Later issues keep the numbers of"
        " the first that removed them."
    )
    return table(caption, columns, choose(record["field_shifts"], lambda row: 1, most=_SESSIONS), "issue.json")


def check_table(record: Record, package: str) -> Table:
    """Return the table of the occupations of marks, below a failing one by how much it fails and what that may mean."""
    columns: list[Column[CheckRow]] = [
        name("Session", "session"),
        name("Point", "point", names=True),
        name("Mark", "mark"),
        Column("Use", "", lambda row: f"{row['role']}, {row['place']}"),
        time("Observed", "observed", zone=record["local_clock"]),
        *difference_columns(),
        Column("Result", "t", result, strong=lambda row: row["passed"] is False),
    ]
    noted = any(row["role"] == Role.NOTED for row in record["checks"])
    caption = (
        "Observed minus known, metres in the grid and height datum, and the 95 % uncertainties of these differences"
        " (observation, shift, centring and mark; what cancels is not in them, so that a tie that alone holds its"
        f" session has 0); {clocks(record['local_clock'])}.{_OF_NOTED if noted else ''}"
    )
    chosen = choose(record["checks"], lambda row: int(row["passed"] is False), most=_CHECKS)
    return table(caption, columns, chosen, f"the layer check_marks of {package}", _Notes(held(record)))


def result(check: CheckRow) -> str:
    """Return in a word what a comparison with a control mark came to."""
    return {None: "not tested", True: "passed", False: "failed"}[check["passed"]]


def held(record: Record) -> dict[str, str]:
    """Return what each mark of the register holds: 3d, position or height."""
    return {mark["mark"]: mark["holds"] for mark in record["register"]}


def partly_held(record: Record) -> list[tuple[str, str]]:
    """Return position and height with the occupied marks that hold it alone, where there are such."""
    holds = held(record)
    occupied = dict.fromkeys(row["mark"] for row in record["checks"])
    marks = ((what, [one for one in occupied if holds.get(one) == what]) for what in (Holds.POSITION, Holds.HEIGHT))
    return [
        (str(what), ", ".join(of[:_MARKS]) + and_more(len(of) - _MARKS))
        for what, of in marks
        if of
    ]  # fmt: skip


def wholly_given(record: Record) -> set[str]:
    """Return the marks that the register gives both position and height, whatever it holds of them."""
    rows = record["register"]
    return {row["mark"] for row in rows if row["height"] and (row.get("easting") or row.get("longitude"))}


def over(check: CheckRow, holds: str) -> str:
    """Return in a sentence by how much a failing comparison is over the tolerances, in what its mark holds."""
    beyond = excess(check)
    judged = holds != Holds.HEIGHT, holds != Holds.POSITION
    parts = zip(beyond, judged, ("position", "height"), strict=True)
    told = [f"{metres:.3f} m over in {what}" for metres, held, what in parts if held and metres > 0.0]
    return f"Fails: {' and '.join(told) or 'it cannot be compared'}."


def excess(check: CheckRow) -> list[float]:
    """Return metres by which position and height are beyond the row's own tolerance; NaN where not compared."""
    off = [math.nan if value is None else value for value in (check["d_horizontal"], check["d_height"])]
    allowed = [math.nan if value is None else value for value in (check["tolerance_h"], check["tolerance_v"])]
    found: list[float] = Tolerance(*allowed).excess(off).tolist()
    return found


class _Notes:
    """What stands below failing rows; a cause that several rows share is told once."""

    def __init__(self, holds: Mapping[str, str]) -> None:
        self.holds, self.cause = holds, ""

    def __call__(self, check: CheckRow) -> str:
        if check["role"] == Role.NOTED:
            return _noted(check, self.holds.get(check["mark"], Holds.FULL))
        if check["passed"] is not False:
            return ""
        cause, off = check["cause"], over(check, self.holds.get(check["mark"], Holds.FULL))
        if not cause:
            return off
        if cause == self.cause:
            return f"{off} Possible causes: as for the failing row above."
        self.cause = cause
        return f"{off} Possible causes: {clipped(cause)}"


def _noted(check: CheckRow, holds: str) -> str:
    said = f"Noted with it: {clipped(check['cause'])}" if check["cause"] else ""
    return f"{over(check, holds)} {said}".rstrip() if check["passed"] is False else said


def base_log(log: BaseLog | None) -> list[str]:
    """Return in sentences what a session's points carry of its base."""
    return [] if log is None else list(_logged(log))


def _logged(log: BaseLog) -> Iterator[str]:
    for one in log["positions"][:_LOGGED]:
        if "longitude" in one:
            place = f"longitude {one['longitude']:.9f}, latitude {one['latitude']:.9f}"
        else:
            place = f"easting {one['easting']:.3f}, northing {one['northing']:.3f}"
        yield f"base position in the export: {place}, height {metres(one['height'])} {_span(one)}"
    for height in log["antenna_heights"][:_LOGGED]:
        yield f"antenna height {metres(height['antenna_height'])} m {_span(height)}"
    if (first := log["first_reading"]) is not None:
        yield f"first reading {first['point'] or 'without a name'}: {first['from_base']:.1f} m from the base"
    if max(len(log["positions"]), len(log["antenna_heights"])) > _LOGGED:
        yield "more of it is in issue.json"


def _span(one: Logged) -> str:
    return f"({many(one['readings'], 'reading')} from {minute(one['from'])} to {minute(one['until'])} UTC)"
