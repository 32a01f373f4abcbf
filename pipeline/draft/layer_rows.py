"""Drafted batches and occupations as the rows of the issued layers."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any, TypeVar, cast

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers
from pipeline.clock import iso
from pipeline.draft.repeat_pairs import Pairs
from pipeline.draft.repeat_readings import Readings
from pipeline.draft.second_pass import Drafted, Drafter, written
from pipeline.geodesy.frames import enu_rotation
from pipeline.geodesy.uncertainty import horizontal_95, vertical_95
from pipeline.intake.survey import Survey
from pipeline.issue.drawn_coordinates import drawn_message
from pipeline.issue.geopackage.layers import (
    CHECK_MARKS,
    GEOMETRY,
    HELD_BACK,
    MARKS,
    REPEATS,
    SESSIONS,
    points_schema,
    wkb_points,
)
from pipeline.read.exports import Export
from pipeline.solve.correct import Corrected
from pipeline.solve.difference_95 import differences_95
from pipeline.solve.proof import PROOFS
from pipeline.solve.solve import Solved, shift_at_places
from pipeline.tables import READING, TIME, number_column
from pipeline.words import REASONS, Holds, MarkStatus, Role

#: Columns that an export may map and that are evidence about a point, for which the contract has no column.
_EVIDENCE = (
    "base",
    "time_end",
    "sigma_east",
    "sigma_north",
    "sigma_up",
    "cov_en",
    "cov_eu",
    "cov_nu",
    "antenna_height",
    "satellites",
    "pdop",
    "correction_age",
    "mark",
)
Row = TypeVar("Row")

#: The axes of a place on the grid, and of a difference at a place, as columns are named.
_GRID = ("easting", "northing", "height")
_LOCAL = ("east", "north", "up")

#: Columns of a batch that a layer has as they are, by its own names.
_OF_READING = {"name": "name", "code": "code", "observed": "time", "source_row": "source_row"}

#: The words of `PROOFS` as a column has them, to be taken by code.
PROOF_WORDS = pa.array([str(proof) for proof in PROOFS])
_REASON_WORDS = pa.array([str(reason) for reason in REASONS])


class Carried(Struct, frozen=True):
    """What ``points`` has of the exports, of all together: one column per name, text where its types differ.

    ``mapped`` are our columns that an export maps and that ``points`` has no place for; ``names`` the exports' own.
    """

    mapped: tuple[str, ...]
    names: tuple[str, ...]
    schema: pa.Schema

    @classmethod
    def of(cls, survey: Survey) -> "Carried":
        """Unite the carried columns of a job's exports, in the order in which they first appear."""
        exports = survey.exports
        mapped = tuple(name for name in _EVIDENCE if any(getattr(e.points.columns, name) for e in exports))
        kinds, since = dict[str, pa.DataType](), dict[str, int]()
        for export in exports:
            for field in export.carried:
                arrived = survey.former.since(export.shown)
                since[field.name] = min(arrived, since.get(field.name, arrived))
                kinds[field.name] = field.type if kinds.get(field.name, field.type) == field.type else pa.string()
        fields = [pa.field(name, kind) for name, kind in kinds.items()] + [READING.field(name) for name in mapped]
        # a heading that is mapped now gives up the column that it had as one of the export's own
        ours = {name.casefold() for name in mapped}
        former = [
            name for name in survey.former.columns if name.casefold() not in ours or name in mapped or name in kinds
        ]
        order = [*since.values(), *(0 if name in former else survey.former.since("") for name in mapped)]
        return cls(mapped, tuple(kinds), points_schema(fields, former, order))

    def columns(self, batch: pa.RecordBatch, export: Export, chosen: pa.Array) -> dict[str, pa.Array]:
        """Return the carried columns of the chosen rows of a batch; null in a column that its export does not have."""
        present = {field.name for field in export.carried} | set(self.mapped)
        wanted = (*self.names, *self.mapped)
        # `points_schema` may have given them other names, in the same order, before the geometry
        ours = [*self.schema][len(self.schema) - 1 - len(wanted) : -1]
        found = {}
        for field, name in zip(ours, wanted, strict=True):
            column = pa.nulls(len(chosen), field.type)
            if name in present:
                column = pc.take(batch.column(name), chosen).cast(field.type)
                if pa.types.is_floating(field.type):
                    column = pc.if_else(pc.is_nan(column), None, column)
            found[field.name] = column
        return found


