"""The chain of one reading from its raw coordinates to the issued ones, sum by sum, with its uncertainty."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from pipeline.arrays import Floats
from pipeline.clock import moment, stamp
from pipeline.draft.second_pass import Drafted, Drafter
from pipeline.geodesy import crs
from pipeline.geodesy.frames import enu_rotation, rotate_covariance
from pipeline.geodesy.transform import Operation
from pipeline.geodesy.uncertainty import add_covariance, error_ellipse
from pipeline.intake.positions import working_positions
from pipeline.intake.prepare import POSITION_COLUMNS
from pipeline.solve.field_shifts import FieldReadings
from pipeline.solve.proof import PROOFS
from pipeline.solve.reading_precision import observed_precision, scale_of
from pipeline.solve.taken_out import by_what
from pipeline.tables import milliseconds
from pipeline.trace.model import Applied, Reading, Step, Uncertainty
from pipeline.trace.numbers import each, known, number, vector
from pipeline.trace.ties import around, shift_at
from pipeline.words import REASONS

XYZ, GRID = "X Y Z", "easting northing height"


def follow(drafter: Drafter, drafted: Drafted, row: int) -> Reading:
    """Return one row of a worked batch with everything that led to its issued coordinates."""
    return _Follower(drafter, drafted, row).reading()


class _Follower:
    """One row on its way."""

    def __init__(self, drafter: Drafter, drafted: Drafted, row: int) -> None:
        self.drafter, self.drafted, self.row = drafter, drafted, row
        self.survey, self.solved = drafter.survey, drafter.solved
        self.frames = self.survey.operations.frames
        self.one = drafted.batch.slice(row, 1)
        self.session = int(drafted.session[row])
        self.time = int(milliseconds(self.one)[0])
        found = drafted.corrected
        self.issued = np.array([found.easting[row], found.northing[row], found.height[row]])
        self.metres = np.array(self.survey.axes.metres(*self.issued))
        self.geographic = np.array([found.longitude[row], found.latitude[row], found.ellipsoid_height[row]])

    def reading(self) -> Reading:
        """Return it all."""
        drafted, row, export = self.drafted, self.row, self.drafted.export
        to_working = self.frames.to_working[export.block]
        raw = working_positions(self.one, to_working, self.survey.operations.epochs[[self.session], export.block])
        whole = self.session >= 0 and bool(np.isfinite(self.geographic).all())
        held, on_mark = int(drafted.held[row]), bool(drafted.on_mark[row])
        steps = tuple(self._steps(raw)) if whole else ()
        before, after = around(self.solved, self.session, self.time) if self.session >= 0 else (None, None)
        operations = (to_working, self.frames.to_issued, self.frames.to_geographic)
        return Reading(
            file=export.shown,
            row=self._value("source_row"),
            code=self._value("code"),
            solution=self._value("solution"),
            observed=moment(self.time) if self.one.column("time").null_count == 0 else None,
            base=self._value("base"),
            crs=export.points.crs or "",
            raw=tuple(zip(self._axes(), self._numbers("first", "second", "third"), strict=True)),
            session=self.survey.windows[self.session].session.name if self.session >= 0 else None,
            session_why=self._why_session(),
            raw_xyz=known(raw),
            shift=shift_at(self.survey, self.solved, self.session, *self.geographic[:2]) if whole else None,
            steps=steps,
            operations=tuple(_applied(operation) for operation in operations) if whole else (),
            geographic=known(self.geographic),
            separation=self._separation(),
            issued=known(self.issued),
            issued_metres=known(self.metres),
            uncertainty=self._uncertainty(raw) if whole else None,
            outcome="held back" if held else "on mark" if on_mark else "point",
            reason=str(REASONS[held - 1]) if held else None,
            detail=self.drafter.explain(drafted, row) if held else self.drafter.merged.mean(drafted.start + row),
            proof=str(PROOFS[int(drafted.proof[row])]) if self.session >= 0 else None,
            before=before,
            after=after,
            found=(),
            difference=None,
        )

    def _value(self, name: str) -> Any:
        return self.one.column(name)[0].as_py()

    def _numbers(self, *names: str) -> tuple[float | None, ...]:
        return each([self._value(name) for name in names])

    def _axes(self) -> tuple[str, ...]:
        kind = crs.kind_of(crs.source_crs(self.drafted.export.points.crs or ""))
        words = POSITION_COLUMNS[kind]
        third = {"geographic": ("ellipsoidal height",), "projected": ("height",), "geocentric": ()}[kind]
        return (*words, *third)

    def _why_session(self) -> str:
        """Return in words why the reading belongs to its session, or to none."""
        if self.session < 0:
            held = int(self.drafted.held[self.row])
            return (self.survey.sieve.explain(self.one, 0, REASONS[held - 1]) if held else None) or "it has no time"
        window = self.survey.windows[self.session]
        base = (self._value("base") or "").strip()
        told = f"{stamp(self.time)} UTC is in {stamp(window.start_ms)} to {stamp(window.end_ms)}"
        if window.base is None:
            return f"{told}; the session accepts any base id"
        return f"{told}; base {base}" if base else f"{told}; the reading names no base, and no other session runs then"

    def _steps(self, raw: Floats) -> Iterator[Step]:
        """Yield the sums from the raw position (1, 3) to the corrected one."""
        applied, xyz = self.solved.applied, raw
        for one in reversed(self.solved.field.of(self.session)):
            if not one.carried(self._field_reading()).all():
                continue
            after, name = one.out_of(xyz, self.frames.to_issued), f"field shift taken out{by_what(self.survey, one)}"
            if one.grid.any():
                grid = np.column_stack(self.frames.to_issued.forward(*xyz.T))
                yield _step(name, GRID, grid, -one.grid, grid - one.grid)
            elif one.geocentric.any():
                yield _step(name, XYZ, xyz, -one.geocentric, after)
            xyz = after
        if applied.grid is None:
            shift = applied.shift[self.session]
            yield _step("the session's shift", XYZ, xyz, shift, xyz + shift)
        else:
            grid, shift = np.column_stack(self.frames.to_issued.forward(*xyz.T)), applied.grid[self.session]
            yield _step("the session's shift", GRID, grid, shift, grid + shift)

    def _field_reading(self) -> FieldReadings:
        """Return the reading as field shifts see it."""
        number = np.array([self.drafted.number])
        return FieldReadings(np.array([self.session]), np.array([self.time]), number, self.one.column("base"))

    def _uncertainty(self, raw: Floats) -> Uncertainty:
        job = self.survey.job
        xyz = self.solved.field.take_out(raw, self._field_reading(), self.frames.to_issued)
        distance = number(float(np.linalg.norm(xyz[0] - self.survey.bases.receiver[self.session])))
        geoid = self.survey.operations.geoid_sigma
        rotation = enu_rotation(*self.geographic[:2])
        shift = rotate_covariance(self.solved.applied.covariance[self.session], rotation)
        whole = shift[None].copy()
        scale = scale_of(job.quality, self.drafted.export.points)
        precision = observed_precision(self.one, job.quality, np.array([distance or 0.0]), scale)
        add_covariance(whole, np.hypot(precision.sigma, [0.0, 0.0, geoid]), precision.correlated)
        (whole,) = whole
        site = self._site()
        whole = whole + site
        a, b = error_ellipse(whole[:2, :2])
        stated = [value is not None for value in self._numbers("sigma_east", "sigma_north", "sigma_up")]
        return Uncertainty(
            observed=vector(precision.sigma[0]),
            by_default=(not stated[0], not stated[1], not stated[2]),
            distance=distance,
            ppm=job.quality.ppm,
            shift=vector(np.sqrt(np.diagonal(shift))),
            geoid=geoid,
            site=vector(np.sqrt(np.diagonal(site))),
            together=vector(np.sqrt(np.diagonal(whole))),
            semi_axes=(float(a), float(b)),
            hu95=float(self.drafted.corrected.hu95[self.row]),
            vu95=float(self.drafted.corrected.vu95[self.row]),
        )

    def _separation(self) -> float | None:
        """Return the geoid separation, None in a site's own system, whose heights are further steps away."""
        if self.survey.operations.site is not None:
            return None
        return number(float(self.geographic[2] - self.metres[2]))

    def _site(self) -> Floats:
        """Return (3, 3) of the localisation at the point, east, north, up; zero where there is none."""
        made, site = np.zeros((3, 3)), self.survey.operations.site
        if site is not None:
            plan, height = site.uncertainty(self.issued[:1], self.issued[1:2])
            made[:2, :2], made[2, 2] = plan[0], height[0]
        return made


def _step(name: str, frame: str, before: Floats, added: Floats, after: Floats) -> Step:
    return Step(name, frame, vector(before), vector(added), vector(after))


def _applied(operation: Operation) -> Applied:
    grids = tuple(grid.name for grid in operation.grids)
    return Applied(operation.step, operation.name, operation.definition, operation.accuracy, grids)
