"""Small sets of vector features as a `Sheet`: attributes become cells, and points stand in for absent columns."""

import hashlib
import json
import re
from collections import Counter
from collections.abc import Sequence
from datetime import date
from typing import Any

from msgspec import Struct

from pipeline.files.sheet import Sheet
from pipeline.limits import COLUMNS, VALUES
from pipeline.problems import Problems
from pipeline.words import counted

#: The CRS of a GeoJSON's geometry unless it states another one (RFC 7946, section 4).
GEOJSON_CRS = "OGC:CRS84"

#: Names by which programs say that they know no CRS.
_NO_NAME = re.compile(r"\s*(?:urn:(?:x-)?ogc:def:crs:\S*:)?(?:undefined.*|unknown|unnamed|none|)\s*", re.IGNORECASE)

#: JSON's spelling of half of a pair of surrogates, which needs the other half.
_SURROGATE = re.compile(r"\\u[dD][89a-fA-F]")

#: What stands between texts of JSON that follow one another (RFC 8142 has a separator).
_BETWEEN = re.compile(r"[ \t\r\n\x1e]*")

#: What is wrong with a member ``crs`` that says something else than a CRS, and what to do.
UNKNOWN_CRS = (
    'its member "crs" names an unknown CRS, so it cannot be compared with the job file: {:.60}',
    'export it again without that member, or with a code in it, such as "EPSG:4959"',
)


class Features(Struct, frozen=True):
    """Features in order: the cells of each by column in small letters, and its point's coordinates as text.

    A point is () where a feature has none. ``crs`` is what the file states for its geometry.
    """

    cells: tuple[dict[str, str], ...]
    points: tuple[tuple[str, ...], ...]
    crs: str


class NameTwice(ValueError):
    """A name that an object has twice: which of the two values counts nobody can say."""


