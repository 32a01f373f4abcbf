"""Coordinate reference systems: read from text, checked for what the pipeline can do, taken apart and put together."""

import re
from collections.abc import Callable, Iterable
from functools import lru_cache, wraps
from typing import Any

import pyproj
from pyproj.crs import CRS, CompoundCRS
from pyproj.database import get_database_metadata
from pyproj.exceptions import CRSError

from pipeline.geodesy.area import Area
from pipeline.geodesy.axes import Axes, axes_of
from pipeline.geodesy.crs_hints import crs_hint
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.frames import Ellipsoid
from pipeline.geodesy.fresh_thread import Answer, in_fresh_thread
from pipeline.geodesy.from_greenwich import datum_from_greenwich, degrees_from_greenwich, grid_from_greenwich
from pipeline.geodesy.stated_datum import check_datum_stated, on_base, registered_twin

#: The word that stands for "no height datum: heights above the ellipsoid".
ELLIPSOID = "ellipsoid"

# PROJ also searches its database for anything that looks like a name; a near miss there would pick another CRS.
_TEXT = re.compile(r"\s*([A-Za-z]+:\S+|urn:\S+|\{.*\}|[A-Za-z0-9_]+\s*\[.*\]|\+(proj|init)=.*)\s*", re.DOTALL)
#: A grid by its text and, behind it, the code of the geographic CRS that it counts on: "+proj=tmerc ... on EPSG:4959".
_ON = re.compile(r"(?P<grid>.*\S)\s+on\s+(?P<base>[A-Za-z]+:\S+)\s*", re.DOTALL)
_FIRST_WKT = re.compile(r"\s*(PROJCS|GEOGCS|GEOCCS|COMPD_CS)\s*\[", re.IGNORECASE)
_UPRIGHT = {"north", "east", "up"}
_AXES = {
    "X": ("Geocentric X", "geocentricX"),
    "Y": ("Geocentric Y", "geocentricY"),
    "Z": ("Geocentric Z", "geocentricZ"),
}


_A_CODE = 'write an authority code such as "EPSG:2193", WKT or PROJJSON'
_A_VERTICAL = 'name a vertical CRS such as "EPSG:7839", or "ellipsoid" for ellipsoidal heights'


#: So many answers of PROJ's about CRSs are kept; a job asks for the same few again and again, at milliseconds each.
_KEPT = 256


def _remembered(ask: Callable[[CRS], Answer]) -> Callable[[CRS], Answer]:
    """Keep what is answered about a CRS, by the text that the CRS was made of.

    Not by the CRS: two that compare equal, one made of a code and one of its WKT, differ in what they know of
    themselves (the WKT has no codes of an ensemble's members).
    """
    answers: dict[str, Answer] = {}

    @wraps(ask)
    def answer(crs: CRS) -> Answer:
        if crs.srs not in answers:
            if len(answers) >= _KEPT:
                answers.clear()
            answers[crs.srs] = ask(crs)
        return answers[crs.srs]

    return answer


def parse(text: str) -> CRS:
    """Return the CRS of an authority code ("EPSG:2193", "EPSG:2193+7839"), WKT, PROJJSON or PROJ string.

    A grid that says no datum counts on the one of a code behind it: "+proj=tmerc ... on EPSG:4959". Raises
    `OperationError` where it is none of these, is not known, or carries a transformation of its own (TOWGS84, nadgrids,
    geoidgrids), which would overrule the choice of operations.
    """
    found = _parsed(text)
    if isinstance(found, CRS):
        return found
    raise OperationError(*found)


@lru_cache(maxsize=_KEPT)
def _parsed(text: str) -> CRS | tuple[str, str]:
    """Return what `parse` does, or why it does not and what to do: PROJ takes longest to find nothing."""
    try:
        return _made_of(text)
    except OperationError as error:
        return error.what, error.fix


