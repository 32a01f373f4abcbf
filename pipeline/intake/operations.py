"""The PROJ operations of a job, chosen over its area; a refusal becomes a problem at the line that asked for it."""

from collections.abc import Iterator
from contextlib import contextmanager

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.geodesy import crs
from pipeline.geodesy.area import Area
from pipeline.geodesy.epochs import decimal_year
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.operations import (
    Frame,
    raw_to_working,
    register_to_working,
    working_to_geographic,
    working_to_issued,
)
from pipeline.geodesy.realisations import realised
from pipeline.geodesy.transform import Frames, Operation
from pipeline.intake.epochs import check_epochs, check_target_epoch, stated_epochs
from pipeline.intake.prepare import Prepared
from pipeline.intake.site import Site, localise
from pipeline.problems import Problems

#: Metres around the extent of the readings: what a base is off by. Whether an operation serves the job is judged on its
#: points; a wide margin would refuse every job near a border or a coast.
_MARGIN = 100.0


class Operations(Struct, frozen=True):
    """The operations of a job over its ``area``: ``frames``, ``register`` for marks, ``base`` for set-ups.

    ``site`` is the site's own system, which ``frames`` lead to where there is one.
    ``epochs`` (S + 1, B) are the stated epochs of coordinates per session and block, the last row for no session; NaN
    where the time of an observation is its coordinates'. ``geoid_sigma`` is the standard uncertainty of the geoid
    separation, metres; 0 where the job states none.
    """

    frames: Frames
    register: Operation | None
    base: Operation | None
    area: Area
    epochs: Floats
    geoid_sigma: float
    site: Site | None = None

    def year(self, session: int, block: int | None, milliseconds: int) -> Floats:
        """Return (1,) the epoch [decimal year] of coordinates observed at a time: the stated one, else that time.

        ``block`` is None for the position of a set-up, which is in the CRS of ``[source]``, else of the first block.
        """
        stated = self.epochs[session, block or 0]
        return decimal_year([milliseconds]) if np.isnan(stated) else np.array([stated])

    def recorded(self) -> list[Operation]:
        """Return every operation used, each once, in the order of the work."""
        every = [*self.frames.to_working, self.base, self.register, self.frames.to_issued]
        return list(dict.fromkeys(operation for operation in every if operation is not None))


@contextmanager
def _noted(problems: Problems, where: tuple[str, int]) -> Iterator[None]:
    """Note at a key of the job file what is missing for a step of work."""
    try:
        yield
    except OperationError as error:
        problems.add(*where, error.what, error.fix)


def choose_operations(prepared: Prepared, extent: Area) -> Operations:
    """Choose the operations for a job over the extent of its readings.

    Raises `JobError` that names, for each step, what is missing and at which key of the job file it is asked for.
    """
    loaded, problems = prepared.loaded, Problems()
    job, target = loaded.job, loaded.job.target
    area = extent.with_margin(_MARGIN)
    to_working, register, base = [], None, None
    for number, block in enumerate(job.points):
        with _noted(problems, loaded.where("points", number, "crs")):
            frame = realised(block.crs or "", block.realisation)
            to_working.append(
                raw_to_working(frame, target.grid, area, height=target.height, epoch=target.epoch, geoid=target.geoid)
            )
    if job.control is not None and prepared.register is not None:
        with _noted(problems, loaded.where("control", "crs")):
            register = register_to_working(
                Frame(job.control.crs, job.control.height, job.control.epoch),
                target=Frame(target.grid, target.height, target.epoch),
                geoid=target.geoid,
                area=area,
            )
    in_degrees = any(one.stated.longitude is not None for one in prepared.field_windows)
    if in_degrees or any(window.session.setup for window in prepared.windows):
        shared = job.source if job.source.crs is not None else job.points[0]
        with _noted(problems, loaded.where("source", "crs")):
            source = crs.source_crs(realised(shared.crs or "", shared.realisation))
            datum = crs.promote(crs.geographic_of(source)).to_wkt()
            base = raw_to_working(datum, target.grid, area, step="base to computation", epoch=target.epoch)
    with _noted(problems, loaded.where("target", "geoid" if target.geoid else "height")):
        to_issued = working_to_issued(target.grid, target.height, area, target.geoid)
        to_geographic = working_to_geographic(target.grid)
    problems.raise_if_any()
    site = localise(prepared, register, to_issued, problems) if target.site and register is not None else None
    if site is not None:
        to_issued = site.behind(to_issued)
    check_epochs(prepared, to_working, base, problems)
    every = [*to_working, *(one for one in (base, register) if one is not None)]
    check_target_epoch(prepared, every, problems)
    problems.raise_if_any()
    frames = Frames(tuple(to_working), to_issued, to_geographic)
    return Operations(frames, register, base, area, stated_epochs(prepared), target.geoid_sigma or 0.0, site)
