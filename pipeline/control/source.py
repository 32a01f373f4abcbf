"""A register's file, of whatever kind, as one table of text."""

from collections.abc import Sequence
from pathlib import Path

from pipeline.job.features import Features, cell, read_geojson, sheet_of
from pipeline.job.sheet import Sheet, decode, read_bytes, read_sheet
from pipeline.problems import Problems


def read_source(
    path: Path, layer: str | None, shown: str, columns: tuple[str, str, str], problems: Problems
) -> tuple[Sheet | None, str | None]:
    """Return the table, and the CRS of the geometry where it gives coordinates."""
    kind = path.suffix.lower()
    if kind in (".csv", ".txt"):
        return read_sheet(path, shown, problems), None
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
    import pyogrio  # here, because it costs half a second and most registers are CSV
    import shapely

    try:
        layers = [str(name) for name, _ in pyogrio.list_layers(path)]
        chosen = _layer(layers, layer, shown, problems)
        if chosen is None:
            return None
        meta, table = pyogrio.read_arrow(path, layer=chosen)
    except pyogrio.errors.DataSourceError as error:
        problems.add(shown, 0, f"this GeoPackage cannot be read: {error}", "export it again")
        return None
    geometry = meta["geometry_name"] or "wkb_geometry"
    cells, points = [], []
    for row in table.to_pylist():
        shape = shapely.from_wkb(row.pop(geometry, None))
        is_point = shape is not None and shape.geom_type == "Point" and not shape.is_empty
        points.append(tuple(cell(value) for value in shape.coords[0]) if is_point else ())
        cells.append({name.strip().casefold(): cell(value) for name, value in row.items()})
    return Features(tuple(cells), tuple(points), str(meta["crs"]))


def _layer(layers: Sequence[str], layer: str | None, shown: str, problems: Problems) -> str | None:
    if layer is None and len(layers) == 1:
        return layers[0]
    if layer in layers:
        return layer
    what = f"has no layer '{layer}'" if layer is not None else "has not one layer, but " + str(len(layers))
    problems.add(shown, 0, f"this GeoPackage {what}", f"write layer = in [control]: {', '.join(layers) or 'none'}")
    return None