def _made_of(text: str) -> CRS:
    if (stated := _ON.fullmatch(text)) is not None:
        return on_base(parse(stated["grid"]), parse(stated["base"]))
    if not _TEXT.fullmatch(text):
        fix = crs_hint(text) or _A_CODE
        raise OperationError(f'"{_short(text)}" is not a CRS', fix)
    try:
        crs = _read(text)
    except (CRSError, RecursionError) as error:
        reason = _reason(error) if isinstance(error, CRSError) else "too many nesting levels"
        raise OperationError(
            f'"{_short(text)}" is not a CRS that PROJ knows ({reason})',
            f"check the code; PROJ {proj_version()} carries the EPSG registry {database_version()}",
        ) from error
    if any(part.is_bound for part in (crs, *crs.sub_crs_list)):
        raise OperationError(
            f'"{_short(text)}" carries a transformation of its own (TOWGS84, nadgrids or geoidgrids)',
            "give the registered code, or WKT2 on a registered datum without it; name a geoid file as target.geoid",
        )
    return crs


def _read(text: str) -> CRS:
    """Return what PROJ makes of a text; WKT 1 is read apart (see `in_fresh_thread`). Raises CRSError."""
    if not _FIRST_WKT.match(text):
        return CRS.from_user_input(text)
    return registered_twin(CRS.from_wkt(in_fresh_thread(lambda: CRS.from_wkt(text).to_wkt())))


@_remembered
def promote(crs: CRS) -> CRS:
    """Return the CRS with an ellipsoidal height [m] as its third axis; one that has a height already as it is."""
    return crs if crs.is_compound or crs.is_geocentric else crs.to_3d()


@_remembered
def horizontal_of(crs: CRS) -> CRS:
    """Return the horizontal part: the first of a compound CRS, a 3D CRS without its height."""
    if crs.is_compound:
        return crs.sub_crs_list[0]
    return crs if crs.is_geocentric else crs.to_2d()


@_remembered
def geographic_of(crs: CRS) -> CRS:
    """Return the 2D geographic CRS of the datum. Raises `OperationError` for a vertical CRS."""
    return _base(crs).to_2d() if not crs.is_geocentric else _geodetic(_base(crs), "ellipsoidal")


@_remembered
def geocentric_of(crs: CRS) -> CRS:
    """Return the geocentric CRS (X, Y, Z in metres) of the datum. Raises `OperationError` for a vertical CRS."""
    return _geodetic(_base(crs), "Cartesian")


def ellipsoid_of(crs: CRS) -> Ellipsoid:
    """Return the ellipsoid of the datum. Raises `OperationError` for a vertical CRS."""
    ellipsoid = _base(crs).ellipsoid
    assert ellipsoid is not None
    inverse = ellipsoid.inverse_flattening
    return Ellipsoid(ellipsoid.semi_major_metre, 1.0 / inverse if inverse else 0.0)


def same_datum(one: CRS, other: CRS) -> bool:
    """Tell whether two CRSs count positions in one datum: a plain conversion leads from one to the other."""
    return geographic_of(one).equals(geographic_of(other), ignore_axis_order=True)


def same_height_datum(one: str, other: str) -> bool:
    """Tell whether two height texts (vertical CRS or "ellipsoid") name one height datum, in whatever units."""
    first, second = vertical_of(one), vertical_of(other)
    if first is None or second is None:
        return first is second
    return bool(first.equals(second) or (first.datum is not None and first.datum == second.datum))


def on_grid(crs: CRS) -> bool:
    """Tell whether positions in a CRS are eastings and northings: of a projection, or of a site grid derived from one.

    pyproj does not count the latter (DERIVEDPROJCRS in WKT2) among the projected ones.
    """
    horizontal = crs.sub_crs_list[0] if crs.is_compound else crs
    return bool(horizontal.is_projected or horizontal.type_name == "Derived Projected CRS")


def kind_of(crs: CRS) -> str:
    """Return "geocentric", "projected" or "geographic": what the coordinates of positions in the CRS are."""
    horizontal = horizontal_of(crs)
    if horizontal.is_geocentric:
        return "geocentric"
    return "projected" if on_grid(horizontal) else "geographic"


def same_crs(one: str, other: str) -> bool:
    """Tell whether two texts name the same horizontal CRS, whatever the order of their axes."""
    return bool(horizontal_of(parse(one)).equals(horizontal_of(parse(other)), ignore_axis_order=True))


def same_positions(one: str, other: str) -> bool:
    """Tell whether two texts count positions alike: one projected CRS, or degrees in one datum, whatever heights."""
    first, second = (horizontal_of(parse(text)) for text in (one, other))
    if first.is_geographic and second.is_geographic:
        return same_datum(first, second)
    return bool(first.equals(second, ignore_axis_order=True))


