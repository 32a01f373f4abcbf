"""What stands on a control sheet, from the marks at hand and their pairs."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

import pyarrow as pa

from pipeline.fieldwork.field_job import FieldJob
from pipeline.fieldwork.mark_pairs import Pair
from pipeline.issue.control_sheet.mark_files import Said
from pipeline.issue.control_sheet.sheet import Sheet
from pipeline.issue.control_sheet.sketch import sketch
from pipeline.issue.file_facts import carried_told
from pipeline.issue.formats.figures import LENGTHS, fixed
from pipeline.issue.record_types import Record
from pipeline.issue.report.drawing import shortened
from pipeline.issue.report.number_format import NONE
from pipeline.issue.report.row_choice import Chosen
from pipeline.issue.report.tables import Column, Row, Table, length, name, position_columns, table

#: Marks and pairs that one page has room for, and lines that a sketch does.
_MARKS, _PAIRS, _LINES = 12, 8, 4
#: Characters of an origin that are shown.
_ORIGIN = 90


def sheet_of(
    found: FieldJob, rows: pa.RecordBatch, every: Sequence[Pair], said: Said, file: str, left_out: str | None
) -> Sheet:
    """Return the sheet of handed-out marks, the nearest to the work first; what has no room is in ``file``."""
    marks, first = found.marks, found.marks.placed[:_MARKS]
    whole = zip(rows.to_pylist(), found.wholly_adjusted, strict=True)
    every_row: list[Row] = [row | {"origin": _origin(row, adjusted=adjusted)} for row, adjusted in whole]
    letters = {text: _letter(at) for at, text in enumerate(dict.fromkeys(row["origin"] for row in every_row[:_MARKS]))}
    shown = [number for number, placed in enumerate(first.tolist()) if placed]
    place = {number: at for at, number in enumerate(shown)}
    both = [pair for pair in every if pair.first in place and pair.second in place]
    lines = [(place[pair.first], place[pair.second]) for pair in both if pair.good][:_LINES]
    work = None if found.work is None else found.work.corners
    return Sheet(
        job=said.job,
        file=file,
        facts=_facts(found, said, file),
        sketch=sketch(
            [marks.names[number] for number in shown],
            marks.grid[shown, :2],
            [bool(marks.issued[number].any()) for number in shown],
            work,
            lines,
        ),
        work=None if found.work is None else found.work.what,
        plane=_plane(found),
        marks=_marks(every_row, found, file, letters),
        origins=[(letter, text) for text, letter in letters.items()],
        pairs=_pairs(both, found) if both else None,
        meaning=_meaning(_plane(found)),
        advice=_advice(found),
        notes=found.notes,
        left_out=left_out,
        drawn=drawn_elsewhere(found.record, marks.names[:_MARKS]),
    )


def _plane(found: FieldJob) -> str:
    """Return whose east and north coordinates have: the site's own system may be turned by any angle from the grid."""
    return "grid" if found.operations.site is None else "site"


def _meaning(plane: str) -> str:
    return (
        f"{plane.capitalize()} distance: in the plane of the {plane}. Ground distance: horizontal, at the mean height"
        f" of the two marks. Bearing: from the {plane}'s north. A check shows: the smallest blunder, plan / height,"
        " between a tie on the one mark and a check on the other that is found with a chance of 80 %, tested at 1 in"
        " 1,000."
    )


def drawn_elsewhere(record: Record | None, names: Sequence[str]) -> str | None:
    """Return in words which of some handed-out marks an issue draws elsewhere than published; None where there is none.

    The numbers are those of the issue's grid.
    """
    rows = [row for row in record["marks"] if row["drawn"] and row["mark"] in names] if record is not None else []
    if record is None or not rows:
        return None
    places = [
        f"{row['mark']} {', '.join(map(_length, (row['easting'], row['northing'], row['height'])))}" for row in rows
    ]
    return (
        f"Published coordinates are given here. Issue {record['issue']:03d} uses the adjusted positions, which its"
        f" points are based on: easting, northing, height {'; '.join(places)}"
    )


def _length(value: float | None) -> str:
    return NONE if value is None else fixed([value], LENGTHS)[0]


def _places(said: Said) -> list[tuple[str, str]]:
    if said.carried is None:
        return [("Longitude, latitude, ellipsoidal height", said.datum_text)]
    return [("Longitude, latitude", said.datum_text), ("Ellipsoidal height", carried_told(said.carried))]


