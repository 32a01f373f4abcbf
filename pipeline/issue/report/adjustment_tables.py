"""Tables adjustment, marks, shift model, inputs and files."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING

from pipeline.issue.over_critical import is_over, with_statistics
from pipeline.issue.report.number_format import NONE, metres
from pipeline.issue.report.row_choice import choose
from pipeline.issue.report.tables import Column, Row, Table, checksum, length, name, number, position_columns, table
from pipeline.issue.written_axes import axes_written
from pipeline.words import MARKS_DRAWN, Holds, MarkStatus

if TYPE_CHECKING:
    from pipeline.issue.record_types import ControlUsed, FileIssued, Input, Record
    from pipeline.issue.row_types import MarkRow

#: Rows of each table that the page has at the most.
_TIES, _MARKS, _INPUTS, _FARTHEST = 600, 1000, 1000, 100
#: A registered code is shorter than this, a definition longer.
_CODE = 20
_AXES = (("E", "east"), ("N", "north"), ("Up", "up"))


def statistics_tables(record: Record, package: str) -> list[tuple[str, Table]]:
    """Return title and table of ties, set-ups and control: those over the critical value first, pointed out."""
    if not record["adjustment"]["degrees_of_freedom"]:
        return []
    caption = (
        "Standardised residuals, redundancy numbers (0: not checked, 1: fully checked by the others) and the"
        " smallest error in metres that would be detected; east, north, up."
    )
    over, critical = is_over(record), record["adjustment"]["critical_value"]
    columns = [
        *(_standardised(f"Stand. {head}", f"standardised_{axis}", critical) for head, axis in _AXES),
        *(_share(f"Redund. {head}", f"redundancy_{axis}") for head, axis in _AXES),
        *(length(f"Detect. {head}", f"detectable_{axis}") for head, axis in _AXES),
    ]
    made = []
    for title, named, rows in with_statistics(record):
        where = f"the layer check_marks of {package}" if rows and "role" in rows[0] else "issue.json"
        chosen = choose(rows, lambda row: int(over(row)), most=_TIES)
        first = [name(key.capitalize(), key, names=key == "mark") for key in named]
        if rows:
            made.append((title, table(caption, [*first, *columns], chosen, where)))
    return made


def _standardised(head: str, key: str, critical: float) -> Column[Row]:
    def over(row: Row) -> bool:
        return row[key] is not None and abs(row[key]) > critical

    def text(row: Row) -> str:
        return NONE if row[key] is None else f"{row[key] + 0.0:+.2f}{' over' if over(row) else ''}"

    return Column(head, "n", text, strong=over)


def _share(head: str, key: str) -> Column[Row]:
    return Column(head, "n", lambda row: NONE if row[key] is None else f"{row[key]:.2f}")


def mark_tables(record: Record, package: str) -> list[Table]:
    """Return the tables of the marks: as adjusted, and as the register has them."""
    adjusted: list[Column[MarkRow]] = [
        name("Mark", "mark", names=True),
        *position_columns(),
        length("95\u00a0%\u00a0h", "hu95"),
        length("95\u00a0%\u00a0v", "vu95"),
        Column("Status", "", lambda row: _status(row, off, new)),
        Column("Fixed in", "", lambda row: fixed(row["holds"])),
        number("Occupations", "occupations"),
    ]
    chosen = choose(record["marks"], lambda row: int(None in (row["easting"], row["height"])), most=_MARKS)
    off, new = _from_register(record), under_bases(record)
    axes = axes_written(record)
    within = "metres in the grid and height datum, 95 % uncertainties"
    if not axes.plain:
        within = f"{axes.described}; 95 % uncertainties in metres"
    caption = f"Marks in the adjustment, adjusted coordinates: {within}."
    if any(row["drawn"] for row in record["marks"]):
        caption = f"{caption} {MARKS_DRAWN}"
    made = []
    if record["marks"]:
        made = [table(caption, adjusted, chosen, f"the layer marks of {package}", lambda row: row["drawn"] or "")]
    if record["register"]:
        made.append(_register(record))
    return made


def _from_register(record: Record) -> dict[str, float]:
    """Return how far [m] the adjustment moved each constrained mark from what the register publishes of it."""
    moved: dict[str, float] = {}
    for row in record["adjustment"]["control"]:
        parts = (row["residual_east"], row["residual_north"], row["residual_up"])
        moved[row["mark"]] = math.hypot(*(part for part in parts if part is not None))
    return moved


def under_bases(record: Record) -> dict[str, str]:
    """Return the marks that nothing but a base stood on, in no register, each with that base's session: new ones."""
    alone = {mark["mark"] for mark in record["marks"] if mark["holds"] is None and mark["occupations"] == 1}
    return {one["mark"]: one["session"] for one in record["adjustment"]["set_ups"] if one["mark"] in alone}


