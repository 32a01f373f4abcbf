"""A register's file, of whatever kind, as one table of text."""

import math
import struct
from collections.abc import Sequence
from pathlib import Path

from pipeline.job.features import Features, cell, read_geojson, sheet_of
from pipeline.job.sheet import Sheet, decode, read_bytes, read_sheet
from pipeline.problems import Problems

#: Type of a point in well-known binary, by ISO and with the older flag for Z, and how many of its numbers are X, Y, Z.
_POINTS = {1: 2, 1001: 3, 2001: 2, 3001: 3, 0x80000001: 3, 0x40000001: 2, 0xC0000001: 3}


#: Every column of a register, whatever its CRS.
KNOWN = (
    "mark", "easting", "northing", "longitude", "latitude", "height", "ellipsoid_height", "hu95", "vu95", "holds",
    "source", "dated",
)  # fmt: skip


def read_source(
    path: Path, layer: str | None, shown: str, columns: tuple[str, str, str], problems: Problems
) -> tuple[Sheet | None, str | None]:
    """Return the table, and the CRS of the geometry where it gives coordinates."""
    kind = path.suffix.lower()
    if kind in (".csv", ".txt"):
        return read_sheet(path, shown, problems, KNOWN), None
    if kind not in (".gpkg", ".geojson", ".json"):
        problems.add(shown, 0, f"a register in a '{kind}' file is not read", "save it as .csv, .gpkg or .geojson")
        return None, None
    data = read_bytes(path, shown, problems)
    if data is None:
        return None, None
    if kind == ".gpkg":
        features = _geopackage(path, layer, shown, problems)
    else:
        text = decode(data, shown, problems)
        features = read_geojson(text, shown, problems) if text is not None else None
    if features is None:
        return None, None
    sheet, from_points = sheet_of(features, columns, data, shown)
    return sheet, features.crs if from_points else None


def _geopackage(path: Path, layer: str | None, shown: str, problems: Problems) -> Features | None:
    import pyogrio  # here, because it costs a third of a second and most registers are CSV

    # Otherwise GDAL copies the file's metadata to an .aux.xml beside it. The option belongs to the whole process.
    before = pyogrio.get_gdal_config_option("GDAL_PAM_ENABLED")
    pyogrio.set_gdal_config_options({"GDAL_PAM_ENABLED": "NO"})
    try:
        layers = [str(name) for name, _ in pyogrio.list_layers(path)]
        chosen = _layer(layers, layer, shown, problems)
        if chosen is None:
            return None
        meta, table = pyogrio.read_arrow(path, layer=chosen, IMMUTABLE="YES")
    except pyogrio.errors.DataSourceError as error:
        problems.add(shown, 0, f"this GeoPackage cannot be read: {error}", "export it again")
        return None
    finally:
        pyogrio.set_gdal_config_options({"GDAL_PAM_ENABLED": before})
    geometry = meta["geometry_name"] or "wkb_geometry"
    cells, points = [], []
    for row in table.to_pylist():
        points.append(tuple(cell(value) for value in _point(row.pop(geometry, None))))
        cells.append({name.strip().casefold(): cell(value) for name, value in row.items()})
    return Features(tuple(cells), tuple(points), str(meta["crs"]))


def _point(wkb: bytes | None) -> tuple[float, ...]:
    """Return X, Y and any Z of a point in well-known binary; nothing for null, empty and other shapes."""
    if wkb is None:
        return ()
    order = "<" if wkb[0] == 1 else ">"
    (kind,) = struct.unpack_from(f"{order}I", wkb, 1)
    if kind not in _POINTS:
        return ()
    found: tuple[float, ...] = struct.unpack_from(f"{order}{_POINTS[kind]}d", wkb, 5)
    return () if math.isnan(found[0]) else found


def _layer(layers: Sequence[str], layer: str | None, shown: str, problems: Problems) -> str | None:
    if layer is None and len(layers) == 1:
        return layers[0]
    if layer in layers:
        return layer
    what = f"has no layer '{layer}'" if layer is not None else "has not one layer, but " + str(len(layers))
    problems.add(shown, 0, f"this GeoPackage {what}", f"write layer = in [control]: {', '.join(layers) or 'none'}")
    return None