@_remembered
def holds_ellipsoidal_heights(crs: CRS) -> bool:
    """Tell whether a 3D geographic CRS is registered for the datum.

    Classical datums (OSGB36, Amersfoort) have none: no ellipsoidal height was ever defined in them.
    """
    return geographic_of(crs).to_3d().to_authority() is not None


def carried_from(grid: CRS, sources: Iterable[str]) -> tuple[str, ...] | None:
    """Return the names of the datums whose ellipsoidal heights stand beside places in the grid's datum, each once.

    None where the grid's datum has ellipsoidal heights of its own; else those of the ``sources`` are carried along, and
    there is none where all of them are in the grid's datum. Raises `OperationError` for what cannot be a source.
    """
    if holds_ellipsoidal_heights(grid):
        return None
    others = (source_crs(text) for text in sources)
    names = (geographic_of(one).name for one in others if not same_datum(one, grid))
    return tuple(dict.fromkeys(names))


def is_dynamic(crs: CRS) -> bool:
    """Tell whether coordinates in the datum move with time, so that they need an epoch."""
    return "Dynamic" in str(_base(crs).to_json_dict().get("datum", {}).get("type", ""))


@lru_cache(maxsize=_KEPT)
def source_crs(text: str) -> CRS:
    """Return the CRS of an export or a register, checked.

    Geographic, geocentric or projected, or one of the first and last with a height datum. Raises `OperationError` for
    anything else, for axes that point nowhere, and for longitudes not counted from Greenwich.
    """
    crs = parse(text)
    if not (crs.is_geographic or on_grid(crs) or crs.is_geocentric):
        raise OperationError(
            f"{crs.name} ({crs.type_name}) gives no positions",
            "name a geographic, geocentric or projected CRS; add a height datum as in EPSG:2193+7839",
        )
    check_datum_stated(crs, 'write it behind the CRS, as in "+proj=tmerc ... on EPSG:4959"')
    _refuse_odd_axes(crs)
    return crs


@lru_cache(maxsize=_KEPT)
def target_grid(text: str) -> CRS:
    """Return the projected CRS of the issued coordinates, checked.

    Raises `OperationError` unless it is projected, without a height of its own, with longitudes counted from Greenwich.
    """
    crs = parse(text)
    if crs.is_compound or not on_grid(crs):
        raise OperationError(
            f"target.grid {crs.name} is a {crs.type_name}, not a projected CRS",
            _apart(crs) or 'name the grid alone, such as "EPSG:2193", and its heights as target.height',
        )
    check_datum_stated(crs, 'state it as target.base, such as base = "EPSG:4959"')
    _refuse_odd_axes(crs)
    return crs.to_2d()


def _apart(crs: CRS) -> str:
    """Return in words how to name grid and heights of a compound CRS apart; "" where that cannot be said."""
    parts = [registered_code(part) for part in crs.sub_crs_list]
    if len(parts) != 2 or None in parts or not on_grid(crs):
        return ""
    return f'write grid = "{parts[0]}" and height = "{parts[1]}"'


@lru_cache(maxsize=_KEPT)
def target_axes(grid: str, height: str) -> Axes:
    """Return how the issued coordinates are written. Raises `OperationError` as `target_grid` and `vertical_of` do."""
    return axes_of(target_grid(grid), vertical_of(height))


def vertical_of(text: str) -> CRS | None:
    """Return the vertical CRS of heights or depths in whatever unit, checked, or None for "ellipsoid".

    Raises `OperationError` unless it is a vertical CRS.
    """
    if text == ELLIPSOID:
        return None
    try:
        crs = parse(text)
    except OperationError as error:
        raise OperationError(error.what, _A_VERTICAL if error.fix == _A_CODE else error.fix) from error
    if crs.is_compound or not crs.is_vertical:
        what = f'height {crs.name} ("{_short(text)}") is a {crs.type_name}, not a vertical CRS'
        raise OperationError(what, _A_VERTICAL)
    return crs


@_remembered
def registered_code(crs: CRS) -> str | None:
    """Return the code under which the same CRS is registered, such as "EPSG:2193", or None."""
    code = crs.to_authority()
    if code is None:
        return None
    text = ":".join(code)
    # what is found by likeness alone does not count
    return text if parse(text).equals(crs, ignore_axis_order=True) else None


