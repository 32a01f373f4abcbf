"""Compares the CRS stored in a layer with the job file's."""

from pathlib import Path

import numpy as np

from pipeline.files.features import UNKNOWN_CRS
from pipeline.geodesy.crs_comparison import (
    crs_label,
    disagree,
    heights_disagree,
    is_geocentric,
    is_local,
    is_projected,
    is_unknown,
    is_wgs84,
    name_of,
)
from pipeline.job.model import Points
from pipeline.read.findings import Unusable
from pipeline.read.raw_batch import Raw
from pipeline.read.sources import JSON, Source
from pipeline.sphere import are_geocentric

#: What to do where a layer says a system of the site, which no job can be in.
OF_SITE = "that is a local site system: save the layer with the CRS that its positions are in, or with none"


def check_crs(path: Path, points: Points, source: Source, first: list[Raw]) -> None:
    """Hold the layer's CRS against the block's where the positions come from its geometry."""
    if not source.how.position.from_geometry or points.crs is None:
        return
    if path.suffix.lower() in JSON and (source.crs is None or is_wgs84(source.crs)):
        # Degrees by the standard, on whatever datum the job file says; but no metres.
        if first:
            _check_numbers(points.crs, first[0])
        return
    if path.suffix.lower() in JSON and is_unknown(source.crs):
        raise Unusable(0, UNKNOWN_CRS[0].format(source.crs), UNKNOWN_CRS[1])
    if source.crs is None:
        return
    if disagree(source.crs, points.crs):
        own, stated = crs_label(source.crs), crs_label(points.crs)
        what = f"the layer is in {own} but the block's crs is {stated}"
        names = [name for name in (name_of(source.crs), name_of(points.crs)) if name]
        raise Unusable(0, f"{what} ({', '.join(names)})" if names else what, _own_crs(source.crs))
    if "height" not in source.how.position.mapped and heights_disagree(source.crs, points.crs):
        layer = f"the layer is in {crs_label(source.crs)} ({name_of(source.crs)})"
        what = f"{layer}, with heights in a different datum from the block's crs {points.crs}"
        raise Unusable(0, what, _own_crs(source.crs))


def _check_numbers(crs: str, raw: Raw) -> None:
    """Hold what the first positions of a file that states no CRS look like against the block's."""
    assert raw.geometry is not None
    in_metres = is_projected(crs) or is_geocentric(crs)
    if in_metres and _all_degrees(raw):
        what = f"the positions are in degrees, as GeoJSON requires, but the block's crs is {crs}"
        raise Unusable(1, what, "state the geographic crs that they are in")
    if not is_geocentric(crs) and are_geocentric(raw.geometry.x, raw.geometry.y, raw.geometry.z):
        what = f"the positions are geocentric X, Y, Z (metres from the earth's centre), but the block's crs is {crs}"
        raise Unusable(1, what, "state the geocentric crs that they are in, or export longitude, latitude and height")


def _own_crs(crs: str) -> str:
    """Return what to do where a layer says another CRS than its block."""
    if is_local(crs):
        return OF_SITE
    code = crs_label(crs)
    state = f'state crs = "{code}" for this block' if ":" in code else "state that CRS, as WKT, for this block"
    return f"{state} if the layer is right, else correct the layer where it was exported"


def _all_degrees(raw: Raw) -> bool:
    assert raw.geometry is not None
    x, y = np.abs(raw.geometry.x), np.abs(raw.geometry.y)
    known = np.isfinite(x) & np.isfinite(y)
    return bool(known.any() and (x[known] <= 360).all() and (y[known] <= 90).all())
