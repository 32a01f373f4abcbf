"""Says where eastings and northings are issued in feet and heights in metres, or the other way round."""

import math
from collections.abc import Iterator
from pathlib import Path

from pipeline.geodesy.axes import FOOT
from pipeline.intake.survey import Survey

#: By which part the two feet differ, and more.
_ANY_FOOT = 1e-5


def issued_unit_notes(survey: Survey) -> Iterator[str]:
    """Yield that the two differ, unless the register's do as well: then the site works with both.

    Each unit comes from a CRS of its own, so that one of the two codes is easily that of another unit.
    """
    if survey.operations.site is not None:
        return
    plan, up = survey.axes.easting, survey.axes.height
    if _foot(plan.metres) == _foot(up.metres) or not {plan.metres, up.metres} & {1.0}:
        return
    if (register := survey.register) is not None and register.kind == "projected":
        own_plan, own_up = abs(register.unit[0]), abs(register.unit[2])
        if _alike(own_plan, plan.metres) and _alike(own_up, up.metres):
            return
    target = survey.job.target
    file, line = survey.where("target", "height")
    yield (
        f"{Path(file).name}:{line}: eastings and northings are issued in {plan.units}, heights in {up.units}: if both"
        f' should be in one unit, name a height datum, or a grid, that counts in it (height = "{target.height}" counts'
        f" in {up.units})"
    )


def _foot(metres: float) -> bool:
    return _alike(metres, FOOT)


def _alike(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=_ANY_FOOT)
