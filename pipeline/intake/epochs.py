"""The epochs of coordinates that move with time: stated where, needed where, and never taken up and then ignored."""

from collections.abc import Iterable

import numpy as np

from pipeline.arrays import Floats
from pipeline.geodesy.epochs import decimal_year
from pipeline.geodesy.indirect_operations import datum_name, moves_with_time
from pipeline.geodesy.realisations import realised
from pipeline.geodesy.transform import Operation
from pipeline.intake.prepare import Prepared
from pipeline.job.model import Session
from pipeline.problems import Problems

#: Years within which two epochs are one: no plate goes further than 3 mm in that time.
ONE_EPOCH = 0.03


def epoch_of(session: Session) -> float | None:
    """Return the epoch [decimal year] that a session states of its base's position."""
    return session.epoch if session.epoch is not None or session.setup is None else session.setup.epoch


def stated_epochs(prepared: Prepared) -> Floats:
    """Return (S + 1, B) the epoch of each session's coordinates in each block, the last row for no session at all.

    What the session says of its base comes first, then what the block or ``[source]`` says; NaN where nothing is said.
    """
    blocks = [block.epoch for block in prepared.loaded.job.points]
    sessions = [epoch_of(window.session) for window in prepared.windows]
    return np.array(
        [[np.nan if (one := said or block) is None else one for block in blocks] for said in [*sessions, None]]
    ).reshape(len(sessions) + 1, len(blocks))


def check_epochs(prepared: Prepared, to_working: list[Operation], base: Operation | None, problems: Problems) -> None:
    """Add what is wrong with the epochs that the job file states: two for one thing, or one that changes nothing."""
    loaded, job = prepared.loaded, prepared.loaded.job
    fix = "remove it, or state a dynamic frame, such as ITRF2014, as crs or realisation"
    timed = [operation.time_dependent for operation in to_working]
    for number, (block, depends) in enumerate(zip(job.points, timed, strict=True)):
        shared = block.epoch == job.source.epoch and any(timed)
        if block.epoch is not None and not depends and not shared:
            what = f"the epoch changes nothing: {to_working[number].name} does not depend on time"
            problems.add(*loaded.where("points", number, "epoch"), what, fix)
    for window in prepared.windows:
        session, setup = window.session, window.session.setup
        if setup is not None and None not in (session.epoch, setup.epoch) and session.epoch != setup.epoch:
            what = f"session {session.name} states two epochs for its base, {session.epoch:g} and {setup.epoch:g}"
            problems.add(*window.where, what, "keep the right one")
        elif epoch_of(session) is not None and not any(timed) and not (base is not None and base.time_dependent):
            what = f"session {session.name}: the epoch changes nothing, as no operation of the job depends on time"
            problems.add(*window.where, what, fix)


def check_target_epoch(prepared: Prepared, operations: Iterable[Operation], problems: Problems) -> None:
    """Add what is wrong with the epochs of a grid that moves with time, and of the register beside it.

    A grid whose datum all of the job is in needs none: many national datums count as moving.
    """
    loaded, target, control = prepared.loaded, prepared.loaded.job.target, prepared.loaded.job.control
    if not moves_with_time(target.grid):
        return
    if target.epoch is None:
        if not any(operation.time_dependent or operation.epoch is not None for operation in operations):
            return
        what = f"coordinates in {datum_name(target.grid)} move with time, but target.epoch is not stated"
        problems.add(*loaded.where("target", "grid"), what, "state target.epoch, in years such as 2026.2")
        return
    if (
        control is not None
        and moves_with_time(control.crs)
        and abs((control.epoch or target.epoch) - target.epoch) > ONE_EPOCH
    ):
        what = f"the register's coordinates, which move with time, are at {control.epoch:g}, not at {target.epoch:g}"
        fix = "give the marks at target.epoch: no operation here converts them from one epoch to the other"
        problems.add(*loaded.where("control", "crs"), what, fix)
    for number, block in enumerate(loaded.job.points):
        stated = [window for window in prepared.windows if window.session.shift != "derive"]
        apart = [window for window in stated if not _near(prepared, window.index, block.epoch, target.epoch)]
        if block.crs is not None and moves_with_time(realised(block.crs, block.realisation)) and apart:
            names = ", ".join(window.session.name for window in apart)
            what = f"the coordinates of {names} are not at target.epoch, {target.epoch:g}"
            fix = "derive the shift from control at target.epoch, or state the epoch at which the coordinates are"
            problems.add(*loaded.where("points", number, "crs"), f"{what}, and no tie to control corrects for it", fix)


def _near(prepared: Prepared, session: int, block: float | None, epoch: float) -> bool:
    window = prepared.windows[session]
    said = epoch_of(window.session) or block
    years = decimal_year([window.start_ms, window.end_ms]) if said is None else np.array([said])
    return bool(np.all(np.abs(years - epoch) <= ONE_EPOCH))
