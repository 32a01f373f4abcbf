"""Detects eastings with the zone number in front, as 33399707 for 399707 in zone 33."""

import numpy as np

from pipeline.control import Register
from pipeline.geodesy.registry import crs_kind, crs_name, grids_at, in_use_there, projected, unprojected
from pipeline.near import listed
from pipeline.problems import Problems

#: Metres between a position in two grids that are one but for the zone's number.
_SAME = 0.01
#: CRSs that are named at most.
_NAMED = 3


def zone_before(easting: float) -> str:
    """Return in words that an easting seems to carry the number of its zone, which UTM's own have not; else nothing."""
    zone, rest = divmod(easting, 1e6)
    if not (1 <= zone <= 60 and 100_000 <= rest <= 900_000):
        return ""
    return f", which seems to be zone {zone:.0f} and the easting {rest:.3f}: export it without the zone's number"


def check_zone_numbers(register: Register, stated: str, problems: Problems) -> None:
    """Note a register whose eastings carry a zone's number that the CRS it is ``stated`` to be in has not.

    That is so where its positions lie where the CRS is used without the numbers, and not with them.
    """
    places = np.column_stack([register.first, register.second]) if crs_kind(stated) == "projected" else np.zeros((0, 2))
    known = np.flatnonzero(np.isfinite(places).all(axis=1))
    if register.kind != "projected" or not len(known) or not all(map(zone_before, places[known, 0].tolist())):
        return
    first = int(known[0])
    easting, northing = places[first].tolist()
    without = easting % 1e6
    if in_use_there(stated, easting, northing) is not False or not in_use_there(stated, without, northing):
        return
    longitude, latitude = unprojected(stated, np.array([without]), np.array([northing]))
    near = grids_at(float(longitude[0]), float(latitude[0]))
    own = (crs_name(stated) or "").partition(" / ")[0]
    fitting = []
    for grid in near:
        there = np.ravel(projected(grid.code, longitude, latitude))
        if np.hypot(*(there - places[first])) < _SAME and grid.name.partition(" / ")[0] == own:
            fitting.append(f"{grid.code} ({grid.name})")
    which = f", {listed(fitting[:_NAMED])}" if fitting else ""
    what = (
        f"the easting of mark '{register.names[first]}', {easting:.3f}, seems to be the number of zone"
        f" {easting // 1e6:.0f} and {without:.3f}, and {stated} has no such numbers"
    )
    fix = f"state as [control] crs the CRS that has them{which}, or remove the zone's number from the eastings"
    problems.add(register.shown, register.lines[first], what, fix)
