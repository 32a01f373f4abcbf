"""Refuses transformations that are not accurate enough for the sessions that keep their error."""

from collections.abc import Sequence

from pipeline.geodesy.transform import Operation
from pipeline.intake.session_operations import operations_of
from pipeline.intake.survey import Survey
from pipeline.problems import Problems
from pipeline.solve.shift import Shifts


def refuse_poor_transformations(survey: Survey, shifts: Shifts) -> None:
    """Raise `JobError` for transformations beyond ``target.max_transform_error`` whose error no shift absorbs.

    A session that control ties absorbs the error of the operation that brings its readings: ties and points are off
    alike. The error stays where only a stated shift ties the session, and where a session's readings and the position
    of its base come by different operations.
    """
    limit = survey.job.target.max_transform_error
    if limit is None:
        return
    problems, used = Problems(), [list(operations_of(survey, w.index)) for w in survey.windows]
    alone = shifts.fully_tied & ~shifts.by_control
    mixed = [
        bool(shifts.fully_tied[number]) and len({_key(one) for _, one in ways}) > 1 for number, ways in enumerate(used)
    ]
    told = set()
    for place, operation in (way for ways in used for way in ways):
        if _key(operation) in told or (operation.accuracy is not None and operation.accuracy <= limit):
            continue
        told.add(_key(operation))
        by_it = [any(_key(one) == _key(operation) for _, one in ways) for ways in used]
        stated = "of unknown accuracy" if operation.accuracy is None else f"good to {operation.accuracy:g} m"
        what = f"{operation.name} is {stated}, target.max_transform_error is {limit:g} m, and "
        where = survey.where(*place)
        kept = [number for number, here in enumerate(by_it) if here and alone[number]]
        if kept:
            fix = "tie the sessions to control, or allow a larger error if the work tolerates it"
            problems.add(*where, f"{what}no control ties {_names(survey, kept)}", fix)
        kept = [number for number, here in enumerate(by_it) if here and mixed[number] and not alone[number]]
        if kept:
            fix = "export all of a session in one CRS, its base's position (in source.crs) too, or allow a larger error"
            problems.add(*where, f"{what}only part of {_names(survey, kept)} uses it", fix)
    problems.raise_if_any()


def _key(operation: Operation) -> tuple[str, str]:
    """Return what tells operations apart: a null transformation has the definition of a plain conversion."""
    return operation.name, operation.definition


def _names(survey: Survey, sessions: Sequence[int]) -> str:
    return ", ".join(survey.windows[number].session.name for number in sessions)
