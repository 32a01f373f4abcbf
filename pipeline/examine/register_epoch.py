"""A register on a frame that moves, without an epoch of its own: at which epoch are its marks?

They are taken to be at the grid's epoch. If they are at another, the ties absorb the ground's motion since then in
full, and every check agrees.
"""

from collections.abc import Iterator
from datetime import date
from pathlib import Path

import numpy as np

from pipeline.control.register_dates import possible_days
from pipeline.examine.doubtful import Doubtful
from pipeline.geodesy.epochs import decimal_year
from pipeline.geodesy.indirect_operations import moves_with_time
from pipeline.intake.survey import Survey
from pipeline.replace import replace
from pipeline.words import Doubt

#: Years that marks must be older than the grid's epoch to contradict it. Ours, no source.
_OLDER = 1.0
#: Metres a year below which no plate's motion is meant.
_MOVES = 0.005


def register_epoch_notes(survey: Survey) -> Iterator[str]:
    """Yield that the register's marks are assumed to be at the grid's epoch, and how fast the ground moves there."""
    if not _assumed(survey):
        return
    speed = _speed(survey)
    moves = "" if speed < _MOVES else f"; the ground moves by {speed * 1000:.0f} mm a year there, which no check shows"
    yield f"no control.epoch is stated, so the register's marks are assumed to be at target.epoch{moves}"


def register_epoch_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt where all dated marks that give shifts are so much older that the ground has left the tolerance.

    Later ones are none: official coordinates at a fixed epoch are published at any time after it.
    """
    epoch = survey.job.target.epoch
    if epoch is None or not _assumed(survey) or (newest := _newest(survey)) is None:
        return
    mark, day = newest
    older = epoch - float(decimal_year(np.datetime64(day, "ms")))
    if older <= _OLDER or (moved := older * _speed(survey)) <= survey.job.checks.horizontal:
        return
    file, line = survey.where("control", "crs")
    what = (
        f"the newest date of the marks that give shifts is {day.isoformat()} ({mark}), {older:.1f} years before"
        f" target.epoch = {epoch:g}, and the ground moves by {moved * 1000:.0f} mm in that time, which ties absorb and"
        f" no check shows: state as control.epoch at which epoch the marks are, {epoch:g} if they were brought to it"
    )
    yield Doubtful(Doubt.EPOCH, what, None, Path(file).name, line)


def _assumed(survey: Survey) -> bool:
    """Say whether the epoch of the register's marks is taken from the grid."""
    target, control = survey.job.target, survey.job.control
    if target.epoch is None or control is None or control.epoch is not None:
        return False
    return moves_with_time(target.grid) and moves_with_time(control.crs)


def _newest(survey: Survey) -> tuple[str, date] | None:
    """Return the mark with the newest date among those that ties and set-ups are on, and the last day it may mean."""
    register = survey.register
    if register is None:
        return None
    found = list[tuple[date, str]]()
    for window in survey.windows:
        setup = window.session.setup
        names = [tie.mark for tie in window.session.ties] + ([setup.mark] if setup is not None else [])
        rows = (register.find(name) for name in names)
        days = ((possible_days(register.dated[row]), row) for row in rows if row is not None)
        found += [(day[1], register.names[row]) for day, row in days if day is not None]
    return max(found)[::-1] if found else None


def _speed(survey: Survey) -> float:
    """Return how far [m] the ground moves in the grid's frame in a year; 0 where no operation of the job says it."""
    first, frames, year = survey.first_pass, survey.operations.frames, survey.job.target.epoch or 0.0
    for number in np.flatnonzero(np.isfinite(first.place).all(axis=1)).tolist():
        operation = frames.to_working[first.place_block[number]]
        if operation.time_dependent or operation.epoch is not None:
            at = (np.ravel(replace(operation, epoch=when).forward(*first.place[number])) for when in (year, year + 1.0))
            moved = float(np.linalg.norm(np.subtract(*at)))
            return moved if np.isfinite(moved) else 0.0
    return 0.0
