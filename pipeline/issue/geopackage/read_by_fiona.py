"""A written GeoPackage read again by fiona, a GDAL and a PROJ of its own."""

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from pipeline.arrays import Floats
from pipeline.files.gdal import fiona_at_home
from pipeline.geodesy.crs import parse
from pipeline.geodesy.errors import OperationError
from pipeline.issue.geopackage.styles import STYLES
from pipeline.issue.geopackage.written_counts import KEPT, Written, alike
from pipeline.words import counted

#: Rows of a layer that fiona reads where SQLite has been asked for all.
_ROWS_BY_FIONA = 16


def differences_by_fiona(
    path: Path, layers: tuple[Written, ...], chosen: Sequence[Written], *, anew: bool
) -> list[str]:
    """Return what differs in the ``chosen`` layers and, in a kind of file that is seen ``anew``, in the list of all."""
    given = [layer.name for layer in layers]
    differences: list[str] = []
    with fiona_at_home() as fiona:
        from fiona.errors import FionaError

        try:
            if anew and (names := _listed(fiona, path)) != given:
                return [f"its layers are {names}, given were {given}"]
            for layer in chosen:
                with fiona.open(path, driver="GPKG", layer=layer.name, IMMUTABLE="YES") as source:
                    for what in _layer_by_fiona(source, layer):
                        differences.append(f"layer {layer.name}: {what}")
        except FionaError as error:
            differences.append(f"fiona cannot read it: {error}")
    return differences


def _listed(fiona: Any, path: Path) -> list[str]:
    """Return the layers, without the table of their styles, which GDAL lists as a layer without geometries."""
    return [name for name in fiona.listlayers(path, IMMUTABLE="YES") if name != STYLES]


def _layer_by_fiona(source: Any, layer: Written) -> Iterator[str]:
    from fiona.crs import CRS

    columns = tuple(source.schema["properties"])
    if columns != layer.columns:
        yield f"its columns are {columns}, given were {layer.columns}"
    if source.schema["geometry"] != f"3D {layer.geometry_type.removesuffix(' Z')}":
        yield f"its geometry type is {source.schema['geometry']}, given was {layer.geometry_type}"
    # fiona looks for codes before it compares, half a second where there are none: it has the last word alone
    if not _says_the_same(source.crs_wkt, layer.crs) and source.crs != CRS.from_user_input(layer.crs):
        yield f"its CRS is {source.crs.to_string() or 'unknown'}, given was {layer.crs}"
    if len(source) != layer.rows:
        yield f"it says {counted(len(source), 'row')}, given were {layer.rows}"
        return
    if layer.geometries:
        extent = np.array(source.bounds).reshape(2, 2)
        given = np.array([layer.low[:2], layer.high[:2]])
        if not alike(extent, given):
            yield f"its extent is {extent.ravel().tolist()}, given was {given.ravel().tolist()}"
    yield from _rows_by_fiona(source, layer)


def _says_the_same(read: str, given: str) -> bool:
    try:
        return bool(parse(read).equals(parse(given)))
    except OperationError:
        return False


def _rows_by_fiona(source: Any, layer: Written) -> Iterator[str]:
    there = len(layer.sampled)
    chosen = np.arange(there)
    if layer.rows <= KEPT:  # SQLite was asked for all of them
        chosen = np.unique(np.linspace(0, max(0, there - 1), _ROWS_BY_FIONA).astype(np.int64))[:there]
    for row, given in zip(layer.sampled[chosen].tolist(), layer.vertices[chosen], strict=True):
        try:
            feature = source[row + 1]  # the feature id, counted from 1 in the order of writing
        except IndexError:
            feature = None
        if feature is None:
            yield f"row {row + 1} is missing"
            return
        found = _vertices(feature.geometry, given.shape)
        if not alike(found, given):
            yield f"row {row + 1} is at {found.tolist()}, given was {given.tolist()}"
            return


def _vertices(geometry: Any, shape: tuple[int, ...]) -> Floats:
    if geometry is None:
        return np.full(shape, np.nan)
    found = np.asarray(geometry.coordinates, np.float64)
    return found.reshape(shape) if found.size == np.prod(shape) else found
