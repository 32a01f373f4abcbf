"""Computes the error [m] of a shift applied in the grid, which grows with distance from the ties that gave it.

A shift is one vector of space. Added to easting, northing and height it turns with the plumb line from place to place:
by what it rises, times the distance from the tie through the radius of the earth, in plan; by its length in plan the
same way in height, and in plan as meridians converge.
"""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.sphere import RADIUS
from pipeline.words import Doubt

#: The part of a tolerance from which on a bend is told.
_TOLD = 0.5


class _Bend(Struct, frozen=True):
    """What a session's shift bends by at its farthest reading, ``reach`` metres from the middle of its ties."""

    session: int
    reach: float
    plan: float
    height: float


def bend_doubts(survey: Survey, local: Floats) -> list[Doubtful]:
    """Return a doubt for each session that a shift in the grid bends by more than the tolerance of checks.

    ``local`` is (S, 3) each session's shift: metres east, north, up.
    """
    checks, where = survey.job.checks, survey.recorded_at("shift", "model")
    return [
        Doubtful(Doubt.SHIFT, _sentence(survey, one), (one.session,), *where)
        for one in _bends(survey, local)
        if one.plan > checks.horizontal or one.height > checks.vertical
    ]


def bend_notes(survey: Survey, local: Floats) -> list[str]:
    """Return in words which sessions are bent by a good part of the tolerance, but not by more."""
    checks = survey.job.checks
    return [
        _sentence(survey, one)
        for one in _bends(survey, local)
        if (one.plan <= checks.horizontal and one.height <= checks.vertical)
        and (one.plan > _TOLD * checks.horizontal or one.height > _TOLD * checks.vertical)
    ]


def _bends(survey: Survey, local: Floats) -> Iterator[_Bend]:
    if survey.job.shift.model != "grid" or survey.first_pass.reach is None:
        return
    converging = abs(float(np.tan(np.radians(survey.operations.area.centre[1]))))
    for session, (reach, (east, north, up)) in enumerate(
        zip(survey.first_pass.reach.tolist(), np.nan_to_num(local).tolist(), strict=True)
    ):
        turn, along = reach / RADIUS, float(np.hypot(east, north))
        yield _Bend(session, reach, turn * float(np.hypot(up, along * converging)), turn * along)


def _sentence(survey: Survey, one: _Bend) -> str:
    return (
        f'session {survey.windows[one.session].session.name}: a shift applied in the grid (shift.model = "grid") gets'
        f" less accurate away from the tie, by {1000 * one.plan:.0f} mm in plan and {1000 * one.height:.0f} mm in"
        f' height at the farthest reading, {one.reach / 1000:.1f} km away. Use model = "geocentric"'
    )
