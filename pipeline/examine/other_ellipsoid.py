"""Doubts ellipsoidal heights of a register that look like those above another ellipsoid than a run takes them for."""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.control import Register
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.mark_heights import Above, above_readings, middle
from pipeline.examine.stood_on import Stood
from pipeline.examine.systematic import ALIKE
from pipeline.examine.unit_slips import high_for_feet
from pipeline.geodesy.ellipsoid_steps import are_carried, ellipsoid_step, step_not_taken
from pipeline.geodesy.indirect_operations import datum_name, same_datum
from pipeline.geodesy.registry import crs_parts
from pipeline.intake.base_values import merged
from pipeline.intake.survey import Survey
from pipeline.near import and_more
from pipeline.words import Doubt, plural

#: Names that one sentence lists.
_NAMED = 3
#: Metres that the ellipsoids of readings and grid are apart at most where one may stand for the other.
_ONE = 1.0


def ellipsoid_doubts(survey: Survey, stood: Stood | None) -> list[Doubtful]:
    """Return the doubts about a register whose marks are as far above the readings as the ellipsoids are apart.

    A register in a classical datum may have heights of satellite positioning, above another ellipsoid than its datum's;
    one in a datum without registered ellipsoidal heights, whose heights are carried, may have them above its own.
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
    other = _other_of(survey, crs, float(longitude), float(latitude))
    if other is None:
        return
    off = np.array([middle(up[:, None])[0] for up in own.values()])
    once = [group[0] for group in merged(_in_height_alone(off), ALIKE[1])]
    if high_for_feet(off[once], off[once] - other.up):
        of = tuple(own)
    else:
        of = tuple(session for session, up in zip(own, off, strict=True) if _explains(up, other.up))
    if not of:
        return
    names = ", ".join(survey.windows[session].session.name for session in of[:_NAMED])
    up = float(np.median([up for session, up in zip(own, off, strict=True) if session in of]))
    what = (
        f"{plural(len(of), 'session')} {names}{and_more(len(of) - _NAMED)}: the marks are {up:+.1f} m above the raw"
        f" readings on them, and {other.words}"
    )
    every = len(of) == len(survey.windows)
    first = int(above.mark[above.session == of[0]][0])
    yield Doubtful(Doubt.REGISTER_HEIGHTS, what, None if every else of, survey.register_file, register.lines[first])


class _Other(Struct, frozen=True):
    """Metres that marks are above the readings where heights are above the other ellipsoid, and what to do then."""

    up: float
    words: str


def _other_of(survey: Survey, crs: str, longitude: float, latitude: float) -> _Other | None:
    """Return what heights above the other ellipsoid would look like beside readings in a CRS; None if that is unknown.

    The place is in degrees.
    """
    control, target = survey.job.control, survey.job.target
    assert control is not None
    theirs, its = datum_name(crs), datum_name(control.crs)
    if not are_carried(control.crs, target.grid):
        step = ellipsoid_step(crs, control.crs, longitude, latitude)
        if step is None:
            return None
        stays = '; height = "ellipsoid" in [target] stays the ellipsoid of the grid\'s datum'
        return _Other(
            step,
            f"heights above the ellipsoid of {theirs} are {step:+.1f} m above those of {its} here: the register's"
            f" heights look like those of {theirs}. If so, give its marks as longitude, latitude and ellipsoid_height"
            f' in it, and write crs = "{crs}" in [control], or take {step:+.1f} m off the heights'
            + (stays if target.height == "ellipsoid" else ""),
        )
    step, grids = (
        step_not_taken(crs, control.crs, longitude, latitude),
        ellipsoid_step(crs, target.grid, longitude, latitude),
    )
    if step is None or abs(grids or 0.0) > _ONE:
        return None
    return _Other(
        -step,
        f"heights above the ellipsoid of {its} are {-step:+.1f} m above those of {theirs} here: the register's heights"
        f" look like those of {its}, or else like heights above a height datum. No ellipsoidal heights are registered"
        f" for {its}, and those of the register are taken as they are, as above the ellipsoid of {theirs}: if they are"
        f" above that of {its}, add {step:+.1f} m to them; if they are above a height datum, write it as height in"
        " [control]",
    )


def _explains(up: float, step: float) -> bool:
    return high_for_feet(np.array([up]), np.array([up - step]))


def _in_height_alone(off: Floats) -> Floats:
    return np.column_stack([np.zeros((len(off), 2)), off])