def compound(horizontal: CRS, vertical: CRS) -> CRS:
    """Return the compound CRS of a horizontal and a vertical one."""
    return CompoundCRS(f"{horizontal.name} + {vertical.name}", [horizontal, vertical])


@lru_cache(maxsize=_KEPT)
def compound_definition(grid: str, height: str) -> str:
    """Return the WKT2:2019 of grid and height datum together (of the grid with ellipsoidal height for "ellipsoid")."""
    vertical = vertical_of(height)
    whole = promote(target_grid(grid)) if vertical is None else compound(target_grid(grid), vertical)
    return str(whole.to_wkt("WKT2_2019"))


def area_of_use(crs: CRS) -> Area | None:
    """Return where the CRS is meant to be used, or None where its definition does not say."""
    area = crs.area_of_use
    return None if area is None else Area(area.west, area.south, area.east, area.north)


def proj_version() -> str:
    """Return the version of the PROJ library in use."""
    return str(pyproj.proj_version_str)


def database_version() -> str:
    """Return the version of the EPSG registry in PROJ's database, such as "v11.022"."""
    return get_database_metadata("EPSG.VERSION") or "unknown"


def _base(crs: CRS) -> CRS:
    """Return the geographic or geocentric CRS underneath."""
    if crs.is_compound:
        crs = crs.sub_crs_list[0]
    base = crs if crs.is_geocentric else crs.geodetic_crs
    if base is None:
        raise OperationError(
            f"{crs.name} ({crs.type_name}) has no geodetic datum", "name a geographic or projected CRS"
        )
    return base


def _geodetic(base: CRS, subtype: str) -> CRS:
    """Return a CRS of the same datum: "Cartesian" X, Y, Z or "ellipsoidal" longitude, latitude."""
    known = base.to_json_dict()
    wanted: dict[str, Any] = {"type": "GeodeticCRS" if subtype == "Cartesian" else "GeographicCRS", "name": base.name}
    wanted |= {key: known[key] for key in ("$schema", "datum", "datum_ensemble") if key in known}
    if subtype == "Cartesian":
        axes = [
            {"name": name, "abbreviation": short, "direction": direction, "unit": "metre"}
            for short, (name, direction) in _AXES.items()
        ]
    else:
        axes = [
            {"name": "Geodetic latitude", "abbreviation": "Lat", "direction": "north", "unit": "degree"},
            {"name": "Geodetic longitude", "abbreviation": "Lon", "direction": "east", "unit": "degree"},
        ]
    wanted["coordinate_system"] = {"subtype": subtype, "axis": axes}
    return CRS.from_json_dict(wanted)


def _refuse_odd_axes(crs: CRS) -> None:
    horizontal = crs.sub_crs_list[0] if crs.is_compound else crs
    if on_grid(horizontal):
        axes_of(horizontal)
    elif horizontal.is_geographic and {axis.direction.lower() for axis in horizontal.axis_info} - _UPRIGHT:
        raise OperationError(
            f"{crs.name} counts longitudes to the west, latitudes to the south or heights downwards",
            "name a CRS of the same datum with latitude north and longitude east, and degrees to match",
        )
    meridian = _base(crs).prime_meridian
    if meridian is not None and meridian.longitude != 0.0:
        raise OperationError(f"{crs.name} measures longitudes from {meridian.name}", _counted_again(horizontal))


def _counted_again(crs: CRS) -> str:
    """Return what to write for a CRS that counts from another meridian than Greenwich."""
    if on_grid(crs) and (text := grid_from_greenwich(crs)) is not None:
        return f'write the same grid as it counts from Greenwich, "{text}": its eastings and northings are the same'
    datum = datum_from_greenwich(crs)
    if datum is None:
        return "choose a CRS that measures them from Greenwich: the registry has none with this datum"
    if on_grid(crs):
        return f"choose a grid that measures them from Greenwich, on {datum}"
    meridian = crs.prime_meridian
    whose = "there" if meridian is None else meridian.name
    added = f"{degrees_from_greenwich(crs):+.8g}° to those from {whose}"
    return f'export degrees with longitudes from Greenwich ({added}), and write "{datum}"'


def _short(text: str) -> str:
    line = " ".join(text.split())
    return line if len(line) <= 60 else line[:57] + "..."


def _reason(error: CRSError) -> str:
    return str(error).rsplit(": ", 1)[-1].rstrip(")")
