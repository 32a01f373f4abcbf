"""Finds the registered equivalent of a CRS in another unit, for advice."""

import math
import re
from functools import cache
from typing import Any

from pyproj.crs import CRS
from pyproj.database import query_crs_info
from pyproj.enums import PJType

#: The unit behind a CRS's name, as in "NAVD88 height (ftUS)".
_UNIT = re.compile(r" \((ftUS|ft|m|feet|yd|ch|ftCla|ftSe|ft\(Br36\))\)$")
_TURNED = ("south", "west", "down")


def twins(crs: CRS, metres: float) -> list[str]:
    """Return the codes of registered CRSs that are the same but count in a unit of so many metres."""
    kind = PJType.VERTICAL_CRS if crs.is_vertical else PJType.PROJECTED_CRS
    found = []
    for code in _registered(kind).get(_UNIT.sub("", crs.name), ()):
        other = CRS.from_epsg(code)
        upright = not any(axis.direction.lower() in _TURNED for axis in other.axis_info)
        unit = other.axis_info[0].unit_conversion_factor
        if upright and _datum(other) == _datum(crs) and math.isclose(unit, metres, rel_tol=1e-7):
            found.append(f"EPSG:{code}")
    return found


@cache
def _registered(kind: PJType) -> dict[str, list[str]]:
    """The codes of a kind of CRS by their names without a unit; thousands, for which PROJ takes most of a second."""
    codes: dict[str, list[str]] = {}
    for info in query_crs_info("EPSG", pj_types=kind):
        if not info.deprecated:
            codes.setdefault(_UNIT.sub("", info.name), []).append(info.code)
    return codes


def _datum(crs: CRS) -> Any:
    base = crs if crs.is_vertical else crs.geodetic_crs
    return None if base is None else base.datum
