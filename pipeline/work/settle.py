"""Between the two passes: occupations resolved, shifts derived, marks compared, each session judged.

Nothing here is large: a job has thousands of occupations at the most.
"""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline.correct import (
    NEVER,
    Corrected,
    FieldShifts,
    SessionShifts,
    correct,
    milliseconds,
    observed_sigma,
    with_distance,
    working_positions,
)
from pipeline.geodesy.epochs import decimal_year
from pipeline.geodesy.frames import enu_rotation, local_to_geocentric
from pipeline.job.model import GivenShift
from pipeline.occupations import Wanted, said_mark
from pipeline.problems import Problems
from pipeline.proof.bracket import Evidence, place, verdict
from pipeline.proof.residuals import Differences, differences
from pipeline.shift import Marks, Occupied, Shifts, Stated, derive
from pipeline.words import Place, Role, Verdict
from pipeline.work.gather import Gathered
from pipeline.work.named import Named, named_points, report_missing
from pipeline.work.prepare import Prepared
from pipeline.work.reference import Reference, reference
from pipeline.work.routes import Routes

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True)
class Bases:
    """Where bases stood, per session (S, 3), working frame, as broadcast; NaN where the job does not say.

    ``receiver`` is the antenna's reference point, ``mark`` the mark under it.
    """

    receiver: Floats
    mark: Floats


@dataclass(frozen=True)
class OnMarks:
    """The occupations of marks, (n,) in the order of session and time, with their comparison.

    ``table`` has their columns of `gather.Gathered.candidates`; ``places`` their places in their sessions.
    """

    table: pa.Table
    session: Integers
    time: Integers
    marks: tuple[str, ...]
    roles: tuple[Role, ...]
    corrected: Corrected
    known: Floats
    compared: Differences
    places: tuple[Place, ...]


@dataclass(frozen=True)
class Settled:
    """What the second pass needs, and what the issue records.

    Args:
        reference: the register's marks in the job's frames.
        shifts: the adjustment's result; ``applied`` is what is added to raw positions.
        field: field shifts to be taken out.
        bases: where the bases stood.
        places: (S, 3) a raw position, working frame, at which each session's shift is shown as east, north, up.
        occupations: the occupations of marks.
        evidence: per session.
        verdicts: per session.
        spans: (S, 2) UTC milliseconds of first and last drafted point; first greater than last where none.
    """

    reference: Reference
    shifts: Shifts
    applied: SessionShifts
    field: FieldShifts
    bases: Bases
    places: Floats
    occupations: OnMarks
    evidence: tuple[Evidence, ...]
    verdicts: tuple[Verdict, ...]
    spans: Integers


def settle(prepared: Prepared, gathered: Gathered, routes: Routes) -> Settled:
    """Derive the shifts and judge the sessions.

    Raises `JobError` for ties and checks whose points are not to be had.
    """
    problems = Problems()
    report_missing(prepared, gathered, problems)
    problems.raise_if_any()
    return _Settling(prepared, gathered, routes).run()


