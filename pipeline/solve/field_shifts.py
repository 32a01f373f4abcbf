"""Computes the shifts that were already applied in the field, as sessions state them, and takes them out again."""

from collections.abc import Mapping, Sequence

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.clock import iso, moment
from pipeline.examine.doubtful import Doubtful
from pipeline.geodesy.frames import geocentric_to_local, local_to_geocentric
from pipeline.geodesy.transform import Operation
from pipeline.intake.field_windows import FieldWindow
from pipeline.intake.survey import Survey
from pipeline.problems import JobError, Problem
from pipeline.replace import replace
from pipeline.solve.field_shift_memory import TiedShift, forgotten, of_grid, remembered
from pipeline.tables import milliseconds
from pipeline.words import Doubt


class FieldReadings(Struct, frozen=True):
    """Readings as far as it takes to know which field shifts they carry, (n,) each.

    Args:
        session: index of the session.
        time: UTC milliseconds.
        export: number of the export.
        base: base id as the export has it.
    """

    session: Integers
    time: Integers
    export: Integers
    base: pa.Array | pa.ChunkedArray

    @classmethod
    def of(cls, table: pa.Table) -> "FieldReadings":
        """Return those of a table of candidates."""
        session, export = (np.asarray(table.column(name), np.int64) for name in ("session", "export"))
        return cls(session, milliseconds(table), export, table.column("base"))


class TieUsed(Struct, frozen=True):
    """What the field worked a shift out from.

    Args:
        row: of the survey's candidates.
        mark: (3,) working frame.
        since: the previous issue whose numbers are taken out, None where they are worked out here.
        revised: (3,) by how much the shift would differ by the register of now, in its own model, metres.
        called: the mark's name in the previous issue, where it had another; else None.
        now: the shift as it is worked out by the register of now.
    """

    row: int
    mark: Floats
    since: int | None
    revised: Floats
    called: str | None
    now: TiedShift


class TakenOut(Struct, frozen=True):
    """One field shift with its numbers: (3,) X, Y, Z, or (3,) on the grid; the other is zero.

    On the grid they are metres to the east, the north and upwards, to whichever side its coordinates grow.
    """

    window: FieldWindow
    geocentric: Floats
    grid: Floats
    used: TieUsed | None = None

    def carried(self, readings: FieldReadings) -> Flags:
        """Return (n,) which readings carry it."""
        return self.window.carried(readings.session, readings.time, readings.export, readings.base)

    def out_of(self, xyz: Floats, to_issued: Operation) -> Floats:
        """Return (n, 3) positions, working frame, without it."""
        if not self.grid.any():
            return xyz - self.geocentric
        grid = np.column_stack(to_issued.forward(*xyz.T)) - self.grid
        return np.column_stack(to_issued.inverse(*grid.T))


class FieldShifts(Struct, frozen=True):
    """Corrections that the field had already applied, in the order in which it did, to be taken out first."""

    taken: tuple[TakenOut, ...]

    def of(self, session: int) -> tuple[TakenOut, ...]:
        """Return those of a session."""
        return tuple(one for one in self.taken if one.window.session == session)

    def most(self, session: int) -> float:
        """Return the most, in metres, by which readings of a session may have been shifted."""
        return sum(float(np.linalg.norm(one.geocentric + one.grid)) for one in self.of(session))

    def take_out(self, xyz: Floats, readings: FieldReadings, to_issued: Operation) -> Floats:
        """Return (n, 3) raw positions as they would be had the field never corrected them.

        Args:
            xyz: (n, 3) working frame.
            readings: whose they are.
            to_issued: working frame to grid and height datum, for corrections made in the grid.
        """
        if not self.taken or not len(xyz):
            return xyz
        present = frozenset(np.flatnonzero(np.bincount(readings.session)).tolist())
        out = xyz.copy()
        for one in reversed(self.taken):  # what was applied last comes off first
            if one.window.session in present and (due := one.carried(readings)).any():
                out[due] = one.out_of(out[due], to_issued)
        return out


def field_shifts(survey: Survey, places: Floats, marks: Mapping[str, Floats]) -> FieldShifts:
    """Return the corrections that the field had applied.

    A geocentric vector is meant at the mark of its session's first tie, else at the session's place. What a tie gave is
    its mark minus its reading as the field had it: raw, or with what was applied at the same time.

    Args:
        survey: the job before any shift.
        places: (S, 3) from `shift_places`.
        marks: (3,) position of each mark that is tied to, working frame.

    Raises `JobError` where the operations do not reach a tie, or a mark that it is worked out from.
    """
    found: list[TakenOut] = []
    problems = []
    for window in survey.prepared.field_windows:
        one = _stated(survey, window, places, marks) if window.stated.tie is None else _tied(survey, window, found)
        if not np.isfinite([*one.geocentric, *one.grid]).all():
            what = f"the field shift of session {window.name} cannot be computed: its mark or its tie is outside the"
            what += " area of the job's transformations"
            fix = "check the mark's coordinates, or state what was applied as east, north and up"
            problems.append(Problem(*window.where, what, fix))
        found.append(one)
    if problems:
        raise JobError(problems)
    return FieldShifts(tuple(found))


