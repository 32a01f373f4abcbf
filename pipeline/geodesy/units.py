"""What the numbers of a CRS count in, and whether the job file says the same: a foot is not a foot.

A US survey foot is 1200/3937 m, an international one 0.3048 m: 2 mm a kilometre, metres on a state plane. So where the
CRS says its unit, that unit is obeyed, and a job file that says another is refused.
"""

import math
from functools import lru_cache
from typing import Any

from msgspec import Struct
from pyproj.crs import CRS

from pipeline.geodesy import crs as systems
from pipeline.geodesy.axes import FOOT as FOOT
from pipeline.geodesy.axes import SURVEY_FOOT as SURVEY_FOOT
from pipeline.geodesy.axes import axes_of
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.registered_twins import twins

#: Metres in each unit that a job file can name, exact by their definitions.
METRES = {"metre": 1.0, "foot": FOOT, "us-survey-foot": SURVEY_FOOT}

#: Units that differ by less than this part are one; the closest two in use differ by 1.6e-6.
_SAME = 1e-7


class Lengths(Struct, frozen=True):
    """Metres in one unit of what is counted: eastings and northings, heights, and every length that no CRS speaks of.

    ``degrees`` where positions are longitude and latitude. ``signs`` are -1 where eastings are counted to the west,
    northings to the south, heights downwards; ``northing_first`` where X and Y of a geometry in the CRS are northing
    and easting (see `axes.Axes`).
    """

    plan: float
    up: float
    other: float
    degrees: bool
    signs: tuple[float, float, float] = (1.0, 1.0, 1.0)
    northing_first: bool = False


@lru_cache(maxsize=256)
def lengths(crs: str, units: str | None, height: str | None = None) -> Lengths:
    """Return what the numbers of an export or a register count in.

    Args:
        crs: their CRS. Eastings and northings count in its unit, and heights in that of its own height datum.
        units: what the job file says, None where it says nothing. It is the unit of the lengths that no CRS speaks
            of (sigmas, antenna heights, ellipsoidal heights); what one speaks of must be in it too.
        height: the height datum where it is named apart (a register's), or "ellipsoid".

    Raises `OperationError` where CRS and job file contradict each other, where neither says what heights count in, and
    for grads.
    """
    source = systems.source_crs(crs)
    vertical = None if height is None else systems.vertical_of(height)
    degrees = systems.horizontal_of(source).is_geographic
    if degrees and not math.isclose(source.axis_info[0].unit_conversion_factor, math.radians(1.0), rel_tol=_SAME):
        unit = source.axis_info[0].unit_name
        raise OperationError(
            f"{_called(crs, source)} is in {unit}; longitude and latitude are read in degrees",
            "name a CRS of the same datum that is in degrees, and give degrees",
        )
    plan = None if degrees else source.axis_info[0]
    up = _height_axis(source, vertical)
    if units is None:
        if plan is not None and plan.unit_conversion_factor != 1.0 and up is None:
            raise _unknown_height(crs, source, plan)
        return Lengths(_metres(plan, 1.0), _metres(up, 1.0), 1.0, degrees, *_sides(source, up))
    said, mixed = METRES[units], plan is not None and up is not None and not _same(plan, up.unit_conversion_factor)
    if plan is not None and not _same(plan, said):
        raise _contradiction(units, _called(crs, source), "eastings and northings", plan, source, mixed)
    if up is not None and not _same(up, said):
        text, whole = (crs, source) if vertical is None else (height or "", vertical)
        raise _contradiction(units, _called(text, whole), "heights", up, whole, mixed)
    return Lengths(_metres(plan, said), _metres(up, said), said, degrees, *_sides(source, up))


def _sides(source: CRS, up: Any) -> tuple[tuple[float, float, float], bool]:
    """Return to which sides coordinates count, and whether a geometry's X is the northing."""
    down = -1.0 if up is not None and up.direction.lower() == "down" else 1.0
    horizontal = systems.horizontal_of(source)
    if not systems.on_grid(horizontal):
        return (1.0, 1.0, down), False
    axes = axes_of(horizontal)
    east, north, _ = (math.copysign(1.0, count) for count in axes.counts())
    return (east, north, down), axes.northing_first


def _height_axis(source: CRS, vertical: CRS | None) -> Any:
    """Return the axis that says what heights count in, None where nothing does.

    The metres of a geographic CRS with ellipsoidal heights say nothing: every one is registered with metres.
    """
    if vertical is not None:
        return vertical.axis_info[0]
    if source.is_geocentric or len(source.axis_info) < 3:
        return None
    axis = source.axis_info[2]
    return axis if source.is_compound or systems.on_grid(source) or axis.unit_conversion_factor != 1.0 else None


def _metres(axis: Any, otherwise: float) -> float:
    return otherwise if axis is None else float(axis.unit_conversion_factor)


def _same(axis: Any, metres: float) -> bool:
    return math.isclose(axis.unit_conversion_factor, metres, rel_tol=_SAME)


def _called(text: str, crs: CRS) -> str:
    return f"{text} ({crs.name})" if len(text) <= 40 else str(crs.name)


def _word(axis: Any) -> str | None:
    """Return the job file's word for an axis's unit, None where it has none."""
    return next((word for word, metres in METRES.items() if _same(axis, metres)), None)


def _contradiction(units: str, called: str, what: str, axis: Any, crs: CRS, mixed: bool) -> OperationError:
    word = None if mixed else _word(axis)
    stay = "leave units out" if word is None else f'write units = "{word}"'
    parts = crs.sub_crs_list if crs.is_compound else [crs]
    others = [code for part in parts for code in twins(part, METRES[units])]
    go = " or ".join(others[:3]) or "the CRS that they are in"
    return OperationError(
        f'{called} has {what} in {axis.unit_name}, but units = "{units}" is stated',
        f"{stay} if the numbers are as the CRS states; name {go} if they are in {units}",
    )


def _unknown_height(crs: str, source: CRS, axis: Any) -> OperationError:
    word = _word(axis)
    state = f'write units = "{word}" if they are in the same, or ' if word is not None else ""
    degrees = systems.registered_code(systems.geographic_of(source)) if systems.on_grid(source) else None
    metres = f'; if they are ellipsoidal in metres, give longitude and latitude and name "{degrees}"' if degrees else ""
    return OperationError(
        f"{_called(crs, source)} is not in metres but in {axis.unit_name}, and nothing states the unit of the heights",
        f'{state}name their height datum, which states its unit (such as "EPSG:6360", NAVD88 in US survey'
        f" feet){metres}",
    )
