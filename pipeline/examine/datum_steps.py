"""Compares the datum transformations of a job, and finds the part of their errors [m] that no shift absorbs.

A shift that control derives takes up whatever is alike all over the job between the way of the readings and the truth
of the marks. It does not take up what varies over the job's extent, nor an error in the way of the marks themselves.
"""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats
from pipeline.examine.doubtful import Doubtful
from pipeline.geodesy import crs as systems
from pipeline.geodesy.crs_comparison import is_projected
from pipeline.geodesy.epochs import decimal_year
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.indirect_operations import (
    Detour,
    Places,
    better_ways,
    by_way_of,
    datum_name,
    difference_spread,
    differences_from_detour,
    largest_difference,
    same_datum,
)
from pipeline.geodesy.operations import datum_to_datum
from pipeline.geodesy.realisations import realised
from pipeline.intake.session_operations import Place, operations_of
from pipeline.intake.survey import Survey
from pipeline.job.model import Job
from pipeline.problems import Problems
from pipeline.words import Doubt

#: The part of a check's tolerance that the datum steps may take: what is left is for the field. Ours, no source.
_PART = 0.5
#: The part of a check's tolerance from which a difference of datum steps is told.
_TOLD = 0.1

#: Geoid models of national services are said to be good to 0.02 to 0.1 m, those of the whole earth to half a metre and
#: more. From this many tolerances of a check on, a height step is doubted; common practice, no source.
_GEOID = 4.0


class _Way(Struct, frozen=True):
    """One way into the working frame: where the job file asks for it, its CRS, and whether shifts take it up."""

    place: Place
    crs: str
    block: int | None
    taken_up: bool


def unlike_steps(survey: Survey) -> list[str]:
    """Return in words how far the job's datum steps are apart over its extent, where that deserves a look.

    Raises `JobError` where they are further apart than ``target.max_transform_error``, or, where that is not stated,
    than half the tolerance of checks.
    """
    problems, told = Problems(), list[str]()
    for way in _ways(survey):
        places = places_of(survey, way.block)
        for detour in _detours(survey, way, places, told):
            _judge(survey, way, detour, places, problems, told)
    problems.raise_if_any()
    return told


def _ways(survey: Survey) -> Iterator[_Way]:
    job = survey.job
    derived = np.array([window.session.shift == "derive" or bool(window.session.ties) for window in survey.windows])
    for number, block in enumerate(job.points):
        used = survey.first_pass.blocks[:, number]
        frame = realised(block.crs or "", block.realisation)
        if used.any() and not same_datum(frame, job.target.grid):
            yield _Way(("points", number, "crs"), frame, number, bool(derived[used].all()))
    control = job.control
    if control is not None and survey.register is not None and not same_datum(control.crs, job.target.grid):
        yield _Way(("control", "crs"), control.crs, None, False)


def places_of(survey: Survey, block: int | None) -> Places:
    """Return points over the extent of the readings, at the heights of the first ones of the sessions."""
    assert survey.first_pass.area is not None
    chosen = np.ones(len(survey.first_pass.place), bool) if block is None else survey.first_pass.place_block == block
    heights: Floats = survey.first_pass.place[chosen, 2]
    on_earth = heights[np.abs(np.nan_to_num(heights, nan=np.inf)) < 10_000.0]  # a geocentric Z is no height
    return Places.over(survey.first_pass.area, on_earth, float(decimal_year([survey.first_pass.newest or 0])[0]))


def _detours(survey: Survey, way: _Way, places: Places, told: list[str]) -> Iterator[Detour]:
    """Yield the other ways to the target: that of the marks, else those by frames that PROJ holds for the same."""
    job = survey.job
    control = job.control if survey.register is not None else None
    try:
        direct = datum_to_datum(way.crs, job.target.grid, survey.operations.area)
        if way.block is not None and control is not None and not same_datum(control.crs, job.target.grid):
            by_marks = by_way_of(way.crs, control.crs, job.target.grid, survey.operations.area, places, direct.accuracy)
            if by_marks is not None:
                yield by_marks
    except OperationError:
        return  # what is lacking for the job itself is said where its operations are chosen
    if direct.accuracy is not None and direct.accuracy <= job.checks.horizontal:
        return
    found, lacking = better_ways(way.crs, job.target.grid, survey.operations.area, places, direct.accuracy)
    yield from found
    if not found and lacking:
        told.append(
            f"{_name(way)}: {direct.name} is {_stated(direct.accuracy)}, and a better operation is not"
            f" available: {lacking[0]}; how far the two differ over the job is not known"
        )


def _judge(survey: Survey, way: _Way, detour: Detour, places: Places, problems: Problems, told: list[str]) -> None:
    job = survey.job
    differences = differences_from_detour(way.crs, detour, job.target.grid, survey.operations.area, places)
    across, up = difference_spread(differences) if way.taken_up else largest_difference(differences)
    horizontal, vertical = _allowed(job)
    direct = datum_to_datum(way.crs, job.target.grid, survey.operations.area)
    what = (
        f"{datum_name(way.crs)} is transformed to {datum_name(job.target.grid)} by {direct.name}"
        f" ({_stated(direct.accuracy)}), which differs from the route via {detour.via} ({detour.onward.name}) by up to"
        f" {_size(across, up)} over the job{', apart from what a shift absorbs' if way.taken_up else ''}"
    )
    if across > horizontal or up > vertical:
        problems.add(
            *survey.where(*way.place),
            f"{what}; allowed: {_size(horizontal, vertical)}",
            f"{_to_state(way.crs, detour)} if the coordinates are in {detour.via}, as most called"
            f" {datum_name(way.crs)} are; or allow more with target.max_transform_error",
        )
    elif across > _TOLD * job.checks.horizontal or up > _TOLD * job.checks.vertical:
        told.append(f"{_name(way)}: {what}")


