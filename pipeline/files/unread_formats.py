"""Says of files in formats that are not read what they have to be saved or exported as."""

import re
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING

from pipeline.files.workbook import OTHER_WORKBOOKS, SAVE_AS

if TYPE_CHECKING:
    from mimetypes import MimeTypes

#: Formats of geographic information and drawings that may hold points, and packed files.
_FEATURES = frozenset((".kml", ".kmz", ".shp", ".gml", ".gpx", ".dxf", ".dwg", ".dgn", ".mif", ".tab", ".xml", ".gdb"))
_PACKED = frozenset((".zip", ".7z", ".rar", ".gz", ".tar", ".tgz"))
#: Lines of JSON, each an object: renamed, they are no table and no GeoJSON.
_LINES_OF_JSON = frozenset((".jsonl", ".ndjson", ".jsonlines", ".ldjson", ".geojsonl", ".geojsons", ".geojsonseq"))
#: What kinds of files of which none is a table are called, by their first word: thousands of photographs need not be
#: opened. As Python knows them, whatever a system adds.
_NO_TABLES = ("image", "video", "audio")
#: Bytes of a file's beginning that tell whether it is a text, and signs between the cells of a table.
_BEGINNING, _SIGNS = 4096, ",;|\t "


def unread_format(path: Path) -> str:
    """Return that the format of a file is not read."""
    return f"the format {path.suffix.lower() or 'without an ending'} is not read"


def way_to_read(path: Path) -> str:
    """Return what to do so that a file in such a format can be read, "" where nothing tells that. Raises OSError."""
    ending = path.suffix.lower()
    if ending in OTHER_WORKBOOKS:
        return SAVE_AS
    if ending in _FEATURES:
        return "export its points as .csv, .geojson or .gpkg"
    if ending in _PACKED:
        return "unpack it"
    if ending in _LINES_OF_JSON or _is_json(path):
        return "export it as .csv, or as GeoJSON ending in .geojson"
    if _is_no_table(path):
        return ""
    return "rename it so that it ends in .txt" if _is_table(path) else ""


def _is_no_table(path: Path) -> bool:
    return (_kinds().guess_type(path.name)[0] or "").partition("/")[0] in _NO_TABLES


@lru_cache(maxsize=1)
def _kinds() -> "MimeTypes":
    from mimetypes import MimeTypes  # takes as long as many a folder; few hold a file in such a format

    return MimeTypes()


def _is_json(path: Path) -> bool:
    """Tell whether a file begins like JSON or lines of it; before each of a text sequence stands a sign (RFC 8142)."""
    if _is_no_table(path):
        return False
    with path.open("rb") as file:
        beginning = file.read(_BEGINNING).removeprefix(b"\xef\xbb\xbf").lstrip(b"\x1e \t\r\n")
    return re.match(rb'(?:\[\s*)?\{\s*"', beginning) is not None


def _is_table(path: Path) -> bool:
    """Tell whether a file begins like a table in text: lines of several cells, as many in each of the first."""
    with path.open("rb") as file:
        beginning = file.read(_BEGINNING)
    try:
        lines = [line for line in beginning.decode("utf-8-sig").splitlines()[:-1] if line.strip()]
    except UnicodeDecodeError:
        return False
    if len(lines) < 2 or "\0" in lines[0]:
        return False
    return any(lines[0].count(sign) > 1 and lines[0].count(sign) == lines[1].count(sign) for sign in _SIGNS)
