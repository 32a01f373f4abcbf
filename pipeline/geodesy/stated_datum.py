"""A grid that says no datum, put on the registered one that somebody states; and WKT1 known as the registered CRS.

A PROJ string or a `.prj` of a site grid often names an ellipsoid alone: to PROJ that is a datum of which nothing is
known, with ballpark ways to all others. The mapping stays as it is written; only what it counts on is replaced.
"""

from pyproj.crs import CRS

from pipeline.geodesy.errors import OperationError

#: Ellipsoids are one where they differ by less: metres of the semi-major axis, and of the inverse flattening. Files
#: write six decimals of the latter and more; those of GRS 1980 and WGS 84 differ by 1.5e-6.
_SAME_AXIS, _SAME_INVERSE = 1e-3, 5e-7

#: How alike PROJ must find a registered CRS before it is compared in full; 25 where only names or axes are alike.
_ALIKE = 25

_UNNAMED = ("", "unknown", "unnamed", "undefined")
#: What the name of a datum begins with where only its ellipsoid is known: PROJ's own, and those of a `.prj`.
_NO_DATUM = ("unknown", "d_unknown", "unnamed", "undefined", "not specified", "not_specified", "d_user_defined")


def check_datum_stated(crs: CRS, fix: str) -> None:
    """Raise `OperationError`, with what to do, where all that a CRS says of its datum is the ellipsoid."""
    geodetic = crs.geodetic_crs
    if geodetic is None or geodetic.datum is None or not geodetic.datum.name.lower().startswith(_NO_DATUM):
        return
    if geodetic.to_authority() is None:
        ellipsoid = geodetic.ellipsoid
        raise OperationError(
            f"the CRS {crs.name} states no datum, only the ellipsoid {ellipsoid.name if ellipsoid else ''}",
            f"find out which registered geographic CRS its coordinates are based on, and {fix}",
        )


def on_base(crs: CRS, base: CRS) -> CRS:
    """Return a projected CRS with its longitudes and latitudes counted in the datum of ``base``.

    Raises `OperationError` where the one is not projected or the other is no registered geographic CRS, where their
    ellipsoids differ, and where ``crs`` is on another registered datum already.
    """
    if not base.is_geographic or base.to_authority() is None:
        raise OperationError(
            f"{base.name} ({base.type_name}) cannot be the base of a grid",
            'state a registered geographic CRS as the base, such as "EPSG:4959"',
        )
    own = crs.geodetic_crs
    if crs.is_compound or not crs.is_projected or own is None:
        raise OperationError(
            f"{crs.name} ({crs.type_name}) is not a grid, and takes no base",
            "leave the base out, and name the CRS by its registered code",
        )
    plain, wanted = own.to_2d(), base.to_2d()
    if plain.to_authority() is not None and not plain.equals(wanted, ignore_axis_order=True):
        raise OperationError(
            f"the grid is on {_datum(plain)} by its own definition, but {base.name} is stated as its base",
            "leave the base out, or check which of the two is right",
        )
    _same_ellipsoid(plain, wanted)
    told = crs.to_json_dict()
    if told["type"] != "ProjectedCRS":
        raise OperationError(f"{crs.name} is a {crs.type_name}, derived from another grid", "leave the base out")
    told["base_crs"] = {key: value for key, value in wanted.to_json_dict().items() if key != "$schema"}
    if str(told.get("name", "")).lower() in _UNNAMED:
        told["name"] = f"{told['conversion']['method']['name']} on {wanted.name}"
    return CRS.from_json_dict(told)


def _datum(crs: CRS) -> str:
    return str(crs.datum.name if crs.datum is not None else crs.name)


def _same_ellipsoid(own: CRS, base: CRS) -> None:
    """Raise `OperationError` where two CRSs are on different ellipsoids."""
    one, other = own.ellipsoid, base.ellipsoid
    assert one is not None and other is not None
    apart = abs(one.semi_major_metre - other.semi_major_metre)
    if apart > _SAME_AXIS or abs(one.inverse_flattening - other.inverse_flattening) > _SAME_INVERSE:
        raise OperationError(
            f"the grid is on the ellipsoid {one.name} (a = {one.semi_major_metre:.3f} m, 1/f ="
            f" {one.inverse_flattening:.9g}), but its base {base.name} is on {other.name}"
            f" (a = {other.semi_major_metre:.3f} m, 1/f = {other.inverse_flattening:.9g})",
            "state a base on the grid's own ellipsoid, or correct the grid's definition",
        )


def registered_twin(crs: CRS) -> CRS:
    """Return the registered CRS that is the same but for its codes and the order of its axes, else ``crs`` itself.

    WKT of the first version, as GIS programs write it into a `.prj`, has easting before northing whatever the registry
    says, and often no code; without its code a CRS has no area of use, and writers do not know it.
    """
    if crs.is_compound or not (crs.is_projected or crs.is_geographic):
        return crs
    system = crs.to_json_dict()["coordinate_system"]
    for found in crs.list_authority(auth_name="EPSG", min_confidence=_ALIKE):
        twin = CRS.from_authority(found.auth_name, found.code)
        told = twin.to_json_dict()
        if not _same_axes(crs, twin) or told["type"] not in ("ProjectedCRS", "GeographicCRS", "GeodeticCRS"):
            continue
        told.pop("id", None)
        if CRS.from_json_dict({**told, "coordinate_system": system}).equals(crs):
            return twin
    return crs


def _same_axes(one: CRS, other: CRS) -> bool:
    """Tell whether two CRSs have axes to the same sides in the same units, in whatever order."""
    first, second = (
        sorted((axis.direction.lower(), float(f"{axis.unit_conversion_factor:.9g}")) for axis in crs.axis_info)
        for crs in (one, other)
    )
    return first == second