def _to_state(crs: str, detour: Detour) -> str:
    """Return what to write as crs in place of one: eastings and northings stay such."""
    if is_projected(crs):
        return f"state the same grid on {detour.via} as crs"
    return f'state crs = "{detour.code}"'


def _allowed(job: Job) -> tuple[float, float]:
    """Return what datum steps may differ by, horizontally and in height [m]."""
    limit = job.target.max_transform_error
    return (limit, limit) if limit is not None else (_PART * job.checks.horizontal, _PART * job.checks.vertical)


def register_step(survey: Survey) -> tuple[list[Doubtful], list[str]]:
    """Return the doubts and notes about the way of the register: its error goes whole into what is issued.

    Raises `JobError` where it is beyond a stated ``target.max_transform_error``.
    """
    job = survey.job
    if job.control is None or survey.register is None or survey.operations.register is None:
        return [], []
    doubts, notes, problems = [], [], Problems()
    place = survey.prepared.loaded.recorded_at("control", "crs")
    for what, accuracy, tolerance, doubted in _register_errors(job, survey):
        limit = job.target.max_transform_error
        if accuracy is not None and accuracy <= tolerance:
            continue
        said = f"{what} ({_stated(accuracy)}): no tie absorbs its error, and hu95 and vu95 do not include it"
        if limit is None and accuracy is not None and accuracy <= doubted:
            notes.append(said)
        elif limit is None:
            doubts.append(Doubtful(Doubt.TRANSFORMATION, said, None, *place))
        elif accuracy is None or accuracy > limit:
            fix = "give the marks in the datum of the target, or allow a larger error if the work tolerates it"
            what = f"{said}; target.max_transform_error is {limit:g} m"
            problems.add(*survey.where("control", "crs"), what, fix)
        else:
            notes.append(f"{said}; target.max_transform_error allows {limit:g} m")
    problems.raise_if_any()
    return doubts, notes


def _register_errors(job: Job, survey: Survey) -> Iterator[tuple[str, float | None, float, float]]:
    """Yield what may be wrong with the register's way: in words, its accuracy, whence it is told and doubted [m]."""
    control, target = job.control, job.target
    assert control is not None
    if not same_datum(control.crs, target.grid):
        try:
            step = datum_to_datum(control.crs, target.grid, survey.operations.area)
        except OperationError:
            return
        most = job.checks.horizontal
        yield f"the register's marks are transformed to the grid's datum by {step.name}", step.accuracy, most, most
    if target.geoid_sigma is not None or systems.same_height_datum(control.height, target.height):
        return
    # A geoid grid that the job names states no accuracy; target.geoid_sigma is there to say it.
    parts = [survey.operations.frames.to_issued.accuracy or 0.0]
    if systems.vertical_of(control.height) is not None and survey.operations.register is not None:
        parts.append(survey.operations.register.accuracy or 0.0)
    what = f"the register's heights are converted to {target.height} by {survey.operations.frames.to_issued.name}"
    yield what, float(np.hypot.reduce(parts)), job.checks.vertical, _GEOID * job.checks.vertical


def mixed_steps(survey: Survey) -> list[Doubtful]:
    """Return a doubt per session whose readings and base come by different operations that are not good enough.

    A shift derived from what comes by one does not take up the error of the other. Where the job states
    ``target.max_transform_error``, that decides instead.
    """
    job, found = survey.job, []
    for window in survey.windows if job.target.max_transform_error is None else ():
        ways = {operation.name: operation for _, operation in operations_of(survey, window.index)}
        poor = [one for one in ways.values() if one.accuracy is None or one.accuracy > job.checks.horizontal]
        if len(ways) > 1 and poor:
            what = (
                f"session {window.session.name}: its readings and base use different transformations, so its shift"
                f" cannot absorb the error of {poor[0].name} ({_stated(poor[0].accuracy)}); export the whole session"
                " in one CRS"
            )
            found.append(Doubtful(Doubt.TRANSFORMATION, what, (window.index,)))
    return found


def stated_steps(survey: Survey, alone: Flags, checked: Flags) -> list[Doubtful]:
    """Return a doubt per session that keeps the whole error of its operations, where no check would show it.

    Args:
        survey: the job before any shift.
        alone: (S,) whether only a stated shift ties the session.
        checked: (S,) whether an independent check of it was compared.
    """
    job, found = survey.job, []
    if job.target.max_transform_error is not None:
        return []
    issued = survey.operations.frames.to_issued
    for number in np.flatnonzero(alone & ~checked).tolist():
        poor = [
            f"{one.name} ({_stated(one.accuracy)})"
            for _, one in operations_of(survey, number)
            if one.accuracy is None or one.accuracy > job.checks.horizontal
        ]
        if job.target.geoid_sigma is None and (issued.accuracy or 0.0) > _GEOID * job.checks.vertical:
            poor.append(f"{issued.name} ({_stated(issued.accuracy)})")
        if poor:
            what = (
                f"session {survey.windows[number].session.name}: it has no tie to control and no check, so the error of"
                f" {' and '.join(dict.fromkeys(poor))} stays in its points; hu95 and vu95 do not include it"
            )
            found.append(Doubtful(Doubt.TRANSFORMATION, what, (number,)))
    return found


def _name(way: _Way) -> str:
    return "[control] crs" if way.block is None else f"[[points]] number {way.block + 1}, crs"


def _stated(accuracy: float | None) -> str:
    return "accuracy not stated" if accuracy is None else f"accuracy {accuracy:g} m"


def _size(horizontal: float, vertical: float) -> str:
    return f"{horizontal * 1000:.0f} mm horizontally and {vertical * 1000:.0f} mm in height"
