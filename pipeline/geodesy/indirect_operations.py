"""Two ways through PROJ from one CRS to the working frame, compared with each other over the extent of a job.

PROJ has direct operations of a metre between "WGS 84" and national datums beside grids that are good to centimetres
from the frame that is called WGS 84 all the same (ETRS89 and its like). Where a job's positions and its marks go by
different ones, a shift takes up what is alike all over the job, and no more.
"""

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike
from pyproj.enums import PJType

from pipeline.arrays import Floats
from pipeline.geodesy import crs as systems
from pipeline.geodesy import frames
from pipeline.geodesy.area import Area
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.frames import enu_rotation, turn
from pipeline.geodesy.operations import datum_to_datum
from pipeline.geodesy.regional_frames import frames_at_rest
from pipeline.geodesy.transform import Operation

#: Points along each side of the extent at which two ways are compared.
_SIDE = 5
#: Metres within which an operation changes nothing: WGS 84 and GRS 80 differ by a tenth of a millimetre.
_SAME = 1e-3
#: Metres: what the semi-major axes of two ellipsoids differ by at most where one position may stand for both.
_ONE_SIZE = 0.5
#: A way whose accuracy is this part of the direct one's leaves nothing to look for.
_FAR_BETTER = 1.0 / 3.0


class Places(Struct, frozen=True):
    """Points (n,) over the extent of a job: degrees, metres above the ellipsoid, and a time in decimal years."""

    longitude: Floats
    latitude: Floats
    height: Floats
    year: float

    @classmethod
    def over(cls, area: Area, heights: ArrayLike, year: float) -> "Places":
        """Return points over the area at the lowest and highest of (k,) heights [m]; at 0 where none is finite."""
        known = np.asarray(heights, dtype=np.float64)
        known = known[np.isfinite(known)]
        levels = np.array([known.min(), known.max()]) if known.size else np.zeros(1)
        part = np.linspace(0.0, 1.0, _SIDE)
        along, up, level = np.meshgrid(part, part, levels, indexing="ij")
        longitude = area.west + area.width * along.ravel()
        latitude = area.south + (area.north - area.south) * up.ravel()
        return cls((longitude + 180.0) % 360.0 - 180.0, latitude, level.ravel(), year)


class Detour(Struct, frozen=True):
    """A way by a frame in between, named ``via``: into it by ``first`` (None: the same degrees), on by ``onward``."""

    via: str
    code: str
    first: Operation | None
    onward: Operation


def datum_name(crs: str) -> str:
    """Return the name of the CRS's datum, as its geographic CRS has it."""
    return str(systems.geographic_of(systems.source_crs(crs)).name)


def moves_with_time(crs: str) -> bool:
    """Tell whether coordinates in the CRS's datum move with time."""
    return systems.is_dynamic(systems.source_crs(crs))


def same_datum(one: str, other: str) -> bool:
    """Tell whether two CRSs that may be sources are on one datum."""
    return systems.same_datum(systems.source_crs(one), systems.source_crs(other))


def by_way_of(crs: str, via: str, grid: str, area: Area, places: Places, accuracy: float | None) -> Detour | None:
    """Return the way from one CRS's datum by another's to the grid's, None where it says nothing of the direct one.

    It does where its first half changes nothing, or where it is better than the ``accuracy`` [m] of the direct way: a
    way by an older datum that is known to a metre tells nothing. Raises `OperationError` where there is none.
    """
    first = None if same_datum(crs, via) else datum_to_datum(crs, via, area)
    onward = datum_to_datum(via, grid, area)
    if first is not None and not _changes_nothing(crs, via, area, places):
        if first.accuracy is None or onward.accuracy is None:
            return None
        if accuracy is not None and first.accuracy + onward.accuracy >= accuracy:
            return None
    return Detour(datum_name(via), _in_degrees(via), first, onward)


