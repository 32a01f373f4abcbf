"""A GeoJSON file as batches of columns, one feature after the other, every value of the class that it is written in.

A feature without a collection is one of one. Features that follow one another, each a text of its own, are read too:
one per line, or a sequence by RFC 8142.

The whole file is never in memory. It is gone through twice: once for the names of the properties and the classes of
their values (`properties_of`), then for the rows. JSON's own grammar is left to Python's scanner.
"""

import codecs
import json
import re
from collections.abc import Generator, Iterator, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.digest import Signature, Sum, Summed, signature
from pipeline.files.features import NameTwice, is_feature, named_crs, single, unique_members
from pipeline.job.model import Points
from pipeline.limits import FEATURE
from pipeline.read.findings import Unusable, check_cells
from pipeline.read.mixed_columns import column_type, faults_of, stored_columns
from pipeline.read.raw_batch import Geometry, Raw
from pipeline.read.seen_properties import SeenProperties, flat
from pipeline.read.text_blocks import encoding_of
from pipeline.words import counted, plural

#: Bytes read at once, and characters that one feature may have at most.
_CHUNK_BYTES, _FEATURE_CHARACTERS_MAX = 1 << 20, FEATURE
#: So near to the end of a piece a value is cut off rather than wrong.
_CUT = 20
_SPACE = re.compile(r"[ \t\r\n]*")
_ROWS = 16_384

#: How a text begins that has no byte order mark: JSON's first sign is one of ASCII.
_UNMARKED = ((b"\0\0\0{", "utf-32-be"), (b"{\0\0\0", "utf-32-le"), (b"\0{", "utf-16-be"), (b"{\0", "utf-16-le"))

#: What stands before each text of a sequence (RFC 8142).
_SEPARATOR = "\x1e"
_NOT_GEOJSON = "the file is JSON of another kind, not GeoJSON"
_EXPORT = "export it as GeoJSON (RFC 7946)"
#: Members of a collection or a feature that the standard, or the one before it, knows.
_STANDARD = frozenset(("type", "features", "crs", "bbox", "geometry", "properties", "id"))
_CODE = re.compile(r"(?:urn:(?:x-)?ogc:def:crs:)?(EPSG|OGC)(?::[\d.]*)?:(\w+)", re.IGNORECASE)


class Properties(Struct, frozen=True):
    """The properties of a file's features in the order in which they come, with the type of each; its CRS; its rows.

    ``apart`` are those that are objects, whose members are properties by dotted names: ``gnss.fix``. ``members`` are
    those of the file itself that the standard does not know.
    """

    schema: pa.Schema
    crs: str | None
    rows: int
    apart: frozenset[str] = frozenset()
    members: dict[str, Any] = {}


def text_encoding(path: Path) -> str:
    """Return the encoding of a JSON text: UTF-8 but where a mark or the zeros of its first sign say otherwise."""
    with path.open("rb") as file:
        head = file.read(4)
    found = next((encoding for pattern, encoding in _UNMARKED if head.startswith(pattern)), None)
    return found or encoding_of(path, None)[0]


def properties_of(path: Path) -> Properties:
    """Go through a file once. Raises `Unusable` with the line where it cannot be read."""
    return _looked_through(path, signature(path))


@lru_cache(maxsize=64)
def _looked_through(path: Path, at: Signature) -> Properties:
    """Look through a file; ``at`` is there so that a file that was changed is looked at again."""
    seen = SeenProperties()
    rows = strange = 0
    document: dict[str, Any] = {}
    with path.open("rb") as file:
        reader = _Reader(file.read, path, object_pairs_hook=unique_members)
        for feature in reader.features(document):
            rows += 1
            if not is_feature(feature):
                strange += 1
                continue
            seen.add(_properties(feature), rows)
    if strange:
        no = f"{strange:,} {plural(strange, 'is not a feature', 'are not features')}"
        what = f"its list of features has {counted(rows, 'element')}, of which {no}"
        raise Unusable(1, what, "export it again, or remove what is not a Feature (null, numbers, bare geometries)")
    apart, columns = seen.columns()
    check_cells(rows, len(columns), at.size)
    fields = [(name, column_type(one.kinds, one.least, one.most)) for name, one in columns.items()]
    own = {name: value for name, value in document.items() if name not in _STANDARD}
    return Properties(pa.schema(fields), _crs(document.get("crs")), rows, apart, own)


def _properties(feature: dict[str, Any]) -> dict[str, Any]:
    """Return a feature's properties, its own ``id`` among them where no property is called so."""
    properties = feature.get("properties")
    found = properties if isinstance(properties, dict) else {}
    return {"id": feature["id"], **found} if "id" in feature and "id" not in found else found


