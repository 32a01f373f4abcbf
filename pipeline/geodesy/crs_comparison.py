"""What a CRS named in a job file or by a layer is, for readers that only compare it and never fail over it."""

from pyproj.crs import CRS

from pipeline.geodesy import crs as systems
from pipeline.geodesy.errors import OperationError

#: Characters of a text for a CRS beyond which it is a definition.
_SHORT = 40


def disagree(one: str | None, other: str | None) -> bool:
    """Tell whether both are CRSs that PROJ knows and count positions differently, heights and order of axes apart."""
    if one is None or other is None:
        return False
    try:
        return not systems.same_positions(one, other)
    except OperationError:
        return False  # said where the job's own CRS is read; a layer may carry one that only its maker knows


def heights_disagree(layer: str | None, block: str | None) -> bool:
    """Tell whether a layer says a height datum of its heights that is not the one in which they would be read."""
    if layer is None or block is None:
        return False
    try:
        own, stated = systems.parse(layer), systems.parse(block)
    except OperationError:
        return False
    if not own.is_compound:
        return False
    datums = [each.sub_crs_list[1].to_wkt() if each.is_compound else "ellipsoid" for each in (own, stated)]
    return not systems.same_height_datum(*datums)


def crs_label(text: str) -> str:
    """Return a short text for a CRS: its code or name, else the beginning of what is written."""
    try:
        crs = systems.parse(text)
    except OperationError:
        return text[:_SHORT]
    return text if len(text) <= _SHORT else systems.registered_code(crs) or f"'{crs.name}'"


def name_of(text: str) -> str:
    """Return the name of a CRS, "" where PROJ does not know it."""
    try:
        return str(systems.parse(text).name)
    except OperationError:
        return ""


def is_wgs84(text: str | None) -> bool:
    """Tell whether the text names degrees on WGS 84, with or without heights, in whatever order of axes."""
    try:
        return text is not None and systems.same_positions(text, "OGC:CRS84")
    except OperationError:
        return False


def is_unknown(text: str | None) -> bool:
    """Tell whether the text is there and names no CRS that PROJ knows."""
    return text is not None and _known(text) is None


def is_local(text: str | None) -> bool:
    """Tell whether the text names a system of a site alone, from which nothing leads to the earth."""
    crs = _known(text)
    return crs is not None and crs.is_engineering


def is_geographic(text: str | None) -> bool:
    """Tell whether the text names a CRS in degrees (or grads), with or without heights."""
    crs = _known(text)
    return crs is not None and crs.is_geographic


def is_projected(text: str | None) -> bool:
    """Tell whether the text names a CRS that counts eastings and northings."""
    crs = _known(text)
    return crs is not None and systems.on_grid(crs)


def is_geocentric(text: str | None) -> bool:
    """Tell whether the text names a CRS of X, Y, Z from the earth's centre."""
    crs = _known(text)
    return crs is not None and crs.is_geocentric


def _known(text: str | None) -> CRS | None:
    try:
        return None if text is None else systems.horizontal_of(systems.parse(text))
    except OperationError:
        return None
