"""Marks as CSV, GeoJSON or GeoPackage, with the columns of a register, so that the file can be one again.

Lengths are to a tenth of a millimetre, angles to ten decimals of a degree, as in all formats (`figures`).
"""

import csv
import io
import json
import tempfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.geodesy.axes import Axes
from pipeline.issue.file_facts import geometry_told
from pipeline.issue.formats.csv_file import guarded
from pipeline.issue.formats.figures import DECIMALS, fixed, floats, plain
from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layers import GEOMETRY, wkb_points
from pipeline.issue.geopackage.write import write_geopackage

_TEXT, _NUMBER = pa.string(), pa.float64()

#: The columns of handed-out marks: a register's, with longitude, latitude and ellipsoidal height in the grid's datum,
#: and how the coordinates came about.
COLUMNS = pa.schema(
    [
        ("mark", _TEXT),
        ("easting", _NUMBER),
        ("northing", _NUMBER),
        ("height", _NUMBER),
        ("longitude", _NUMBER),
        ("latitude", _NUMBER),
        ("ellipsoid_height", _NUMBER),
        ("hu95", _NUMBER),
        ("vu95", _NUMBER),
        ("holds", _TEXT),
        ("source", _TEXT),
        ("dated", _TEXT),
        ("status", _TEXT),
    ]
)
#: The name of the layer.
LAYER = "control"


class Said(Struct, frozen=True):
    """What a file of marks says of itself.

    ``grid`` and ``datum`` (the grid's geographic CRS) are codes where they are registered, else None; ``definition`` is
    the grid as WKT; the texts have names and codes. ``dated`` is the date that the file bears, ``carried`` as in
    `FileFacts`.
    """

    job: str
    grid: str | None
    definition: str
    grid_text: str
    height_text: str
    datum: str | None
    datum_text: str
    axes: Axes
    dated: datetime
    carried: tuple[str, ...] | None = None


def content(ending: str, marks: pa.RecordBatch, said: Said) -> bytes:
    """Return the bytes of a file of marks (`COLUMNS`) in the format of an ending of `ENDINGS`. Raises OSError."""
    return ENDINGS[ending](marks, said)


def _as_csv(marks: pa.RecordBatch, said: Said) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(COLUMNS.names)
    writer.writerows(zip(*(_cells(name, marks.column(name)) for name in COLUMNS.names), strict=True))
    return text.getvalue().encode()


def _cells(name: str, column: pa.Array) -> list[str | None]:
    if name not in DECIMALS:
        return [None if text is None else guarded(text) for text in column.to_pylist()]
    figures = floats(column)
    texts = fixed(np.nan_to_num(figures), DECIMALS[name])
    return [text if known else None for text, known in zip(texts, np.isfinite(figures).tolist(), strict=True)]


def _as_geojson(marks: pa.RecordBatch, said: Said) -> bytes:
    """Return features whose geometry is in the datum of the job's grid, which the collection says twice."""
    members: dict[str, Any] = {"type": "FeatureCollection", "name": f"{said.job} control marks"}
    if said.datum is not None:
        authority, _, code = said.datum.partition(":")
        members["crs"] = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:{authority}::{code}"}}
    members["about"] = {
        "geometry": geometry_told(said.datum_text, said.carried),
        "properties": f"easting and northing in {said.grid_text}, height in {said.height_text}: {said.axes.described};"
        " ellipsoid_height, hu95 and vu95 in metres",
    }
    columns = {name: plain(name, marks.column(name)) for name in COLUMNS.names}
    features = []
    for row in range(marks.num_rows):
        properties = {name: values[row] for name, values in columns.items()}
        place = [properties[name] for name in ("longitude", "latitude", "ellipsoid_height")]
        at = None if place[0] is None or place[1] is None else [one for one in place if one is not None]
        geometry = None if at is None else {"type": "Point", "coordinates": at}
        features.append({"type": "Feature", "geometry": geometry, "properties": properties})
    head = json.dumps(members, ensure_ascii=False)[:-1]
    lines = ",\n".join(json.dumps(one, ensure_ascii=False) for one in features)
    return f'{head}, "features": [\n{lines}\n]}}\n'.encode()


def _as_geopackage(marks: pa.RecordBatch, said: Said) -> bytes:
    """Return a GeoPackage of one layer, points in the grid; a mark without a height has no geometry."""
    known = {name: floats(marks.column(name)) for name in ("easting", "northing", "height")}
    rounded = {name: np.round(values, DECIMALS[name]) for name, values in known.items()}
    shapes = wkb_points(*said.axes.geometry(*rounded.values()))
    batch = pa.RecordBatch.from_arrays([*marks.columns, shapes], schema=COLUMNS.append(pa.field(GEOMETRY, pa.binary())))
    heights = f"control marks; heights: {said.height_text}; longitude, latitude in {said.datum_text}"
    layer = LayerSource(LAYER, batch.schema, [batch], description=heights, identifier=f"{said.job} control marks")
    with tempfile.TemporaryDirectory() as scratch:
        path = Path(scratch, "marks.gpkg")
        metadata = {"heights": said.height_text, "definition": said.definition, "datum": said.datum_text}
        within = Georeference(said.grid or said.definition, said.axes, metadata)
        write_geopackage(path, [layer], within, said.dated)
        return path.read_bytes()


#: How marks are written, by the ending of the file.
ENDINGS: dict[str, Callable[[pa.RecordBatch, Said], bytes]] = {
    ".csv": _as_csv,
    ".geojson": _as_geojson,
    ".json": _as_geojson,
    ".gpkg": _as_geopackage,
}