def _crs(stated: Any) -> str | None:
    """Return the CRS that a file of the standard before RFC 7946 names: its code, or else its words; None for none."""
    name = named_crs(stated)
    found = _CODE.fullmatch(name) if name is not None else None
    if found is None:
        return name
    return f"{found[1].upper()}:{found[2]}"


def batches(
    path: Path, points: Points, found: Properties, rows_per_batch: int, seen: Sum
) -> Generator[Raw, None, None]:
    """Give the features in order, their numbers counted from 1; all bytes that are read are added to ``seen``.

    Raises `Unusable` with the line where the file cannot be read.
    """
    taken: list[dict[str, Any]] = []
    done = 0
    with path.open("rb") as file:
        for feature in _Reader(Summed(file, seen).read, path).features({}):
            taken.append(feature)
            if len(taken) == min(rows_per_batch, _ROWS):
                yield _raw(taken, done, points, found)
                done += len(taken)
                taken = []
    if taken:
        yield _raw(taken, done, points, found)
    if done + len(taken) != found.rows:
        raise Unusable(0, "the file changed while it was being read", "run again")


def _raw(features: Sequence[dict[str, Any]], done: int, points: Points, found: Properties) -> Raw:
    table = [flat(_properties(feature), found.apart) for feature in features]
    try:
        arrays, faults = stored_columns(((field, _values(table, field)) for field in found.schema), points)
    except ValueError as error:
        raise Unusable(0, "the file changed while it was being read", "run again") from error
    given = [feature.get("properties") or {} for feature in features]
    odd = {row: "are not an object" for row, properties in enumerate(given) if not isinstance(properties, dict)}
    told = faults_of(len(table), [*faults, ("properties", odd)])
    row = np.arange(done + 1, done + len(table) + 1, dtype=np.int64)
    return Raw(arrays, row, told, _geometry([feature.get("geometry") for feature in features]))


def _values(table: Sequence[dict[str, Any]], field: pa.Field) -> list[Any]:
    """Return the values of a column, objects and lists among texts as they are written."""
    values = [each.get(field.name) for each in table]
    if not pa.types.is_string(field.type):
        return values
    return [_written(value) if type(value) in (dict, list) else value for value in values]


def _written(value: Any) -> str:
    return json.dumps(value, ensure_ascii=False)


def _geometry(given: Sequence[Any]) -> Geometry:
    """Take points apart: null and empty ones are no position, other shapes no point, what is not numbers is broken.

    A multipoint of one point is that point.
    """
    coordinates = np.full((len(given), 3), np.nan)
    other = np.zeros(len(given), dtype=bool)
    broken: list[str | None] = [None] * len(given)
    for row, geometry in enumerate(given):
        try:
            geometry = single(geometry)
        except ValueError as error:
            broken[row] = str(error)
            continue
        if geometry is None:
            continue
        if not isinstance(geometry, dict) or geometry.get("type") != "Point":
            other[row] = True
            continue
        place = geometry.get("coordinates") or []
        if not isinstance(place, list) or not all(type(value) in (int, float) for value in place[:3]):
            found = json.dumps(place)[:60]  # in ASCII: a text in it need not be one
            broken[row] = f"the coordinates are not numbers: {found}"
            continue
        if len(place) > 1:
            try:
                coordinates[row, : len(place[:3])] = place[:3]
            except OverflowError:
                broken[row] = "the coordinates are impossibly large"
    told = pa.array(broken, pa.string()) if any(broken) else None
    x, y, z = np.ascontiguousarray(coordinates.T)
    return Geometry(x, y, z, other, told)


