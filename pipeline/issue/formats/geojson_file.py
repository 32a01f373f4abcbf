"""The points as GeoJSON, one feature a line, with every column of ``points`` as a property.

RFC 7946 knows WGS 84 alone, which lies up to metres from a national datum and moves on against it. The geometry here is
longitude and latitude in the datum of the job's grid, untransformed, with the ellipsoidal height, in that datum too
where it has such heights. The file says so twice:
in the member ``crs`` of the older specification (2008), which geographic information systems still obey and others
pass over, and in words under ``about``. The grid's coordinates and the height in its datum are properties.

Read back by GDAL.
"""

import json
import math
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Floats
from pipeline.files.gdal import gdal
from pipeline.files.plain_path import plain_file
from pipeline.issue.file_facts import FileFacts
from pipeline.issue.formats.control_marks import control_lines
from pipeline.issue.formats.figures import ANGLES, DECIMALS, LENGTHS, floats, plain, rounded
from pipeline.issue.formats.unproven import judged_lines
from pipeline.issue.geopackage.layer_stream import Differs, Package, first_difference, side_by_side, vertices

_text = json.JSONEncoder(ensure_ascii=False).encode

_PLACE = (("longitude", ANGLES), ("latitude", ANGLES), ("ellipsoid_height", LENGTHS))


def write(path: Path, package: Package, about: FileFacts) -> dict[str, int]:
    """Write the points of a package to a new file and return the rows by layer. Raises OSError."""
    with path.open("x", encoding="utf-8", newline="\n") as file:
        file.write(f'{_head(about, judged_lines(about, package), control_lines(package))[:-1]}, "features": [')
        separator = "\n"
        for batch in package.batches("points"):
            if batch.num_rows:
                file.write(separator + ",\n".join(_features(batch)))
                separator = ",\n"
        file.write("\n]}\n")
    return {"points": package.rows["points"]}


def _head(about: FileFacts, judged: Sequence[str], control: Sequence[str]) -> str:
    """Return the collection's members but for its features, as a JSON object.

    ``judged`` says what became of the readings, ``control`` where marks stand.
    """
    # drawings link by this name, which is the layer's: it is the same in every issue
    members: dict[str, Any] = {"type": "FeatureCollection", "name": about.job}
    if about.datum is not None:
        authority, _, code = about.datum.partition(":")
        members["crs"] = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:{authority}::{code}"}}
    members["about"] = {
        "geometry": about.geometry_text,
        "properties": _written(about),
        "issue": about.issue,
        "data_to": about.data_to_text,
        **({"judged": list(judged)} if judged else {}),
        **({"control": list(control)} if control else {}),
        "caution": about.caution,
    }
    return json.dumps(members, ensure_ascii=False)


def _written(about: FileFacts) -> str:
    east, north, up = about.axes.easting.told, about.axes.northing.told, about.axes.height.told
    plan = f"easting, northing [{east}]" if east == north else f"easting [{east}], northing [{north}]"
    above = "above the ellipsoid" if about.height_name == "ellipsoidal" else f"in {about.height_name}"
    return f"{plan} in {about.grid_text}; height [{up}] {above}"


def _features(batch: pa.RecordBatch) -> Iterator[str]:
    """Yield each row as text: put together of the columns' texts, at a third of the time that a dictionary takes."""
    names = batch.schema.names
    properties = ", ".join(_text(name).replace("%", "%%") + ": %s" for name in names)
    form = f'{{"type": "Feature", "geometry": %s, "properties": {{{properties}}}}}'
    columns = [map(_value, plain(name, batch.column(place))) for place, name in enumerate(names)]
    for values in zip(map(_geometry, _places(batch).tolist()), *columns, strict=True):
        yield form % values


def _value(value: Any) -> str:
    if isinstance(value, str):
        return _text(value)
    if value is None:
        return "null"
    return repr(value) if value is not True and value is not False else str(value).lower()


def _places(batch: pa.RecordBatch) -> Floats:
    """Return (n, 3) longitude, latitude in degrees and ellipsoidal height in metres; NaN where unknown."""
    return np.column_stack([rounded(floats(batch.column(name)), decimals) for name, decimals in _PLACE])


def _geometry(place: list[float]) -> str:
    if not all(map(math.isfinite, place[:2])):
        return "null"
    known = place if math.isfinite(place[2]) else place[:2]
    return f'{{"type": "Point", "coordinates": [{", ".join(map(repr, known))}]}}'


def read_back(path: Path, package: Package, about: FileFacts) -> None:
    """Compare every value with the package's. Raises Differs at the first that is not the same, or OSError."""
    pyogrio = gdal()
    from pyogrio.errors import DataLayerError, DataSourceError

    path.stat()
    if package.rows["points"] == 0:  # GDAL knows no columns of a collection without features
        with path.open(encoding="utf-8") as file:
            if json.load(file)["features"]:
                raise Differs("it has features, given were none")
        return
    try:
        with (
            plain_file(path) as plain,
            pyogrio.open_arrow(plain, use_pyarrow=True, DATE_AS_STRING="YES") as (_, reader),
        ):
            wanted = package.schema("points")
            shape = [field.name for field in reader.schema][-1]
            names = [field.name for field in reader.schema if field.name != shape]
            if names != wanted.names:
                raise Differs(f"its properties are {names}, given were {wanted.names}")
            for before, given, found in side_by_side(package.batches("points"), reader):
                _compare(given, found, shape, before)
    except (DataSourceError, DataLayerError, pa.ArrowException) as error:
        raise Differs(f"GDAL cannot read it: {error}") from error


def _compare(given: pa.RecordBatch, found: pa.Table, shape: str, before: int) -> None:
    for field in given.schema:
        one, other = given.column(field.name), found.column(field.name).combine_chunks()
        if pa.types.is_floating(field.type):
            expected = floats(one)
            off = 0.5 * 10.0 ** -DECIMALS[field.name] * 1.001 if field.name in DECIMALS else 0.0
            expected = np.where(np.isfinite(expected), expected, np.nan)
            same = np.isclose(floats(other), expected, rtol=1e-15, atol=off, equal_nan=True)
            if not same.all():
                row = int(np.flatnonzero(~same)[0])
                raise Differs(f"row {before + row + 1}: {field.name} is {other[row]}, given was {one[row]}")
        else:
            first_difference(field.name, _as_read(one), other.to_pylist(), before)
    places = vertices(found.column(shape).combine_chunks())
    wanted = _places(given)
    wanted[~np.isfinite(wanted[:, :2]).all(axis=1)] = np.nan
    apart = np.flatnonzero(~np.isclose(places, wanted, rtol=1e-15, atol=0, equal_nan=True).all(axis=1))
    if len(apart):
        row = int(apart[0])
        raise Differs(f"row {before + row + 1} is at {places[row].tolist()}, given was {wanted[row].tolist()}")


def _as_read(column: pa.Array) -> list[Any]:
    """Return a column as GDAL gives it from JSON: times and dates as their text."""
    if pa.types.is_timestamp(column.type):
        ending = "Z" if column.type.tz is not None else ""
        return list(pc.strftime(column.cast(pa.timestamp("ms")), f"%Y-%m-%dT%H:%M:%S{ending}").to_pylist())
    if pa.types.is_date(column.type):
        return [None if day is None else day.isoformat() for day in column.to_pylist()]
    return list(column.to_pylist())
