"""What the registry has for a place: grids, height datums and 3D frames in use there, and plain projection.

Only for a look: positions are projected on the ellipsoid of the grid without any change of datum, which moves them by
up to some hundred metres, and turns and scales them by less than a job's marks could tell.
"""

import math
import re
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

import numpy as np
from msgspec import Struct
from pyproj import Proj, Transformer, transformer
from pyproj.aoi import AreaOfInterest
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import CRSError, ProjError

from pipeline.arrays import Floats
from pipeline.geodesy import crs as systems
from pipeline.geodesy.area import Area
from pipeline.geodesy.axes import Axes, axes_of
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.frames import WGS84
from pipeline.sphere import apart


class Registered(Struct, frozen=True):
    """A CRS of the registry: its code as "EPSG:n", its name, and the area that it is for: square degrees and name."""

    code: str
    name: str
    size: float
    area: str = ""


def grids_at(longitude: float, latitude: float) -> list[Registered]:
    """Return the grids [deg] that can be issued in and that are in use at a place, those of small areas first."""
    return [one for one in _at(PJType.PROJECTED_CRS, longitude, latitude) if _is_grid(one.code)]


def projected_at(longitude: float, latitude: float) -> list[Registered]:
    """Return every projected CRS in use at a place [deg], also those that nothing can be issued in."""
    return list(_at(PJType.PROJECTED_CRS, longitude, latitude))


def height_datums_at(longitude: float, latitude: float) -> list[Registered]:
    """Return the height datums [deg] that can be issued in and that are in use at a place, small areas first."""
    return [one for one in _at(PJType.VERTICAL_CRS, longitude, latitude) if is_height(one)]


def frames_at(longitude: float, latitude: float) -> list[Registered]:
    """Return the 3D geographic CRSs [deg] in use at a place, those of small areas first."""
    return list(_at(PJType.GEOGRAPHIC_3D_CRS, longitude, latitude))


def geocentric(text: str) -> str | None:
    """Return the code of the geocentric CRS of a CRS's datum; None where none is registered."""
    try:
        code = systems.geocentric_of(systems.parse(text)).to_authority("EPSG")
    except (OperationError, CRSError):
        return None
    return ":".join(code) if code else None


def crs_name(text: str) -> str | None:
    """Return the name of a CRS, None where the text names none."""
    try:
        return str(systems.parse(text).name)
    except OperationError:
        return None


def crs_kind(text: str) -> str | None:
    """Return "projected", "geographic" or "geocentric"; None where the text names no CRS with positions."""
    try:
        crs = systems.parse(text)
        return None if systems.horizontal_of(crs).is_engineering else systems.kind_of(crs)
    except (OperationError, AttributeError):
        return None


def crs_parts(text: str) -> tuple[str | None, str | None]:
    """Return the codes of the horizontal and of the vertical part of a CRS; None for what it has not, or has no code.

    A horizontal one without a height stays as it is.
    """
    try:
        crs = systems.parse(text)
        if not crs.is_compound:
            return text, None
        codes = [part.to_authority() for part in crs.sub_crs_list]
    except OperationError:
        return None, None
    plan, height = (":".join(code) if code else None for code in codes)
    return plan, height


#: Metres that datums from the earth's centre may be apart; others lie tens to hundreds of metres beside it.
_FROM_CENTRE = 10.0


def earth_centred(text: str, place: tuple[float, float] | None) -> bool:
    """Tell whether a CRS's datum counts from the earth's centre, as those of satellite positioning do.

    Datums on ellipsoids of other sizes than that of WGS 84 do not, nor do those on one of its size that the registry's
    way to WGS 84 moves at a place [deg]; what it has no way for is not moved.

    Raises `OperationError` where the text names no CRS.
    """
    crs = systems.parse(text)
    if crs.ellipsoid is None or crs.ellipsoid.semi_major_metre != WGS84.a:
        return False
    datum = systems.geographic_of(crs).to_wkt()
    return place is None or _moved_to_wgs84(datum, *place) < _FROM_CENTRE