def unique_members(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return an object of JSON by its pairs. Raises `NameTwice` where a name comes again."""
    found = dict(pairs)
    if len(found) != len(pairs):
        counts = Counter(name for name, _ in pairs)
        raise NameTwice(next(name for name, count in counts.items() if count > 1))
    return found


def cell(value: object) -> str:
    """Return an attribute as text: no decimals of a whole number, nothing for null and NaN, line feeds at line ends."""
    if value is None or value != value:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, float):
        return repr(value).removesuffix(".0")
    if isinstance(value, date):
        return value.isoformat()
    return str(value).replace("\r\n", "\n").replace("\r", "\n").strip()


def read_geojson(text: str, shown: str, problems: Problems) -> Features | None:
    """Read the text of a GeoJSON file, a collection or features alone; numbers keep the digits of the file."""
    if sum(map(text.count, ",[{")) > VALUES:
        problems.add(shown, 0, f"this has more than {counted(VALUES, 'value')}", "export the marks alone")
        return None
    try:
        document = _document(text)
        if _SURROGATE.search(text):
            json.dumps(document, ensure_ascii=False).encode()
    except json.JSONDecodeError as error:
        problems.add(shown, error.lineno, f"this is not JSON: {error.msg}", "export the GeoJSON file again")
        return None
    except (NameTwice, RecursionError, UnicodeEncodeError) as error:
        what = {
            NameTwice: f'the name "{error}" appears twice in one object',
            RecursionError: "this is nested too deeply",
            UnicodeEncodeError: "this has a character that does not exist (half of a surrogate pair)",
        }[type(error)]
        problems.add(shown, 0, what, "export the GeoJSON file again")
        return None
    features = document.get("features") if isinstance(document, dict) else None
    if not isinstance(features, list) or not all(isinstance(feature, dict) for feature in features):
        problems.add(shown, 1, "this is not a GeoJSON FeatureCollection", "export the GeoJSON file again")
        return None
    given = [feature.get("properties") for feature in features]
    properties: list[dict[str, Any]] = [each if isinstance(each, dict) else {} for each in given]
    cells = tuple({str(key).strip().casefold(): cell(value) for key, value in each.items()} for each in properties)
    broken = [line for line, row in enumerate(cells, start=1) if any("\0" in text for text in row.values())]
    for line in broken:
        problems.add(shown, line, "this feature has a text with a NUL character", "export the GeoJSON file again")
    if broken:
        return None
    return Features(
        cells=cells,
        points=tuple(_point(feature.get("geometry")) for feature in features),
        crs=named_crs(document.get("crs")) or GEOJSON_CRS,
    )


def _document(text: str) -> Any:
    """Return what a JSON text holds; features without a collection, one after the other, as a collection of them."""
    decoder = json.JSONDecoder(parse_float=str, parse_int=str, parse_constant=str, object_pairs_hook=unique_members)
    document, at = decoder.raw_decode(text, _behind(text, 0))
    documents, at = [document], _behind(text, at)
    while at < len(text) and is_feature(document):
        document, at = decoder.raw_decode(text, at)
        documents.append(document)
        at = _behind(text, at)
    if at < len(text):
        raise json.JSONDecodeError("Extra data", text, at)
    return {"type": "FeatureCollection", "features": documents} if is_feature(documents[0]) else documents[0]


def _behind(text: str, at: int) -> int:
    """Return where the text goes on behind what stands between two texts of JSON."""
    found = _BETWEEN.match(text, at)
    return found.end() if found else at


def is_feature(document: Any) -> bool:
    """Tell whether a value of JSON is a feature (RFC 7946, section 3.2)."""
    return isinstance(document, dict) and document.get("type") == "Feature"


def has_too_many_columns(features: Features, shown: str, problems: Problems) -> bool:
    """Note the first feature with which there are more attributes than a table may have columns."""
    names: set[str] = set()
    for line, cells in enumerate(features.cells, start=1):
        names.update(cells)
        if len(names) > COLUMNS:
            what = f"the features up to here have {counted(len(names), 'attribute')}; the maximum is {COLUMNS:,}"
            problems.add(shown, line, what, "export them without the attributes that are not needed")
            return True
    return False


def sheet_of(features: Features, columns: Sequence[str], data: bytes, shown: str) -> Sheet:
    """Return ``features`` as a table, in which points give those of ``columns`` (easting, northing, height) not there.

    Of the columns, the first two come from the points where neither is an attribute, the third where it is not one; no
    columns, nothing of the points.
    """
    names = {name for cells in features.cells for name in cells}
    dimensions = max((len(point) for point in features.points), default=0)
    wanted = list(range(2)) if columns and not names & set(columns[:2]) else []
    wanted += [2] if columns and columns[2] not in names else []
    wanted = [axis for axis in wanted if axis < dimensions]
    rows = tuple(
        (line, cells | {columns[axis]: point[axis] for axis in wanted if axis < len(point)})
        for line, (cells, point) in enumerate(zip(features.cells, features.points, strict=True), start=1)
    )
    given = tuple(columns[axis] for axis in wanted)
    known = tuple(sorted(names.union(given)))
    return Sheet(shown, known, rows, False, hashlib.sha256(data).hexdigest(), header=0, of_points=given)


def single(geometry: Any) -> Any:
    """Return a multipoint of one point, as programs write for layers of several, as that point; all else as it is.

    Raises ValueError, saying how many points there are and what to do, where it has several.
    """
    if not isinstance(geometry, dict) or geometry.get("type") != "MultiPoint":
        return geometry
    places = geometry.get("coordinates")
    if not isinstance(places, list) or len(places) > 1:
        count = counted(len(places), "point") if isinstance(places, list) else "no points"
        raise ValueError(several_points(count))
    return {"type": "Point", "coordinates": places[0]} if places else None


def several_points(count: str) -> str:
    """Return what is said of a geometry of several points, ``count`` in words."""
    return f"the geometry is a multipoint of {count}: export single parts, one point per row"


def _point(geometry: Any) -> tuple[str, ...]:
    try:
        geometry = single(geometry)
    except ValueError:
        return ()
    if not isinstance(geometry, dict) or geometry.get("type") != "Point":
        return ()
    coordinates = geometry.get("coordinates")
    return tuple(cell(value) for value in coordinates[:3]) if isinstance(coordinates, list) else ()


def named_crs(stated: Any) -> str | None:
    """Return what the member ``crs`` of a GeoJSON file names, None where it is null or not there.

    One that names nothing (a link, say) is returned as it is written: it says something, which nobody can hold against
    the job file. A name that says "undefined" or "unknown" is none.
    """
    properties = stated.get("properties") if isinstance(stated, dict) else None
    name = properties.get("name") if isinstance(properties, dict) else None
    if isinstance(name, str):
        return None if _NO_NAME.fullmatch(name) else name.strip()
    return None if stated is None else json.dumps(stated, ensure_ascii=False)