def _status(mark: MarkRow, off: Mapping[str, float], new: Mapping[str, str]) -> str:
    """Return how a mark's coordinates came about, in words."""
    if mark["status"] != MarkStatus.CONSTRAINED:
        under = f", new, under the base of session {new[mark['mark']]}" if mark["mark"] in new else ""
        return f"{mark['status']}{under}"
    moved = f", {metres(off[mark['mark']])} m from the register" if mark["mark"] in off else ""
    return f"constrained (weighted){moved}"


def fixed(holds: str | None) -> str:
    """Return in words which components of a mark the register fixes."""
    if holds is None:
        return "nothing: a temporary mark"
    return "position and height" if holds == Holds.FULL else holds


def _sigma(short: str, key: str) -> Column[Row]:
    return Column(f"Sigma {short}", "n", lambda row: f"{float(row[key]):.4f}")


def _remark(head: str, key: str) -> Column[Row]:
    return Column(head, "long", lambda row: row.get(key) or NONE)


def _register(record: Record) -> Table:
    grid = "easting" in record["register"][0]
    axes = ("easting", "northing", "height") if grid else ("longitude", "latitude", "height")
    columns: list[Column[Row]] = [
        name("Mark", "mark", names=True),
        *(_written(axis) for axis in axes),
        Column("Fixed in", "", lambda row: fixed(row["holds"])),
        *(_sigma(short, key) for short, key in (("horiz.", "sigma horizontal"), ("vert.", "sigma vertical"))),
        *(
            _remark(head, key)
            for head, key in (("Source", "source"), ("Dated", "dated"))
            if any(row.get(key) for row in record["register"])
        ),
    ]
    caption = (
        "Control marks as the register has them, with the standard uncertainties used in the adjustment"
        f"{_frame(record['control'])}."
    )
    return table(caption, columns, choose(record["register"], lambda row: 0, most=_MARKS), "issue.json")


def _frame(control: ControlUsed | None) -> str:
    """Return in words in which frame the register's coordinates are, "" where the record does not tell."""
    if control is None:
        return ""
    code = f" ({control['crs']})" if len(control["crs"]) < _CODE else ""
    epoch = f", epoch {control['epoch']}" if control["epoch"] is not None else ""
    return f"; coordinates in {control['crs_name']}{code}{epoch}, heights in {control['height_name']}"


def _written(axis: str) -> Column[Row]:
    return Column(axis.capitalize(), "n", lambda row: row[axis] or NONE)


def model_table(record: Record) -> Table | None:
    """Return how far the grid model of the shift lies from the geocentric one; None where that is not compared."""
    found = record["shift_model"]["farthest"]
    if not found:
        return None
    columns = [
        name("Session", "session", names=True),
        name("Point", "point"),
        length("Horizontal", "horizontal"),
        length("Height", "vertical"),
    ]
    chosen = choose(found, lambda row: 1 + round(1000 * row["horizontal"]), most=_FARTHEST)
    return table("Largest difference of the two models, per session, metres.", columns, chosen, "issue.json")


def file_tables(inputs: Sequence[Input], files: Callable[[], Sequence[FileIssued]]) -> Iterator[Table]:
    """Yield the tables of what was read and of what was issued; ``files`` is asked between the two."""
    read: list[Column[Input]] = [
        Column("File", "long", lambda row: row["path"], names=True),
        number("Rows", "rows"),
        checksum("SHA-256", "sha256"),
    ]
    issued: list[Column[FileIssued]] = [
        Column("File", "long", lambda row: row["name"], names=True),
        checksum("SHA-256", "sha256"),
    ]
    caption = "What was read, with its path in the job file, its rows and its checksum."
    yield table(caption, read, choose(inputs, lambda row: 0, most=_INPUTS), "issue.json")
    if written := files():
        caption = "Files issued with this page; tiedown verify compares them all with their checksums."
        yield table(caption, issued, choose(written, lambda row: 0, most=_INPUTS), "issue.json")