@lru_cache(maxsize=64)
def _moved_to_wgs84(datum: str, longitude: float, latitude: float) -> float:
    """Return how many metres in plan positions of a datum move at a place [deg] on the way to WGS 84."""
    at = transformer.AreaOfInterest(longitude, latitude, longitude, latitude)
    moved = Transformer.from_crs(datum, "EPSG:4326", always_xy=True, area_of_interest=at).transform(longitude, latitude)
    known = np.isfinite(moved).all()
    return float(apart(np.array([longitude]), np.array([latitude]), *np.array([moved]).T)[0]) if known else 0.0


@lru_cache(maxsize=256)
def with_heights(text: str) -> str | None:
    """Return the code of the 3D geographic CRS of a CRS's datum; None where none is registered."""
    try:
        code = systems.geographic_of(systems.parse(text)).to_3d().to_authority("EPSG")
    except (OperationError, CRSError):
        return None
    return ":".join(code) if code else None


def projected(text: str, longitude: Floats, latitude: Floats) -> tuple[Floats, Floats]:
    """Return easting and northing (n,) as the grid writes them of positions [deg]; NaN where there are none.

    Of a grid that counts to the west and south they are the westing and the southing, whichever is its first axis.
    """
    first, second = map(_finite, _projection(text)(np.asarray(longitude), np.asarray(latitude)))
    return (second, first) if northing_first(text) else (first, second)


def unprojected(text: str, easting: Floats, northing: Floats) -> tuple[Floats, Floats]:
    """Return longitude and latitude (n,) [deg] of positions as a grid writes them; NaN where there are none."""
    first, second = (northing, easting) if northing_first(text) else (easting, northing)
    longitude, latitude = _projection(text)(np.asarray(first), np.asarray(second), inverse=True)
    return _finite(longitude), _finite(latitude)


#: How far beyond the bounds of a grid's area a place is taken to be none of it [m].
_BEYOND = 50_000.0


def in_use_there(text: str, easting: float, northing: float) -> bool | None:
    """Tell whether a position in a grid lies in its area of use or beside it; None where it has no area."""
    if used_in(text) is None:
        return None
    return in_use_at(text, *unprojected(text, np.array([easting]), np.array([northing])))


def in_use_at(text: str, longitude: Floats, latitude: Floats) -> bool | None:
    """Tell the same of a place, (1,) degrees each."""
    area = used_in(text)
    return None if area is None else bool(area.with_margin(_BEYOND).holds(longitude, latitude)[0])


def used_in(text: str) -> Area | None:
    """Return the area in which a CRS is used; None where its definition tells none. Raises `OperationError`."""
    return systems.area_of_use(systems.parse(text))


def x_is_northing(text: str) -> bool | None:
    """Tell whether a grid itself calls its northing X, or its easting; None where it calls neither so."""
    side = {axis.abbrev.casefold(): axis.direction.casefold() for axis in systems.parse(text).axis_info}.get("x")
    return None if side is None else side in ("north", "south")


def northing_first(text: str) -> bool:
    """Tell whether X and Y of a geometry in a grid are its northing and easting, or its southing and westing."""
    return _axes(text).northing_first


def counts_backwards(text: str) -> tuple[str, str]:
    """Return the sides to which easting and northing of a grid grow, "" each where it is the usual one."""
    sides = _axes(text).easting.direction, _axes(text).northing.direction
    return sides[0] if sides[0] == "west" else "", sides[1] if sides[1] == "south" else ""


@lru_cache(maxsize=512)
def _axes(text: str) -> Axes:
    """Return the axes of a projected CRS; the usual ones of any other, and of axes that are not understood."""
    try:
        crs = systems.horizontal_of(systems.parse(text))
        return axes_of(crs) if crs.is_projected else Axes()
    except OperationError:
        return Axes()


