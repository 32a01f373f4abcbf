"""The reference frames of a region: what its coordinates may be in, apart from what is used all over the earth."""

from functools import lru_cache

from pyproj.aoi import AreaOfInterest
from pyproj.crs import CRS
from pyproj.database import query_crs_info
from pyproj.enums import PJType

from pipeline.geodesy import grids
from pipeline.geodesy.area import Area
from pipeline.geodesy.fresh_thread import in_fresh_thread

#: Degrees of longitude: a frame in use all over the earth is not that of one national service.
_WIDEST = 180.0


@lru_cache(maxsize=16)
def frames_at_rest(area: Area, kind: PJType) -> tuple[tuple[str, str], ...]:
    """Return code and name of the region's geographic CRSs of a kind, those whose frame is at rest on its plate.

    A CRS counts where it is used all over the area. A realisation that belongs to an ensemble stands behind that:
    PROJ's operations start from the ensemble. Frames that move have a coordinate only with its epoch; a region of the
    Americas has twenty of them, and each would take PROJ a tenth of a second.

    It is asked apart from what PROJ has in mind, in which an ensemble can lack its members (see `in_fresh_thread`).
    """
    grids.prepare_proj()
    return in_fresh_thread(lambda: _at_rest(area, kind))


def _at_rest(area: Area, kind: PJType) -> tuple[tuple[str, str], ...]:
    bounds = AreaOfInterest(area.west, area.south, area.east, area.north)
    there, members = dict[str, tuple[str, str]](), set[str]()
    for info in query_crs_info("EPSG", pj_types=kind, area_of_interest=bounds, contains=True):
        use = info.area_of_use
        if info.deprecated or use is None or Area(use.west, use.south, use.east, use.north).width > _WIDEST:
            continue
        known = CRS.from_epsg(info.code).to_json_dict()
        members |= {member["name"] for member in known.get("datum_ensemble", {}).get("members", [])}
        datum = known.get("datum_ensemble") or known.get("datum", {})
        if not str(datum.get("type", "")).startswith("Dynamic"):
            there[f"EPSG:{info.code}"] = (info.name, datum.get("name", ""))
    return tuple((code, name) for code, (name, datum) in there.items() if datum not in members)