def local(survey: Survey, one: TakenOut) -> Floats:
    """Return (3,) east, north, up of a field shift, as stated or at its mark; of the grid model along its columns."""
    stated = one.window.stated
    if one.used is None:
        return np.array([stated.east, stated.north, stated.up], np.float64)
    if stated.model == "grid":
        return one.grid * survey.axes.signs()
    longitude, latitude, _ = survey.operations.frames.to_geographic.forward(*one.used.mark)
    return np.ravel(geocentric_to_local(one.geocentric, longitude, latitude))


def field_shift_doubts(survey: Survey, field: FieldShifts) -> list[Doubtful]:
    """Return a doubt for each field shift that is larger than a base may be off: of another mark, or mistyped.

    And for each by the register of now of which nobody can say that an issue before did not have it by another.
    """
    limits, found = survey.job.shift, []
    for one in field.taken:
        east, north, up = local(survey, one)
        if np.hypot(east, north) > limits.limit_horizontal or abs(up) > limits.limit_vertical:
            by = f" by {one.window.stated.tie} on {one.window.stated.mark}" if one.used is not None else ""
            what = (
                f"session {one.window.name}: the field shift{by} is {np.hypot(east, north):,.1f} m horizontally and"
                f" {up:+,.1f} m in height, beyond the limits of {limits.limit_horizontal:g} and"
                f" {limits.limit_vertical:g} m; check that its tie was on that mark, and the mark's coordinates"
            )
            found.append(Doubtful(Doubt.SHIFT, what, (one.window.session,)))
    used = [one.used for one in field.taken if one.used is not None]
    tied = [(replace(one.now, mark=one.mark), one.since) for one in used]
    return [*found, *forgotten(survey, tied)]


def _stated(survey: Survey, window: FieldWindow, places: Floats, marks: Mapping[str, Floats]) -> TakenOut:
    stated, nothing = window.stated, np.zeros(3)
    vector = np.array([stated.east, stated.north, stated.up], np.float64)
    if stated.model == "grid":
        return TakenOut(window, nothing, vector * survey.axes.signs())
    ties = survey.windows[window.session].session.ties
    place = marks[ties[0].mark] if ties else places[window.session]
    longitude, latitude, _ = survey.operations.frames.to_geographic.forward(*place)
    return TakenOut(window, local_to_geocentric(vector, longitude, latitude), nothing)


def _tied(survey: Survey, window: FieldWindow, before: Sequence[TakenOut]) -> TakenOut:
    """Work a shift out from its tie, or take it as an issue before has it."""
    row = window.tie_row(survey.candidates.table)
    assert row is not None  # `report_missing` has seen to it
    over = FieldShifts(tuple(one for one in before if one.window.until <= window.start))
    raw = over.take_out(
        survey.candidates.raw[[row]],
        FieldReadings.of(survey.candidates.table.slice(row, 1)),
        survey.operations.frames.to_issued,
    )[0]
    mark, nothing = mark_position(survey, window), np.zeros(3)
    vector_now = _difference(survey, window, mark, raw)
    now = TiedShift(window, iso(moment(int(survey.candidates.time[row]))), raw, mark)
    known = remembered(survey, now)
    since, vector = None, vector_now
    if known is not None:
        # of another reading of the tie the mark's coordinates are kept, but not the numbers
        since, mark = known.since, known.mark
        vector = _difference(survey, window, mark, raw) if known.vector is None else known.vector
    used = TieUsed(row, mark, since, vector_now - vector, known.called if known is not None else None, now)
    if window.stated.model == "grid":
        return TakenOut(window, nothing, vector, used)
    return TakenOut(window, vector, nothing, used)


def _rounded(vector: Floats) -> Floats:
    """Return a vector as the record keeps it, to a micrometre, so that a later issue takes out the same to the bit."""
    return np.round(vector, 6)


def _difference(survey: Survey, window: FieldWindow, mark: Floats, raw: Floats) -> Floats:
    """Return (3,) a mark minus a reading on it, both working frame: X, Y, Z, or in the grid model on the grid."""
    if window.stated.model == "geocentric":
        return _rounded(mark - raw)
    grid = np.column_stack(survey.operations.frames.to_issued.forward(*np.stack([mark, raw]).T))
    return _rounded(np.asarray(grid[0] - grid[1]))


def mark_position(survey: Survey, window: FieldWindow) -> Floats:
    """Return (3,) working frame, where a field shift has its mark: as typed in the field, else as in the register."""
    stated, operations = window.stated, survey.operations
    typed = stated.typed
    if typed is not None and stated.easting is not None:
        return of_grid(survey, typed)
    if typed is not None and operations.base is not None:
        year = operations.year(window.session, None, survey.windows[window.session].start_ms)
        longitude, latitude, height = ([value] for value in typed)
        return np.ravel(np.column_stack(operations.base.forward(longitude, latitude, height, time=year)))
    register = survey.register
    assert register is not None and operations.register is not None  # `check_windows` has seen to it
    number = register.find(stated.mark or "")
    assert number is not None
    first, second, third = register.first[number], register.second[number], register.third[number]
    return np.ravel(operations.register.forward(first, second, third))