def _in_degrees(crs: str) -> str:
    """Return the code of the geographic CRS with heights of a CRS's datum, where it is registered, else the CRS's."""
    geographic = systems.promote(systems.geographic_of(systems.source_crs(crs)))
    found = geographic.to_authority("EPSG")
    return crs if found is None else f"EPSG:{found[1]}"


def better_ways(
    crs: str, grid: str, area: Area, places: Places, accuracy: float | None
) -> tuple[list[Detour], list[str]]:
    """Return the ways to the grid's datum by a frame that PROJ holds for the same as the CRS's, with a better accuracy.

    Only where the datum's own operation moves positions at all: where it does not, there is nothing better. Returns
    also what is said of such ways whose grid is not at hand.
    """
    if same_datum(crs, grid) or _changes_nothing(crs, grid, area, places):
        return [], []
    found, lacking = [], []
    for code, _ in frames_at_rest(area, PJType.GEOGRAPHIC_3D_CRS):
        if same_datum(code, crs) or same_datum(code, grid) or not _changes_nothing(crs, code, area, places):
            continue
        try:
            onward = datum_to_datum(code, grid, area)
        except OperationError as error:
            if "grid file" in error.what:
                lacking.append(f"{datum_name(code)} ({code}): {error.what}")
            continue
        if onward.accuracy is not None and (accuracy is None or onward.accuracy < accuracy):
            found.append(Detour(datum_name(code), code, None, onward))
            if accuracy is None or onward.accuracy < accuracy * _FAR_BETTER:
                break  # a frame like this is what the others are tied to; each further one takes PROJ a second
    return found, lacking


def _changes_nothing(crs: str, other: str, area: Area, places: Places) -> bool:
    """Tell whether PROJ takes positions of one datum for those of the other, to a millimetre."""
    here, there = (systems.ellipsoid_of(systems.source_crs(code)) for code in (crs, other))
    if abs(here.a - there.a) > _ONE_SIZE:
        return False  # as PROJ would say after seconds
    try:
        operation = datum_to_datum(crs, other, area)
    except OperationError:
        return False
    at, year = (places.longitude, places.latitude, places.height), np.full(places.longitude.size, places.year)
    moved = np.column_stack(operation.forward(*at, year))
    stayed = np.column_stack(frames.to_geocentric(*at, there))
    apart = np.linalg.norm(moved - stayed, axis=1)
    return bool(apart[np.isfinite(apart)].max(initial=0.0) < _SAME and np.isfinite(apart).any())


def differences_from_detour(crs: str, detour: Detour, grid: str, area: Area, places: Places) -> Floats:
    """Return (n, 3) how far east, north, up of the detour the datum's own operation leads; NaN where either ends."""
    year = np.full(places.longitude.size, places.year)
    here = (places.longitude, places.latitude, places.height)
    direct = np.column_stack(datum_to_datum(crs, grid, area).forward(*here, year))
    if detour.first is not None:
        between = systems.ellipsoid_of(systems.source_crs(detour.code))
        here = frames.to_geographic(*detour.first.forward(*here, year), between)
    other = np.column_stack(detour.onward.forward(*here, year))
    return turn(direct - other, enu_rotation(places.longitude, places.latitude))


def difference_spread(differences: Floats) -> tuple[float, float]:
    """Return how far (n, 3) differences east, north, up vary between any two points: horizontally, in height [m]."""
    known = differences[np.isfinite(differences).all(axis=1)]
    if not len(known):
        return 0.0, 0.0
    pairs = known[:, None, :] - known[None, :, :]
    return float(np.hypot(pairs[..., 0], pairs[..., 1]).max()), float(np.abs(pairs[..., 2]).max())


def largest_difference(differences: Floats) -> tuple[float, float]:
    """Return the largest of (n, 3) differences east, north, up: horizontally, in height [m]."""
    known = differences[np.isfinite(differences).all(axis=1)]
    if not len(known):
        return 0.0, 0.0
    return float(np.hypot(known[:, 0], known[:, 1]).max()), float(np.abs(known[:, 2]).max())
