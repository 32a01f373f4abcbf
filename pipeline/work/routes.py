"""The PROJ operations of a job, chosen over its area; a refusal becomes a problem at the line that asked for it."""

from dataclasses import dataclass

from pipeline.correct import Frames
from pipeline.geodesy import crs
from pipeline.geodesy.area import Area
from pipeline.geodesy.operations import (
    Operation,
    OperationError,
    raw_to_working,
    register_to_working,
    working_to_geographic,
    working_to_issued,
)
from pipeline.problems import JobError, Problem, Problems
from pipeline.work.prepare import Prepared

#: Metres around the extent of the readings: the control marks lie somewhere near.
_MARGIN = 5_000.0


@dataclass(frozen=True)
class Routes:
    """The operations of a job over its ``area``: ``frames``, ``register`` for marks, ``base`` for set-ups."""

    frames: Frames
    register: Operation | None
    base: Operation | None
    area: Area

    def recorded(self) -> list[Operation]:
        """Return every operation used, each once, in the order of the work."""
        every = [*self.frames.to_working, self.base, self.register, self.frames.to_issued]
        return list(dict.fromkeys(operation for operation in every if operation is not None))


def choose_routes(
    prepared: Prepared, extent: Area | None, hint: str | None = None, ids: str | None = None
) -> Routes:
    """Choose the operations for a job over the extent of its readings.

    Where there is none, ``ids`` says what of base ids keeps every reading out, else ``hint`` what to look at.

    Raises `JobError` that names, for each step, what is missing and at which key of the job file it is asked for.
    """
    loaded, problems = prepared.loaded, Problems()
    job, target = loaded.job, loaded.job.target
    if extent is None:
        raise JobError(_nothing_usable(prepared, hint, ids))
    area = extent.with_margin(_MARGIN)
    to_working, register, base = [], None, None
    for number, block in enumerate(job.points):
        try:
            to_working.append(
                raw_to_working(block.crs or "", target.grid, area, height=target.height, epoch=target.epoch)
            )
        except OperationError as error:
            problems.add(*loaded.where("points", number, "crs"), error.what, error.fix)
    if job.control is not None and prepared.register is not None:
        try:
            register = register_to_working(
                job.control.crs, job.control.height, target.grid, target.height, target.geoid, area, epoch=target.epoch
            )
        except OperationError as error:
            problems.add(*loaded.where("control", "crs"), error.what, error.fix)
    if any(window.session.setup for window in prepared.windows):
        source = job.source.crs or job.points[0].crs or ""
        try:
            datum = crs.promote(crs.geographic_of(crs.source_crs(source))).to_wkt()
            base = raw_to_working(datum, target.grid, area, step="base to working", epoch=target.epoch)
        except OperationError as error:
            problems.add(*loaded.where("source", "crs"), error.what, error.fix)
    try:
        to_issued = working_to_issued(target.grid, target.height, area, target.geoid)
        to_geographic = working_to_geographic(target.grid)
    except OperationError as error:
        problems.add(*loaded.where("target", "geoid" if target.geoid else "height"), error.what, error.fix)
    problems.raise_if_any()
    return Routes(Frames(tuple(to_working), to_issued, to_geographic), register, base, area)


def _nothing_usable(prepared: Prepared, hint: str | None, ids: str | None) -> list[Problem]:
    loaded = prepared.loaded
    if ids is not None:
        what = "no reading of the job is one of a session: their base ids are not those of the sessions of their time"
        return [Problem(*loaded.where("points"), what, ids)]
    return [
        Problem(
            *loaded.where("points"),
            "no reading of the job has a time within a session, a position and an accepted solution",
            hint or "see whether time_zone, the sessions' times, base ids and quality.solutions fit the exports",
        )
    ]
