"""What a CRS named in a job file or by a layer is, for readers that only compare it and never fail over it."""

from pyproj.crs import CRS

from pipeline.geodesy import crs as systems
from pipeline.geodesy.errors import OperationError


def disagree(one: str | None, other: str | None) -> bool:
    """Tell whether both are CRSs that PROJ knows and count positions differently, heights and order of axes apart."""
    if one is None or other is None:
        return False
    try:
        return not systems.same_positions(one, other)
    except OperationError:
        return False  # said where the job's own CRS is read; a layer may carry one that only its maker knows


def is_wgs84(text: str | None) -> bool:
    """Tell whether the text names degrees on WGS 84, with or without heights, in whatever order of axes."""
    try:
        return text is not None and systems.same_positions(text, "OGC:CRS84")
    except OperationError:
        return False


def is_unknown(text: str | None) -> bool:
    """Tell whether the text is there and names no CRS that PROJ knows."""
    return text is not None and _known(text) is None


def is_geographic(text: str | None) -> bool:
    """Tell whether the text names a CRS in degrees (or grads), with or without heights."""
    crs = _known(text)
    return crs is not None and crs.is_geographic


def is_projected(text: str | None) -> bool:
    """Tell whether the text names a CRS that counts eastings and northings."""
    crs = _known(text)
    return crs is not None and systems.on_grid(crs)


def _known(text: str | None) -> CRS | None:
    try:
        return None if text is None else systems.horizontal_of(systems.parse(text))
    except OperationError:
        return None
