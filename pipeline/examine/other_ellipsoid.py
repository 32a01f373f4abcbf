"""Doubts ellipsoidal heights of a register that look like those above the ellipsoid of the readings' datum."""

from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Floats
from pipeline.control import Register
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.mark_heights import Above, above_readings, middle
from pipeline.examine.stood_on import Stood
from pipeline.examine.systematic import ALIKE
from pipeline.examine.unit_slips import high_for_feet
from pipeline.geodesy.ellipsoid_steps import ellipsoid_step
from pipeline.geodesy.indirect_operations import datum_name, same_datum
from pipeline.geodesy.registry import crs_parts
from pipeline.intake.base_values import merged
from pipeline.intake.survey import Survey
from pipeline.near import and_more
from pipeline.words import Doubt, plural

#: Names that one sentence lists.
_NAMED = 3


def ellipsoid_doubts(survey: Survey, stood: Stood | None) -> list[Doubtful]:
    """Return the doubts about a register whose marks are as far above the readings as the ellipsoids are apart.

    A register in a classical grid may have heights of satellite positioning, above another ellipsoid than its datum's.
    """
    control, register = survey.job.control, survey.register
    if control is None or control.height != "ellipsoid" or register is None or stood is None:
        return []
    of = {number: block.crs or "" for number, block in enumerate(survey.job.points)}
    others = {number: crs for number, crs in of.items() if _has_another(crs, control.crs)}
    if not others:
        return []
    above = above_readings(survey, register, stood, set_up=True)
    alone = survey.first_pass.blocks.sum(axis=1) == 1
    found = []
    for crs in dict.fromkeys(others.values()):
        blocks = [number for number, each in others.items() if each == crs]
        mine = np.flatnonzero(survey.first_pass.blocks[:, blocks].any(axis=1) & alone)
        found += list(_of_one(survey, register, above, stood, crs, mine.tolist()))
    return found


def _has_another(crs: str, control: str) -> bool:
    """Tell whether readings have heights above an ellipsoid, that of another datum than the register's."""
    return crs_parts(crs)[1] is None and not same_datum(crs, control)


def _of_one(
    survey: Survey, register: Register, above: Above, stood: Stood, crs: str, sessions: list[int]
) -> Iterator[Doubtful]:
    """Yield the doubt about the sessions of readings in one CRS."""
    control = survey.job.control
    assert control is not None
    own = {session: above.off[above.session == session, 2] for session in sessions}
    own = {session: up[np.isfinite(up)] for session, up in own.items() if np.isfinite(up).any()}
    if not own:
        return
    longitude, latitude = np.nanmedian(stood.places[np.unique(above.mark)], axis=0)
    step = ellipsoid_step(crs, control.crs, float(longitude), float(latitude))
    if step is None:
        return
    off = np.array([middle(up[:, None])[0] for up in own.values()])
    once = [group[0] for group in merged(_in_height_alone(off), ALIKE[1])]
    if high_for_feet(off[once], off[once] - step):
        of = tuple(own)
    else:
        of = tuple(session for session, up in zip(own, off, strict=True) if _explains(up, step))
    if not of:
        return
    names = ", ".join(survey.windows[session].session.name for session in of[:_NAMED])
    up = float(np.median([up for session, up in zip(own, off, strict=True) if session in of]))
    theirs, its = datum_name(crs), datum_name(control.crs)
    what = (
        f"{plural(len(of), 'session')} {names}{and_more(len(of) - _NAMED)}: the marks are {up:+.1f} m above the raw"
        f" readings on them, and heights above the ellipsoid of {theirs} are {step:+.1f} m above those of {its} here:"
        f" the register's heights look like those of {theirs}. If so, give its marks as longitude, latitude and"
        f' ellipsoid_height in it, and write crs = "{crs}" in [control], or take {step:+.1f} m off the heights;'
        ' height = "ellipsoid" in [target] stays the ellipsoid of the grid\'s datum'
    )
    every = len(of) == len(survey.windows)
    first = int(above.mark[above.session == of[0]][0])
    yield Doubtful(Doubt.REGISTER_HEIGHTS, what, None if every else of, survey.register_file, register.lines[first])


def _explains(up: float, step: float) -> bool:
    return high_for_feet(np.array([up]), np.array([up - step]))


def _in_height_alone(off: Floats) -> Floats:
    return np.column_stack([np.zeros((len(off), 2)), off])
