"""What a file says beside its rows: above its header, in comments, beside its features, in metadata of its layer."""

import html
import json
import re
import sqlite3
from collections.abc import Iterable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Any

from msgspec import Struct

from pipeline.files.geopackages import opened
from pipeline.job.model import Points
from pipeline.read.comment_lines import comment_lines, said_in
from pipeline.read.geojson import properties_of
from pipeline.read.sources import JSON, PACKAGE, TEXT, Source, layer_of

#: Texts of a file that are kept, and signs of one: more is prose, or data.
_MOST, _LONGEST = 200, 300
#: An element of XML that holds text alone, with its attributes: in the metadata of a layer.
_LEAF = re.compile(r"<([A-Za-z_][\w:.-]*)((?:\s[^<>]*)?)>([^<>]+)</")
_KEY = re.compile(r"\b(?:key|name)\s*=\s*[\"']([^\"']+)[\"']")
_OF_FILE = "SELECT identifier, description FROM gpkg_contents WHERE table_name = ?"
_THERE = "SELECT 1 FROM sqlite_master WHERE name IN ('gpkg_metadata', 'gpkg_metadata_reference')"
_METADATA = (
    "SELECT metadata FROM gpkg_metadata WHERE id IN (SELECT md_file_id FROM gpkg_metadata_reference WHERE"
    " reference_scope IN ('geopackage', 'table') AND (table_name IS NULL OR lower(table_name) = lower(?)))"
)


class SaidBeside(Struct, frozen=True):
    """A text beside the rows of a file, ``where`` it stands, and the line, counted from 1; 1 where there are none."""

    line: int
    text: str
    where: str


def said_beside(path: Path, points: Points, source: Source) -> tuple[SaidBeside, ...]:
    """Return what a file says beside the rows that are read of it. Raises `Unusable` and OSError."""
    return _kept(_every(path, points, source))


def beside_layer(path: Path, layer: str | None) -> tuple[SaidBeside, ...]:
    """Return what GeoJSON, or a GeoPackage of its ``layer``, says beside the rows. Raises `Unusable` and OSError."""
    return _kept(_of_json(path) if layer is None else _of_layer(path, layer))


def _kept(every: Iterable[SaidBeside]) -> tuple[SaidBeside, ...]:
    found: list[SaidBeside] = []
    for one in every:
        if one.text.strip() and len(one.text) <= _LONGEST:
            found.append(one)
        if len(found) == _MOST:
            break
    return tuple(found)


def _every(path: Path, points: Points, source: Source) -> Iterator[SaidBeside]:
    form = path.suffix.lower()
    for line, text in enumerate(source.above, start=1):
        yield SaidBeside(line, text, "above the header")
    if form in TEXT:
        yield from _comments(path, points, source.header_line)
    elif form in JSON:
        yield from _of_json(path)
    elif form in PACKAGE:
        yield from _of_layer(path, layer_of(path, points))


def _of_json(path: Path) -> Iterator[SaidBeside]:
    for text in members(properties_of(path).members):
        yield SaidBeside(1, text, "beside the features")


def _of_layer(path: Path, layer: str) -> Iterator[SaidBeside]:
    for text in _of_package(path, layer):
        yield SaidBeside(1, text, "in what the file says of its layer")


def _comments(path: Path, points: Points, header_line: int) -> Iterator[SaidBeside]:
    """Yield the lines below the header that the block's ``comment`` passes over."""
    sign = (points.comment or "").encode()
    for number, line in comment_lines(path, points, header_line):
        yield SaidBeside(number, said_in(line, sign).decode("utf-8", "replace").strip(), "in a comment")


def members(of: dict[str, Any]) -> Iterator[str]:
    """Yield what an object of JSON says, "name: value" of each member that is a text or a number, however deep."""
    for name, value in of.items():
        if isinstance(value, dict):
            yield from members(value)
        elif isinstance(value, str):
            yield from (f"{name}: {text}" for text in value.splitlines())
        elif isinstance(value, int | float) and not isinstance(value, bool):
            yield f"{name}: {value}"


def _of_package(path: Path, layer: str) -> Iterator[str]:
    """Yield the lines of the description and of the metadata of a layer of a GeoPackage, its file's among them."""
    try:
        with closing(opened(path)) as package:
            texts = [text for row in package.execute(_OF_FILE, (layer,)) for text in row]
            if len(package.execute(_THERE).fetchall()) > 1:
                texts += [text for (text,) in package.execute(_METADATA, (layer,))]
    except sqlite3.Error:  # a damaged table of metadata says nothing of the layer
        return
    for text in texts:
        if isinstance(text, str):
            yield from _parts(text)


def _parts(text: str) -> Iterator[str]:
    """Yield what a text of metadata says: the elements of XML, the members of JSON, else its lines."""
    begins = text.lstrip()[:1]
    if begins == "<":
        for tag, attributes, value in _LEAF.findall(text):
            key = _KEY.search(attributes)
            yield f"{html.unescape(key[1]) if key else tag.rpartition(':')[2]}: {html.unescape(value).strip()}"
        return
    if begins == "{":
        try:
            yield from members(json.loads(text))
            return
        except (ValueError, RecursionError):
            pass
    yield from text.splitlines()