class LayerRows(Struct, frozen=True):
    """Makes the rows of every layer of one job."""

    drafter: Drafter
    carried: Carried

    def points(self, drafted: Drafted, rows: Integers | None = None) -> pa.RecordBatch:
        """Return the drafted points of a batch, or only some of its ``rows`` (k,), as rows of ``points``."""
        rows = np.flatnonzero(drafted.points) if rows is None else rows
        chosen = pa.array(rows)
        columns = {
            **self._reading(drafted, rows, chosen),
            "name": self.drafter.names.names(pc.take(drafted.batch.column("name"), chosen), rows + drafted.start),
            **_taken(drafted.corrected, rows, "ellipsoid_height", "longitude", "latitude", "hu95", "vu95"),
            "proof": PROOF_WORDS.take(pa.array(drafted.proof[rows])),
            "solution": pc.take(drafted.batch.column("solution"), chosen),
            **self.carried.columns(drafted.batch, drafted.export, chosen),
        }
        return _layer(self.carried.schema, columns)

    def held_back(self, drafted: Drafted) -> pa.RecordBatch:
        """Return the rows of a batch that are held back as rows of ``held_back``."""
        rows = np.flatnonzero(drafted.held)
        columns = {
            **self._reading(drafted, rows, pa.array(rows)),
            "reason": _REASON_WORDS.take(pa.array(drafted.held[rows] - 1)),
            "detail": pa.array([self.drafter.explain(drafted, row) for row in rows.tolist()], pa.string()),
        }
        return _layer(HELD_BACK, columns)

    def _reading(self, drafted: Drafted, rows: Integers, chosen: pa.Array) -> dict[str, pa.Array]:
        """Return what ``points`` and ``held_back`` both say of readings; ``chosen`` are their rows for Arrow."""
        batch, found, axes = drafted.batch, drafted.corrected, self.drafter.survey.axes
        return {
            **{ours: pc.take(batch.column(name), chosen) for ours, name in _OF_READING.items()},
            **_taken(found, rows, *_GRID),
            "session": self._sessions(drafted.session[rows]),
            "source_file": _repeat(drafted.export.shown, len(rows)),
            GEOMETRY: wkb_points(*axes.geometry(found.easting[rows], found.northing[rows], found.height[rows])),
        }

    def _sessions(self, numbers: NDArray[np.int32]) -> pa.Array:
        names = pa.array([window.session.name for window in self.drafter.survey.windows], pa.string())
        return names.take(pa.array(np.where(numbers >= 0, numbers, 0), mask=numbers < 0))


def check_rows(survey: Survey, solved: Solved, causes: Sequence[str | None]) -> pa.RecordBatch:
    """Return the occupations of marks as rows of ``check_marks``; ``causes`` (n,) says what failing ones may mean."""
    on_marks = solved.occupations
    count = len(on_marks.marks)
    axes, compared = survey.axes, on_marks.compared
    found = written(on_marks.corrected, axes)
    hu95, vu95 = differences_95(survey, solved)
    names = [survey.windows[number].session.name for number in on_marks.session.tolist()]
    columns = {
        "session": pa.array(names, pa.string()),
        "mark": pa.array(on_marks.marks, pa.string()),
        "point": on_marks.table.column("name").combine_chunks(),
        "role": pa.array([str(role) for role in on_marks.roles], pa.string()),
        "place": pa.array([str(place) for place in on_marks.places], pa.string()),
        "observed": on_marks.table.column("time").combine_chunks(),
        **_axes([f"known_{axis}" for axis in _GRID], np.column_stack(axes.written(*on_marks.known.T))),
        **_taken(found, np.arange(count), *_GRID),
        "d_east": number_column(compared.east),
        "d_north": number_column(compared.north),
        "d_height": number_column(compared.height),
        "d_horizontal": number_column(compared.horizontal),
        "tolerance_h": pa.array(compared.allowed[:, 0], mask=~compared.holds[:, 0]),
        "tolerance_v": pa.array(compared.allowed[:, 1], mask=~compared.holds[:, 1]),
        "hu95": number_column(hu95),
        "vu95": number_column(vu95),
        "passed": pa.array(compared.passed, mask=~(on_marks.evidence | on_marks.copied)),
        "cause": pa.array(causes, pa.string()),
        **_statistics(solved),
        GEOMETRY: wkb_points(*axes.geometry(found.easting, found.northing, found.height)),
    }
    return _layer(CHECK_MARKS, {name: _flat(column) for name, column in columns.items()})