class _Settling:
    """State between the passes: sound candidates with raw positions, and the register in the job's frames."""

    def __init__(self, prepared: Prepared, gathered: Gathered, routes: Routes) -> None:
        self.prepared, self.gathered, self.routes = prepared, gathered, routes
        self.job = prepared.loaded.job
        self.windows = prepared.windows
        table = gathered.candidates
        self.table = table.filter(pc.equal(table.column("held"), 0))
        self.session = np.asarray(self.table.column("session"), np.int64)
        self.time = milliseconds(self.table)
        self.names = self.table.column("name").to_pylist()
        self.raw = self._raw_positions()
        named = named_points(prepared)
        self.named = [named.get((int(s), name or "")) for s, name in zip(self.session, self.names, strict=True)]
        self.bases = self._set_up_bases()
        self.reference = reference(self.job, prepared.register, routes, self._guesses())
        self.marks = self._marks()
        self.places = self._places()
        self.field = self._field_shifts()
        self.raw = self.field.take_out(self.raw, self.session, self.time, routes.frames.to_issued)

    def run(self) -> Settled:
        """Adjust, find the occupations that codes give away, compare, judge."""
        shifts = self._derive()
        applied = SessionShifts(shifts.shift, shifts.covariance)
        everything = correct(self.routes.frames, self.raw, self.session, self._sigma(), applied)
        marks, roles = self._resolve(everything)
        occupations, spans = self._compare(everything, marks, roles)
        evidence = tuple(self._evidence(occupations, number) for number in range(len(self.windows)))
        verdicts = tuple(
            verdict(evidence[number], bool(shifts.whole[number]), *_span(spans[number])) for number in range(len(self.windows))
        )
        return Settled(
            self.reference, shifts, applied, self.field, self.bases, self.places, occupations, evidence, verdicts, spans
        )

    def _raw_positions(self) -> Floats:
        raw = np.full((self.table.num_rows, 3), np.nan)
        export = np.asarray(self.table.column("export"), np.int64)
        for number in np.unique(export):
            rows = np.flatnonzero(export == number)
            block = self.prepared.exports[number].block
            raw[rows] = working_positions(self.table.take(pa.array(rows)), self.routes.frames.to_working[block])
        return raw

    def _set_up_bases(self) -> Bases:
        receiver = np.full((len(self.windows), 3), np.nan)
        mark = receiver.copy()
        for window in self.windows:
            setup = window.session.setup
            if setup is None or self.routes.base is None:
                continue
            for found, height in ((receiver, setup.ellipsoid_height), (mark, setup.ellipsoid_height - setup.antenna_height)):
                place = self.routes.base.forward(setup.longitude, setup.latitude, height, time=_year(window.start_ms))
                found[window.index] = [float(part) for part in place]
        return Bases(receiver, mark)

    def _guesses(self) -> dict[str, Floats]:
        """Return a raw position for every mark that is tied to or set up on: metres off, for what the register lacks."""
        found: dict[str, Floats] = {}
        for named, raw in zip(self.named, self.raw, strict=True):
            if named is not None:
                found.setdefault(named.mark, raw)
        for window in self.windows:
            if window.session.setup:
                found.setdefault(window.session.setup.mark, self.bases.mark[window.index])
        return found

    def _marks(self) -> Marks:
        """Return the marks that the adjustment knows: the register's that are tied to, and the temporary ones."""
        used = {named.mark: None for named in self.named if named is not None and named.role is Role.TIE}
        used |= {w.session.setup.mark: None for w in self.windows if w.session.setup is not None}
        guesses, known = self._guesses(), {name: number for number, name in enumerate(self.reference.names)}
        xyz, held, sigma = np.zeros((len(used), 3)), np.zeros((len(used), 3), bool), np.ones((len(used), 3))
        for row, name in enumerate(used):
            if name in known and np.isfinite(self.reference.xyz[known[name]]).all():
                number = known[name]
                xyz[row], held[row] = self.reference.xyz[number], self.reference.held[number]
                sigma[row] = self.reference.sigma[number]
            else:
                xyz[row] = guesses[name]
        longitude, latitude = self._lonlat(xyz)
        return Marks(tuple(used), xyz, longitude, latitude, held, sigma)

    def _lonlat(self, xyz: Floats) -> tuple[Floats, Floats]:
        longitude, latitude, _ = self.routes.frames.to_geographic.forward(*xyz.T)
        return longitude, latitude

    def _places(self) -> Floats:
        """Return per session the raw position of its base, else its first tie, else its first reading."""
        places = self.bases.mark.copy()
        for session, named, raw in zip(self.session, self.named, self.raw, strict=True):
            if named is not None and named.role is Role.TIE and np.isnan(places[session, 0]):
                places[session] = raw
        frames = self.routes.frames
        for number in np.flatnonzero(np.isnan(places[:, 0])):
            first = self.gathered.place[number]
            if np.isfinite(first).all():
                operation = frames.to_working[self.gathered.place_block[number]]
                time = _year(self.windows[number].start_ms)
                places[number] = [float(part) for part in operation.forward(*first, time=time)]
        return places

    def _field_shifts(self) -> FieldShifts:
        count = len(self.windows)
        start, geocentric, grid = np.full(count, NEVER), np.zeros((count, 3)), np.zeros((count, 3))
        longitude, latitude = self._lonlat(self._field_places())
        for window in self.windows:
            stated = window.session.field_shift
            if stated is None:
                continue
            number, vector = window.index, np.array([stated.east, stated.north, stated.up])
            start[number] = round(stated.start.timestamp() * 1000)
            if stated.model == "grid":
                grid[number] = vector
            else:
                geocentric[number] = local_to_geocentric(vector, longitude[number], latitude[number])
        return FieldShifts(start, geocentric, grid)

    def _field_places(self) -> Floats:
        """Return (S, 3) where each session's field shift was made: the mark of its first tie, else `places`."""
        places = self.places.copy()
        row = {name: number for number, name in enumerate(self.marks.names)}
        for window in self.windows:
            if window.session.ties:
                places[window.index] = self.marks.xyz[row[window.session.ties[0].mark]]
        return places

    def _sigma(self) -> Floats:
        distance = np.linalg.norm(self.raw - self.bases.receiver[self.session], axis=1)
        return with_distance(observed_sigma(self.table, self.job.quality), distance, self.job.quality.ppm)

    def _derive(self) -> Shifts:
        row = {name: number for number, name in enumerate(self.marks.names)}
        centring = self.job.quality.centring
        ties = np.array([n for n, named in enumerate(self.named) if named and named.role is Role.TIE], np.int64)
        over = [w for w in self.windows if w.session.setup is not None]
        occupied = Occupied(
            self.session[ties],
            np.array([row[_named(self.named[n]).mark] for n in ties], np.int64),
            self.raw[ties],
            np.hypot(self._sigma()[ties], [centring, centring, 0.0]),
        )
        setups = Occupied(
            np.array([w.index for w in over], np.int64),
            np.array([row[w.session.setup.mark] for w in over if w.session.setup], np.int64),
            self.bases.mark[[w.index for w in over]],
            # common practice, no source: an antenna height is measured about as well as a pole is centred
            np.full((len(over), 3), max(centring, 1e-4)),
        )
        return derive(len(self.windows), self.marks, occupied, setups, self._stated())

    def _stated(self) -> Stated:
        quality = self.job.quality
        stated = [w for w in self.windows if w.session.shift != "derive"]
        shift, sigma = np.zeros((len(stated), 3)), np.zeros((len(stated), 3))
        for row, window in enumerate(stated):
            given = window.session.shift
            if isinstance(given, GivenShift):
                shift[row] = given.east, given.north, given.up
                sigma[row] = given.sigma_horizontal, given.sigma_horizontal, given.sigma_vertical
            else:
                # network corrections are about as good as one observation
                sigma[row] = quality.sigma_horizontal, quality.sigma_horizontal, quality.sigma_vertical
        numbers = np.array([w.index for w in stated], np.int64)
        longitude, latitude = self._lonlat(np.nan_to_num(self.places[numbers], nan=6.4e6))
        return Stated(numbers, shift, sigma, longitude, latitude)

    def _resolve(self, corrected: Corrected) -> tuple[list[str | None], list[Role]]:
        """Return per candidate the mark that it stands on, None where it is an ordinary point, and its role."""
        wanted = Wanted.of([], self.job.checks.codes)
        coded = wanted.has_code(self.table.column("code")).to_pylist()
        columns = self.table.column("mark").to_pylist()
        marks: list[str | None] = []
        roles: list[Role] = []
        for row, named in enumerate(self.named):
            mark, role = None, Role.CHECK
            if named is not None:
                mark, role = named.mark, named.role
            elif coded[row] or (columns[row] or "").strip() in self.reference.names:
                mark = said_mark(self.names[row], columns[row], self.reference.names)
                mark = mark or self._nearest(corrected.easting[row], corrected.northing[row])
            marks.append(mark)
            roles.append(role)
        return marks, roles

    def _nearest(self, easting: float, northing: float) -> str | None:
        """Return the register mark within `checks.radius`, None where there is none."""
        if not len(self.reference.names) or not np.isfinite(easting):
            return None
        distance = np.hypot(self.reference.grid[:, 0] - easting, self.reference.grid[:, 1] - northing)
        distance = np.where(np.isnan(distance), np.inf, distance)
        nearest = int(np.argmin(distance))
        return self.reference.names[nearest] if distance[nearest] <= self.job.checks.radius else None

    def _compare(
        self, corrected: Corrected, marks: list[str | None], roles: list[Role]
    ) -> tuple[OnMarks, Integers]:
        finite = np.isfinite(corrected.easting) & np.isfinite(corrected.northing) & np.isfinite(corrected.height)
        occupied = np.array([mark is not None for mark in marks], bool) & finite
        spans = np.column_stack([self.gathered.first_point, self.gathered.last_point])
        for row in np.flatnonzero(~occupied):
            spans[self.session[row], 0] = min(spans[self.session[row], 0], self.time[row])
            spans[self.session[row], 1] = max(spans[self.session[row], 1], self.time[row])
        rows = np.flatnonzero(occupied)
        rows = rows[np.lexsort((np.asarray(self.table.column("number"))[rows], self.time[rows], self.session[rows]))]
        number = {name: n for n, name in enumerate(self.reference.names)}
        at = [number.get(marks[row] or "", -1) for row in rows]
        # A temporary mark is the last row: nothing known, nothing held.
        known = np.vstack([self.reference.grid, np.full((1, 3), np.nan)])[at]
        holds = np.vstack([self.reference.holds(), np.zeros((1, 2), bool)])[at] & np.isfinite(known[:, [0, 2]])
        found = Corrected(*(getattr(corrected, name)[rows] for name in Corrected.__dataclass_fields__))
        compared = differences(
            np.column_stack([found.easting, found.northing, found.height]),
            known,
            holds,
            self.job.checks.horizontal,
            self.job.checks.vertical,
        )
        places = tuple(place(int(self.time[row]), *_span(spans[self.session[row]])) for row in rows)
        on_marks = OnMarks(
            self.table.take(pa.array(rows)),
            self.session[rows],
            self.time[rows],
            tuple(str(marks[row]) for row in rows),
            tuple(roles[row] for row in rows),
            found,
            known,
            compared,
            places,
        )
        return on_marks, spans

    def _evidence(self, on_marks: OnMarks, session: int) -> Evidence:
        """Return the evidence of one session; temporary marks and marks that hold nothing give none."""
        here = np.flatnonzero((on_marks.session == session) & on_marks.compared.judged)
        tied = {on_marks.marks[row] for row in here if on_marks.roles[row] is Role.TIE}
        independent = any(on_marks.roles[row] is Role.CHECK and on_marks.marks[row] not in tied for row in here)
        return Evidence(on_marks.time[here], on_marks.compared.passed[here], independent)


def _named(named: Named | None) -> Named:
    assert named is not None
    return named


def _span(span: Integers) -> tuple[int | None, int | None]:
    """Return first and last time, or None and None where there is no point."""
    return (int(span[0]), int(span[1])) if span[0] <= span[1] else (None, None)


def _year(time: int) -> Floats:
    return decimal_year(np.array([time]))


def shift_at_places(settled: Settled, routes: Routes) -> tuple[Floats, Floats]:
    """Return (S, 3) shifts and (S, 3) standard uncertainties east, north, up, each at its session's place."""
    longitude, latitude, _ = routes.frames.to_geographic.forward(*settled.places.T)
    turn = enu_rotation(np.nan_to_num(longitude), np.nan_to_num(latitude))
    local = np.einsum("nij,nj->ni", turn, settled.shifts.shift)
    variance = np.einsum("nij,njk,nik->ni", turn, settled.shifts.covariance, turn)
    return local, np.sqrt(variance)
