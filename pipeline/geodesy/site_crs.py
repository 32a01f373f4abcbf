"""A site's own system as PROJ knows it: a step behind the grid's operation, and CRSs derived of grid and datum."""

from typing import Any

from pyproj import Proj
from pyproj.crs import CRS, CompoundCRS

from pipeline.arrays import Floats
from pipeline.geodesy import crs as systems

_SCHEMA = "https://proj.org/schemas/v0.7/projjson.schema.json"
_AFFINE = {"name": "Affine parametric transformation", "id": {"authority": "EPSG", "code": 9624}}
_OFFSET = {"name": "Vertical Offset", "id": {"authority": "EPSG", "code": 9616}}
_PLAN_AXES = {
    "subtype": "Cartesian",
    "axis": [
        {"name": "Easting", "abbreviation": "E", "direction": "east", "unit": "metre"},
        {"name": "Northing", "abbreviation": "N", "direction": "north", "unit": "metre"},
    ],
}
_UP = {
    "subtype": "vertical",
    "axis": [{"name": "Height", "abbreviation": "H", "direction": "up", "unit": "metre"}],
}


def affine_step(matrix: Floats, offset: Floats, slope: Floats, added: float) -> str:
    """Return PROJ's step from easting, northing, height of the grid to the site's [m].

    ``matrix`` (2, 2) and ``offset`` (2,) in plan; ``slope`` (2,) and ``added`` of what is added to heights, at the
    grid's origin.
    """
    (s11, s12), (s21, s22) = matrix.tolist()
    (x, y), (s31, s32) = offset.tolist(), slope.tolist()
    return (
        f"proj=affine xoff={x!r} yoff={y!r} zoff={added!r} s11={s11!r} s12={s12!r} s21={s21!r} s22={s22!r}"
        f" s31={s31!r} s32={s32!r}"
    )


def derived_plan(grid: CRS, matrix: Floats, offset: Floats) -> CRS:
    """Return the projected CRS derived of a grid by `affine_step`'s plan; PROJ and GDAL know it by its WKT2.

    The operation takes a grid's axes in the order in which the registry has them, northing first for some. ``matrix``
    is (2, 2), ``offset`` (2,) metres.
    """
    northing_first = grid.axis_info[0].direction.lower() == "north"
    first, second = (1, 0) if northing_first else (0, 1)
    values = (
        ("A0", 8623, offset[0], "metre"), ("A1", 8624, matrix[0, first], "unity"),
        ("A2", 8625, matrix[0, second], "unity"), ("B0", 8639, offset[1], "metre"),
        ("B1", 8640, matrix[1, first], "unity"), ("B2", 8641, matrix[1, second], "unity"),
    )  # fmt: skip
    parameters = [
        {"name": name, "value": float(value), "unit": unit, "id": {"authority": "EPSG", "code": code}}
        for name, code, value, unit in values
    ]
    return _derived("DerivedProjectedCRS", grid, _AFFINE, parameters, _PLAN_AXES)


def derived_height(datum: CRS | None, added: float, tilted: bool) -> CRS:
    """Return the vertical CRS of the site: derived of the height datum by a step.

    A plane, or a step above the ellipsoid, has no such form: it is a datum of the site's own, which the operation's
    definition alone connects.
    """
    if datum is not None and not tilted:
        parameter = {
            "name": "Vertical Offset", "value": added, "unit": "metre", "id": {"authority": "EPSG", "code": 8603},
        }  # fmt: skip
        return _derived("DerivedVerticalCRS", datum, _OFFSET, [parameter], _UP)
    told = {
        "$schema": _SCHEMA,
        "type": "VerticalCRS",
        "name": "height of the site",
        "datum": {"type": "VerticalReferenceFrame", "name": "height of the site"},
        "coordinate_system": _UP,
    }
    return CRS.from_json_dict(told)


def site_definition(plan: CRS, height: CRS | None) -> str:
    """Return the WKT2:2019 of the site's plan and heights together, or of one alone."""
    whole = plan if height is None else CompoundCRS(f"{plan.name} + {height.name}", [plan, height])
    return str(whole.to_wkt("WKT2_2019"))


def _derived(kind: str, base: CRS, method: dict[str, Any], parameters: list[dict[str, Any]], axes: Any) -> CRS:
    told = {key: value for key, value in base.to_json_dict().items() if key != "$schema"}
    return CRS.from_json_dict(
        {
            "$schema": _SCHEMA,
            "type": kind,
            "name": f"site on {base.name}",
            "base_crs": told,
            "conversion": {"name": "site localisation", "method": method, "parameters": parameters},
            "coordinate_system": axes,
        }
    )


def point_scale(grid: str, longitude: float, latitude: float) -> float:
    """Return metres of the grid in a metre on its ellipsoid, at a place [deg]."""
    factors = Proj(systems.target_grid(grid)).get_factors(longitude, latitude)
    return float(factors.meridional_scale + factors.parallel_scale) / 2.0