def _statistics(solved: Solved) -> dict[str, pa.Array]:
    """Return redundancy, standardised residual and detectable error, east, north and up each, (n,) per occupation."""
    found, rows = solved.shifts.adjustment, solved.occupations.observation
    columns: dict[str, pa.Array] = {}
    for name in ("redundancy", "standardised", "detectable"):
        values: Floats = getattr(found, name)
        of_rows = (
            np.where((rows >= 0)[:, None], values[rows], np.nan) if len(values) else np.full((len(rows), 3), np.nan)
        )
        columns |= _axes([f"{name}_{axis}" for axis in _LOCAL], of_rows)
    return columns


def repeat_rows(survey: Survey, readings: Readings, pairs: Pairs) -> pa.RecordBatch:
    """Return the pairs of readings of one point as rows of ``repeats``, each where its later reading is."""
    names = pa.array([window.session.name for window in survey.windows], pa.string())
    columns: dict[str, pa.Array] = {"name": readings.label.take(pa.array(pairs.first))}
    for letter, rows in (("a", pairs.first), ("b", pairs.second)):
        columns[f"session_{letter}"] = names.take(pa.array(readings.session[rows]))
        columns[f"observed_{letter}"] = pa.array(readings.time[rows], TIME)
    place = [readings.value(axis)[pairs.second] for axis in _GRID]
    columns |= {
        **_axes(["d_east", "d_north", "d_height"], pairs.apart),
        "d_horizontal": number_column(pairs.horizontal),
        "hu95": number_column(pairs.hu95),
        "vu95": number_column(pairs.vu95),
        "passed": pa.array(pairs.passed),
        GEOMETRY: wkb_points(*survey.axes.geometry(*place)),
    }
    return _layer(REPEATS, columns)


def mark_rows(survey: Survey, solved: Solved) -> pa.RecordBatch:
    """Return the marks of the adjustment as rows of ``marks``; what nothing ties is null.

    A mark is held where the register holds something of it. Its coordinates are the adjusted ones all the same; the
    register's stand beside them, and where they differ, why (`drawn_message`).
    """
    marks, found = solved.tied.marks, solved.shifts.adjustment
    ties = found.ties
    _, covariance = found.local_marks(enu_rotation(marks.longitude, marks.latitude))
    place = survey.operations.frames.to_issued.forward(*np.nan_to_num(solved.shifts.marks).T)
    grid = np.column_stack(survey.axes.written(*place))
    grid[~ties.mark_position, :2] = np.nan
    grid[~ties.mark_height, 2] = np.nan
    occupied = np.bincount(solved.tied.occupied, minlength=len(marks.names))
    held = marks.held[:, 0] | marks.held[:, 2]
    words = [Holds.FULL, Holds.POSITION, Holds.HEIGHT]
    holds = [
        str(words[0 if one and two else 1 if one else 2]) if one or two else None for one, two in marks.held[:, [0, 2]]
    ]
    published = np.column_stack(survey.axes.written(*_published(solved, marks.names).T))
    told = map(drawn_message, grid, published, holds)
    status = [str(MarkStatus.CONSTRAINED if is_held else MarkStatus.ADJUSTED) for is_held in held]
    columns = {
        "mark": pa.array(marks.names, pa.string()),
        **_axes(_GRID, grid),
        "hu95": number_column(horizontal_95(covariance)),
        "vu95": number_column(vertical_95(np.sqrt(covariance[:, 2, 2]))),
        "holds": pa.array(holds, pa.string()),
        "occupations": pa.array(occupied, pa.int64()),
        "status": pa.array(status, pa.string()),
        **_axes([f"published_{axis}" for axis in _GRID], published),
        "drawn": pa.array(list(told), pa.string()),
        GEOMETRY: wkb_points(*survey.axes.geometry(*grid.T)),
    }
    return _layer(MARKS, columns)


