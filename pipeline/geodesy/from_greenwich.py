"""A grid whose longitudes count from Paris, Ferro or another meridian, as the same grid counted from Greenwich."""

import re
import warnings
from functools import lru_cache

import numpy as np
from pyproj.crs import CRS
from pyproj.database import query_crs_info
from pyproj.enums import PJType
from pyproj.exceptions import CRSError

_LON_0 = re.compile(r"\+(lon_0|lonc)=(\S+)")
#: Parts of a text that say nothing of how a grid counts from Greenwich.
_LEFT_OUT = re.compile(r"\s*\+(?:pm=\S+|type=crs|no_defs|towgs84=\S+)")


def datum_from_greenwich(crs: CRS) -> str | None:
    """Return the code of the geographic CRS from Greenwich with a CRS's datum; None if the registry has none."""
    base, meridian = crs.geodetic_crs, crs.prime_meridian
    if base is None or meridian is None or meridian.longitude == 0.0:
        return None
    called = base.name.replace(f" ({meridian.name})", "")
    return None if called == base.name else _datums().get(called)


def degrees_from_greenwich(crs: CRS) -> float:
    """Return where the meridian is that a CRS counts from, in degrees east of Greenwich."""
    meridian = crs.prime_meridian
    return 0.0 if meridian is None else float(meridian.longitude * np.degrees(meridian.unit_conversion_factor))


def grid_from_greenwich(crs: CRS) -> str | None:
    """Return the text of a grid that counts from Greenwich; None of one that does already, or has no such datum."""
    datum = datum_from_greenwich(crs)
    if datum is None:
        return None
    degrees = degrees_from_greenwich(crs)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # it says that the text leaves out the datum
            text = crs.to_proj4()
    except CRSError:  # there is no text of its projection
        return None
    text = _LON_0.sub(lambda each: f"+{each[1]}={float(each[2]) + degrees:.12g}", _LEFT_OUT.sub("", text))
    return f"{text.strip()} on {datum}"


@lru_cache(maxsize=1)
def _datums() -> dict[str, str]:
    """Return the geographic CRSs of the registry by their names."""
    found = query_crs_info("EPSG", PJType.GEOGRAPHIC_2D_CRS)
    return {info.name: f"EPSG:{info.code}" for info in found}
