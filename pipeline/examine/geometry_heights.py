"""Tells heights of a register that are the Z of its geometries, where these count from the ellipsoid by what they are.

GeoJSON counts Z from the ellipsoid of WGS 84 (RFC 7946, section 4), and so does a layer in a geographic 3D CRS from its
own. Programs write the heights of any datum there all the same, so it is only said, unless the bases show which it is.
"""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from pipeline.control import Register
from pipeline.examine.mark_heights import BySession
from pipeline.examine.register_looks import BASE_OFF
from pipeline.examine.systematic import ALIKE, ON_KNOWN
from pipeline.geodesy import crs
from pipeline.geodesy.crs_comparison import is_wgs84
from pipeline.geodesy.errors import OperationError
from pipeline.intake.survey import Survey


def geometry_notes(survey: Survey, register: Register, of: BySession) -> Iterator[str]:
    """Yield that the heights of a register are Z that counts from the ellipsoid, against the datum that the job says.

    Not where a base stands on a known position, and fits in height as well; nor where one would be farther off in
    height than it may be, were it so.

    Args:
        survey: the job.
        register: its register.
        of: how far the marks are above the readings on them.
    """
    control = survey.job.control
    if control is None or control.height == crs.ELLIPSOID or not register.z_of_points:
        return
    by_what = _from_ellipsoid(register)
    up, apart = of.off[:, 2], of.separation
    known = np.isfinite(up) & np.isfinite(apart)
    if by_what is None or not known.any():
        return
    up, plan, apart = up[known], np.hypot(*of.off[known, :2].T), apart[known]
    fits = (plan <= ON_KNOWN) & (np.abs(up) <= ALIKE[1])
    separation = float(np.median(apart))
    if fits.any() or (np.abs(up - apart) >= BASE_OFF).any() or abs(separation) <= survey.job.checks.vertical:
        return
    datum = crs.vertical_of(control.height)
    called = f' ("{control.height}")' if datum is None else f" ({datum.name})"
    yield (
        f"{survey.register_file}: the heights of its marks are the Z of its geometries, which {by_what}, but"
        f" control.height says another datum{called}. If they are above the ellipsoid, all heights are off by the geoid"
        f" separation, {separation:+.2f} m, and no check on these marks shows it: ask whoever wrote the file. If so,"
        ' write height = "ellipsoid" in [control]; else give them as an attribute, height, so that nobody has to ask'
    )


def _from_ellipsoid(register: Register) -> str | None:
    """Return in words by what the Z of a register's geometries counts from the ellipsoid; None where nothing says."""
    stated = register.geometry_crs or ""
    if Path(register.shown).suffix.lower() != ".gpkg" and is_wgs84(stated):
        return "GeoJSON counts from the ellipsoid (RFC 7946)"
    try:
        found = crs.parse(stated)
    except OperationError:
        return None
    solid = found.is_geographic and not found.is_compound and len(found.axis_info) == 3
    return f"count from the ellipsoid in the CRS of the layer ({found.name})" if solid else None