def _published(solved: Solved, names: Sequence[str]) -> Floats:
    """Return (M, 3) what the register says of marks, in the issued frame; NaN where it says nothing."""
    row = {name: number for number, name in enumerate(solved.reference.names)}
    every = np.vstack([solved.reference.grid, np.full((1, 3), np.nan)])
    found = every[[row.get(name, -1) for name in names]]
    return np.where(np.isfinite(found), found, np.nan)


def session_rows(survey: Survey, solved: Solved, points: Integers) -> pa.RecordBatch:
    """Return the sessions as rows of ``sessions``; ``points`` (S,) counts each one's drafted points."""
    windows, on_marks = survey.windows, solved.occupations
    local, sigma = shift_at_places(survey, solved)
    base = survey.bases.mark + solved.shifts.shift
    place = survey.axes.written(*survey.operations.frames.to_issued.forward(*base.T))

    def occupations(role: Role) -> list[int]:
        of_role = np.array([found is role for found in on_marks.roles], bool)
        return [int(count) for count in np.bincount(on_marks.session[of_role], minlength=len(windows))]

    columns = {
        "session": pa.array([window.session.name for window in windows], pa.string()),
        "start": pa.array([window.start_ms for window in windows], TIME),
        "end": pa.array([window.end_ms for window in windows], TIME),
        "base": pa.array([window.base for window in windows], pa.string()),
        "points": pa.array(points, pa.int64()),
        "ties": pa.array(occupations(Role.TIE), pa.int64()),
        "checks": pa.array(occupations(Role.CHECK), pa.int64()),
        **_axes([f"shift_{axis}" for axis in "xyz"], solved.shifts.shift),
        **_axes([f"shift_{axis}" for axis in _LOCAL], local),
        **_axes([f"sigma_{axis}" for axis in _LOCAL], sigma),
        "verdict": pa.array([str(word) for word in solved.verdicts], pa.string()),
        GEOMETRY: wkb_points(*survey.axes.geometry(*place)),
    }
    return _layer(SESSIONS, columns)


def as_records(batch: pa.RecordBatch, kind: type[Row]) -> list[Row]:
    """Return the rows of a small layer as the issue record has them: without geometry, times as ISO text in UTC.

    ``kind`` is the type of the rows, of which the layer's columns were made.
    """
    rows = batch.drop_columns([GEOMETRY]).to_pylist()
    return [cast(Row, {key: _plain(value) for key, value in row.items()}) for row in rows]


def _plain(value: Any) -> Any:
    return iso(value) if isinstance(value, datetime) else value


def _layer(schema: pa.Schema, columns: Mapping[str, pa.Array]) -> pa.RecordBatch:
    """Return rows of a layer, each column by its name; every column of the schema must be there, and no other."""
    if columns.keys() != set(schema.names):
        raise ValueError(f"not the layer's columns: {sorted(columns.keys() ^ set(schema.names))}")
    return pa.RecordBatch.from_arrays([columns[name] for name in schema.names], schema=schema)


def _taken(found: Corrected, rows: Integers, *names: str) -> dict[str, pa.Array]:
    return {name: number_column(getattr(found, name)[rows]) for name in names}


def _axes(names: Sequence[str], values: Floats) -> dict[str, pa.Array]:
    """Return the three columns of (n, 3) values by their names."""
    return {name: number_column(values[:, axis]) for axis, name in enumerate(names)}


def _repeat(text: str, count: int) -> pa.Array:
    return pa.array([text], pa.string()).take(pa.array(np.zeros(count, np.int64)))


def _flat(column: Any) -> pa.Array:
    return column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