def _facts(found: FieldJob, said: Said, file: str) -> list[tuple[str, str]]:
    record = found.record
    issue = "none yet" if record is None else f"{record['issue']:03d}, last observation {record['data_to'][:10]}"
    control = found.loaded.job.control
    register = "none" if control is None else control.file.name
    facts = [
        ("Grid", said.grid_text),
        ("Heights", said.height_text),
        *_places(said),
        ("Register", register),
        ("Issue", issue),
        ("File", file),
    ]
    return facts if said.axes.plain else [*facts, ("Coordinates", said.axes.described)]


def _letter(number: int) -> str:
    return chr(ord("a") + number)


def _marks(every: Sequence[Row], found: FieldJob, file: str, letters: Mapping[str, str]) -> Table:
    chosen = Chosen(every[:_MARKS], (), max(len(every) - _MARKS, 0))
    columns: list[Column[Row]] = [
        name("Mark", "mark", names=True),
        *position_columns(),
        _degrees("Longitude", "longitude"),
        _degrees("Latitude", "latitude"),
        length("Ellipsoidal", "ellipsoid_height"),
        length("95 % plan", "hu95"),
        length("95 % height", "vu95"),
        name("Holds", "holds"),
        Column("Origin", "word", lambda row: letters[row["origin"]]),
    ]
    caption = f"Coordinates {found.axes.described}; degrees; 95 % uncertainties in metres, - where none is stated."
    return table(caption, columns, chosen, file)


def _degrees(head: str, key: str) -> Column[Row]:
    return Column(head, "n", lambda row: NONE if row[key] is None else f"{row[key]:.9f}")


def _origin(row: Row, *, adjusted: bool) -> str:
    """Return where the coordinates of a mark come from: the register's words tell of none that an issue adjusted."""
    parts = [row["status"], None if adjusted else row["source"], row["dated"]]
    return shortened(", ".join(part for part in parts if part), _ORIGIN)


def _pairs(every: Sequence[Pair], found: FieldJob) -> Table:
    rows = [_pair(pair, found.marks.names) for pair in every]
    chosen = Chosen(rows[:_PAIRS], (), max(len(rows) - _PAIRS, 0))
    plane, metres = _plane(found).capitalize(), "" if found.axes.plain else " (m)"
    columns: list[Column[Row]] = [
        name("From", "first", names=True),
        name("To", "second"),
        length(f"{plane} distance{metres}", "grid"),
        length(f"Ground distance{metres}", "ground"),
        Column(f"{plane} bearing", "n", lambda row: row["bearing"]),
        length(f"Height difference{metres}", "rise"),
        Column(f"A check shows{metres}", "n", lambda row: row["detects"]),
        Column("Tie and check", "word", lambda row: row["use"]),
    ]
    unit = "Metres" if found.axes.plain else "Metres, also where coordinates are in other units"
    return table(f"{unit}. Pairs that are good for tie and check come first.", columns, chosen, "tiedown marks --json")


def _pair(pair: Pair, names: Sequence[str]) -> dict[str, Any]:
    blunder = (pair.detects.horizontal, pair.detects.vertical)
    return {
        "first": names[pair.first],
        "second": names[pair.second],
        "grid": pair.grid,
        "ground": None if math.isnan(pair.ground) else pair.ground,
        "bearing": bearing(pair.bearing),
        "rise": None if math.isnan(pair.rise) else pair.rise,
        "detects": " / ".join(f"{value:.3f}" if math.isfinite(value) else NONE for value in blunder),
        "use": "good" if pair.good else "; ".join(pair.against),
    }


def bearing(degrees: float) -> str:
    """Return a bearing in degrees, minutes and whole seconds."""
    seconds = round(degrees * 3600.0) % (360 * 3600)
    return f"{seconds // 3600}° {seconds // 60 % 60:02d}' {seconds % 60:02d}\""


def _advice(found: FieldJob) -> list[str]:
    checks = found.loaded.job.checks
    told = [
        "Tie on one mark; check on another, across the work from it, before the first point and after the last.",
        f"This job's checks pass within {checks.horizontal:.3f} m in plan and {checks.vertical:.3f} m in height.",
    ]
    if found.marks.issued.any():
        told.append(
            "An adjusted mark depends on the observations of its issue: in the job that adjusted it, it proves nothing."
        )
    return told
