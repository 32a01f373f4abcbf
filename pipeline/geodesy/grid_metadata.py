"""What a geoid grid says of itself: the height datum that it leads to.

GeoTIFF grids in the form that PROJ describes (Geodetic TIFF grids) name it in the metadata of their first image, tag
42112 (GDAL_METADATA), as EPSG's code. GTX has nothing of the kind.
"""

import re
import struct
from contextlib import suppress
from pathlib import Path
from typing import BinaryIO

from pyproj.crs import CRS, CompoundCRS
from pyproj.exceptions import CRSError

from pipeline.geodesy.area import Area
from pipeline.geodesy.candidate_operations import candidate_operations
from pipeline.geodesy.crs import horizontal_of, parse, vertical_of
from pipeline.geodesy.errors import OperationError
from pipeline.letter_case import folded

#: GDAL's tag for its metadata, the type of text, and bytes and entries up to which they are looked at.
_METADATA, _ASCII, _BYTES, _ENTRIES = 42112, 2, 1 << 20, 4096
_TYPE = re.compile(rb'<Item name="TYPE"[^>]*>\s*VERTICAL_OFFSET_GEOGRAPHIC_TO_VERTICAL\s*</Item>')
_TARGET = re.compile(rb'<Item name="target_crs_epsg_code"[^>]*>\s*(\d{1,6})\s*</Item>')


def height_named(path: Path) -> CRS | None:
    """Return the vertical CRS that a geoid grid says it leads to; None of one that says nothing, or is no GeoTIFF."""
    try:
        with path.open("rb") as opened:
            metadata = _metadata(opened)
    except (OSError, struct.error):
        return None
    code = _TARGET.search(metadata) if _TYPE.search(metadata) else None
    with suppress(OperationError):
        return None if code is None else vertical_of(f"EPSG:{code[1].decode()}")
    return None


def is_used_to(name: str, grid: str, height: str, area: Area) -> bool:
    """Tell whether the registry has a grid of a file's name on a way to a height datum: one may serve several.

    Also of one that is not where PROJ looks.
    """
    vertical = vertical_of(height)
    try:
        frame = horizontal_of(parse(grid)).geodetic_crs
        if frame is None or vertical is None:
            return False
        plan = CRS.from_user_input(frame.to_2d())
        ways = candidate_operations(frame.to_3d(), CompoundCRS("", [plan, vertical]), area)
    except (OperationError, CRSError):
        return False
    known = [used.short_name for way in ways.unavailable_operations for used in way.grids]
    known += [used.short_name for way in ways.transformers for one in way.operations or () for used in one.grids]
    return folded(name) in map(folded, known)


def _metadata(opened: BinaryIO) -> bytes:
    """Return GDAL's metadata of a TIFF's first image; nothing where there is none.

    The header and the entries of its directory are as TIFF 6.0 has them, and as BigTIFF does with 8 bytes for 4. Raises
    OSError, and struct.error where the file ends within.
    """
    order = {b"II": "<", b"MM": ">"}.get(opened.read(2))
    kind = struct.unpack(f"{order}H", opened.read(2))[0] if order else 0
    if kind == 42:
        (at,), counted, entry = struct.unpack(f"{order}I", opened.read(4)), f"{order}H", f"{order}HHII"
    elif kind == 43:
        at, counted, entry = struct.unpack(f"{order}HHQ", opened.read(12))[2], f"{order}Q", f"{order}HHQQ"
    else:
        return b""
    opened.seek(at)
    (entries,) = struct.unpack(counted, opened.read(struct.calcsize(counted)))
    for _ in range(min(entries, _ENTRIES)):
        tag, form, length, value = struct.unpack(entry, opened.read(struct.calcsize(entry)))
        if (tag, form) == (_METADATA, _ASCII):
            opened.seek(value)  # its text is longer than the few bytes that stand in the entry itself
            return opened.read(min(length, _BYTES))
    return b""