class _Reader:
    """The elements of the top level's ``features``, read piece by piece."""

    def __init__(self, read: Any, path: Path, **hooks: Any) -> None:
        self._read, self._path = read, path
        decoder: Any = json.JSONDecoder(parse_constant=str, **hooks)
        self._scan = decoder.scan_once
        self._decoder = codecs.getincrementaldecoder(text_encoding(path))()
        self._text, self._at, self._lines, self._ended, self._begun = "", 0, 1, False, False

    def features(self, document: dict[str, Any]) -> Iterator[Any]:
        """Yield every element of ``features``; the other members of the top level go into ``document``."""
        try:
            yield from self._features(document)
        except NameTwice as error:
            raise Unusable(self._line(), f'the name "{error}" occurs twice in one object', "export it again") from error
        except RecursionError as error:
            raise Unusable(self._line(), "the file cannot be read: it is nested too deeply", _EXPORT) from error
        except UnicodeDecodeError as error:
            raise Unusable(self._line(), "the file cannot be read: it is not UTF-8 text", "export it again") from error

    def _features(self, document: dict[str, Any]) -> Iterator[Any]:
        begins = self._text_begins()
        if begins == "[":
            what = "the file is a plain list of JSON values, not GeoJSON"
            raise Unusable(self._line(), what, "export it as GeoJSON, or as a table such as .csv")
        if begins != "{":
            raise self._broken("{")
        yield from self._top_level(document)
        if document.get("type") == "Feature" and "features" not in document:
            yield dict(document)
            while self._text_begins():
                yield self._value()
            return
        if document.get("type") != "FeatureCollection" or document.get("features") is not True:
            raise Unusable(1, _NOT_GEOJSON, _EXPORT)
        if self._sign():
            raise self._broken("nothing more")

    def _top_level(self, document: dict[str, Any]) -> Iterator[Any]:
        """Read the first object: yield the elements of its ``features``, the other members go into ``document``."""
        self._at += 1
        if self._sign() != "}":
            while True:
                name = self._name()
                if name in document:
                    raise NameTwice(name)
                document[name] = None
                if name == "features" and self._sign() == "[":
                    yield from self._elements()
                    document[name] = True
                else:
                    document[name] = self._value()
                if self._sign() != ",":
                    break
                self._at += 1
        if self._sign() != "}":
            raise self._broken("a comma or }")
        self._at += 1

    def _text_begins(self) -> str:
        """Return the first character of the next text of the file, "" at the end."""
        if self._sign() == _SEPARATOR:
            self._at += 1
        return self._sign()

    def _name(self) -> str:
        """Return the name of a member, and step over the colon behind it."""
        name = self._value()
        if not isinstance(name, str) or self._sign() != ":":
            raise self._broken("a name and a colon")
        self._at += 1
        return name

    def _elements(self) -> Iterator[Any]:
        self._at += 1
        if self._sign() == "]":
            self._at += 1
            return
        while True:
            yield self._value()
            sign = self._sign()
            self._at += 1
            if sign == "]":
                return
            if sign != ",":
                self._at -= 1
                raise self._broken("a comma or ]")

    def _sign(self) -> str:
        """Return the next character that is no white space, "" at the end."""
        while True:
            found = _SPACE.match(self._text, self._at)
            self._at = found.end() if found else self._at
            if self._at < len(self._text):
                return self._text[self._at]
            if not self._more():
                return ""

    def _value(self) -> Any:
        """Return the next value; what the end of a piece cuts off is looked at again with what follows."""
        self._sign()
        while True:
            try:
                value, end = self._scan(self._text, self._at)
            except (StopIteration, json.JSONDecodeError) as error:
                beyond = error.pos - self._at if isinstance(error, json.JSONDecodeError) else 0
                if len(self._text) - self._at > _FEATURE_CHARACTERS_MAX or not self._more():
                    says = error.msg if isinstance(error, json.JSONDecodeError) else "a value is expected"
                    if not self._ended and (says.startswith("Unterm") or self._at + beyond > len(self._text) - _CUT):
                        says, beyond = f"a feature may have at most {counted(_FEATURE_CHARACTERS_MAX, 'character')}", 0
                    self._at += beyond
                    what = f"the file cannot be read: {says}"
                    raise Unusable(self._line(), what, "export it again") from error
                continue
            except NameTwice:
                raise
            except ValueError as caught:  # a whole number of thousands of digits
                raise self._broken("a number of fewer digits") from caught
            if end < len(self._text) or not self._more():  # a number at the end may go on
                self._at = end
                return value

    def _more(self) -> bool:
        """Read on, at least as much as is left; return whether there was more."""
        if self._ended:
            return False
        data = self._read(max(_CHUNK_BYTES, len(self._text) - self._at))
        text = self._decoder.decode(data, final=not data)
        self._ended = not data
        self._lines += self._text.count("\n", 0, self._at)
        self._text, self._at = self._text[self._at :] + text, 0
        if not self._begun and self._text:
            self._text, self._begun = self._text.removeprefix("\ufeff"), True
        return not self._ended

    def _line(self) -> int:
        return self._lines + self._text.count("\n", 0, self._at)

    def _broken(self, wanted: str) -> Unusable:
        found = self._text[self._at : self._at + 20] or "the end of the file"
        what = f"the file cannot be read: {wanted} is expected, not {found!r}"
        return Unusable(self._line(), what, "export it again")