@lru_cache(maxsize=512)
def _projection(text: str) -> Proj:
    return Proj(systems.horizontal_of(systems.parse(text)), preserve_units=True)


def _finite(values: object) -> Floats:
    found = np.asarray(values, np.float64)
    return np.where(np.isfinite(found), found, np.nan)


#: Examples of the registry, and frames that nothing has been surveyed in for decades.
_NOT_USED = ("example", "WGS 66", "WGS 72")


@lru_cache(maxsize=256)
def _at(kind: PJType, longitude: float, latitude: float) -> tuple[Registered, ...]:
    """Return what is in use at a place [deg]; a new job asks for its own place, and for those beside it, repeatedly."""
    longitude = (longitude + 180.0) % 360.0 - 180.0
    place = AreaOfInterest(longitude, latitude, longitude, latitude)
    found = {one.code: one for one in _registered(kind, place)}
    return tuple(sorted(found.values(), key=lambda one: (one.size, int(one.code[5:]))))


def _registered(kind: PJType, place: AreaOfInterest | None) -> Iterator[Registered]:
    for info in query_crs_info("EPSG", kind, place, contains=place is not None):
        area = info.area_of_use
        if not info.deprecated and area is not None and not any(word in info.name for word in _NOT_USED):
            width = Area(area.west, area.south, area.east, area.north).width
            yield Registered(f"EPSG:{info.code}", info.name, width * (area.north - area.south), area.name or "")


def _is_grid(code: str) -> bool:
    try:
        systems.target_grid(code)
        _projection(code)
    except (OperationError, CRSError, ProjError):
        return False
    return True


#: Registered surfaces of tides and of navigation: nobody publishes marks on them.
_WATER = (" depth", "Low Water", "High Water", "LAT ", "HAT ", "MHW", "HHW", "LLW", "MLW", "Instantaneous", "ISLW")


def is_height(one: Registered) -> bool:
    """Tell whether a vertical CRS is a height datum that can be issued in, and none of tides or of navigation."""
    if any(word in f"{one.name} " for word in _WATER):
        return False
    try:
        systems.vertical_of(one.code)
    except OperationError:
        return False
    return True


@lru_cache(maxsize=1)
def height_areas() -> tuple[Registered, ...]:
    """Return every height datum of the registry, wherever it is in use, but for surfaces of tides and of navigation."""
    found = _registered(PJType.VERTICAL_CRS, None)
    return tuple(one for one in found if not any(word in f"{one.name} " for word in _WATER))


def scope_of(code: str) -> str:
    """Return what the registry says that a CRS is for, "" where it says nothing. Raises `OperationError`."""
    return systems.parse(code).scope or ""


@lru_cache(maxsize=1)
def height_datum_words() -> frozenset[str]:
    """Return the words of which the registry makes the names of height datums: "NAVD88", "Lyttelton", "1937"."""
    found = query_crs_info("EPSG", PJType.VERTICAL_CRS)
    names = [info.name for info in found if not any(word in f"{info.name} " for word in (*_WATER, "example"))]
    return frozenset(word for name in names for word in re.findall(r"[A-Za-z]+\d*|\d{4}", re.sub(r"\(.*?\)", "", name)))


def flat(text: str) -> str | None:
    """Return the code of a CRS without heights; None where none is registered, or where the text names none."""
    try:
        return systems.registered_code(systems.horizontal_of(systems.parse(text)))
    except (OperationError, CRSError):
        return None


def separation(path: Path, longitude: float, latitude: float) -> float | None:
    """Return what a geoid grid says at a place [deg], metres; None where it does not reach there or is none."""
    try:
        step = Transformer.from_pipeline(f'+proj=vgridshift +grids="{path.resolve()}" +multiplier=1')
        _, _, up = step.transform(longitude, latitude, 0.0, radians=False)
    except (ProjError, CRSError):
        return None
    return float(up) if math.isfinite(up) else None
