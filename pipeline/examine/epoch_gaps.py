"""Reports epochs that are missing or have no effect, and how far [m] the ground moves without them."""

from collections.abc import Iterator

import numpy as np

from pipeline.clock import DAY
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.register_epoch import register_epoch_notes
from pipeline.geodesy.epochs import decimal_year
from pipeline.geodesy.indirect_operations import datum_name, moves_with_time
from pipeline.intake.survey import Survey
from pipeline.words import Doubt, counted

#: The parts of a check's tolerance from which what an epoch leaves open is told, and is doubted. Ours, no source.
_TOLD, _DOUBTED = 0.1, 0.5


def epoch_notes(survey: Survey) -> list[str]:
    """Return in words which epochs change nothing, are lacking, or matter little."""
    job = survey.job
    told = []
    if job.target.epoch is not None and not moves_with_time(job.target.grid):
        told.append(f"target.epoch changes nothing: {datum_name(job.target.grid)} does not move with time")
    control = job.control
    told += register_epoch_notes(survey)
    if control is not None and control.epoch is not None and not moves_with_time(control.crs):
        told.append(f"control.epoch changes nothing: {datum_name(control.crs)} does not move with time")
    alone = [number for number in _lacking(survey) if _network(survey, number)]
    if alone:
        names = ", ".join(survey.windows[number].session.name for number in alone)
        told.append(
            f"{names}: no epoch is stated, so every point is assumed to be at the epoch of its observation; if the"
            " corrections were at one fixed epoch, state it as epoch of [source] or [[session]]"
        )
    slow = job.checks.horizontal * np.array([_TOLD, _DOUBTED])
    drifts = _drifts(survey)
    return told + [_sentence(survey, number, by, days) for number, by, days in drifts if slow[0] < by <= slow[1]]


def epoch_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt per session so long that its points part by their own times, while its base held one position."""
    most = survey.job.checks.horizontal * _DOUBTED
    return [
        Doubtful(Doubt.EPOCH, _sentence(survey, number, by, days), (number,), *_place(survey, number))
        for number, by, days in _drifts(survey)
        if by > most
    ]


def _sentence(survey: Survey, number: int, by: float, days: float) -> str:
    return (
        f"session {survey.windows[number].session.name}: it spans {counted(round(days), 'day')}, in which the ground"
        f" moves by {by * 1000:.0f} mm, but the base position is fixed; state the epoch of the base position as epoch"
    )


def _place(survey: Survey, number: int) -> tuple[str, int]:
    """Return file, from the job file's folder, and line of a session."""
    file, line = survey.windows[number].where
    return survey.prepared.loaded.recorded(file), line


def _network(survey: Survey, number: int) -> bool:
    return survey.windows[number].session.shift == "none"


def _lacking(survey: Survey) -> Iterator[int]:
    """Yield the sessions with readings that move with time and no epoch stated."""
    timed = np.array([operation.time_dependent for operation in survey.operations.frames.to_working], bool)
    lacking = (survey.first_pass.blocks & timed & np.isnan(survey.operations.epochs[:-1])).any(axis=1)
    yield from np.flatnonzero(lacking).tolist()


def _drifts(survey: Survey) -> Iterator[tuple[int, float, float]]:
    """Yield sessions with a base and no epoch: how far [m] a place moves from first to last reading, and the days."""
    session = np.asarray(survey.first_pass.candidates.column("session"), np.int64)
    time = np.asarray(survey.first_pass.candidates.column("time").cast("int64").fill_null(-1), np.int64)
    for number in _lacking(survey):
        if _network(survey, number) or not np.isfinite(survey.first_pass.place[number]).all():
            continue
        times = [*time[(session == number) & (time >= 0)].tolist()]
        if survey.first_pass.first_point[number] <= survey.first_pass.last_point[number]:
            times += [int(survey.first_pass.first_point[number]), int(survey.first_pass.last_point[number])]
        operation = survey.operations.frames.to_working[survey.first_pass.place_block[number]]
        if not times or not operation.time_dependent:
            continue
        edges = np.array([min(times), max(times)], np.int64)
        place = [np.full(2, value) for value in survey.first_pass.place[number]]
        moved = np.diff(np.column_stack(operation.forward(*place, decimal_year(edges))), axis=0)
        yield number, float(np.linalg.norm(moved)), float(np.diff(edges)[0] / DAY)
