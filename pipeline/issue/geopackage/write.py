"""The GeoPackage of an issue: several layers, each streamed from record batches while they are computed.

The same layers give the same bytes, on any day and however much memory or how many processors the machine has, as long
as the GDAL that writes them is the same build.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import pyarrow as pa

from pipeline.clock import iso
from pipeline.files.gdal import gdal, gdal_options
from pipeline.files.plain_path import plain_folder
from pipeline.geodesy.axes import Axes
from pipeline.issue.geopackage.content import Content
from pipeline.issue.geopackage.descriptions import commented
from pipeline.issue.geopackage.handoff import Handoff
from pipeline.issue.geopackage.layers import GEOMETRY, POINT_Z
from pipeline.issue.geopackage.tally import KEPT, Tally, Written

_OPTIONS = {
    # By default a tenth of the machine's memory: beyond it the spatial index is built another way, with other bytes.
    # A gigabyte is enough for about 20 million points.
    "OGR_GPKG_MAX_RAM_USAGE_RTREE": "1000000000",
    # The file is new, in a staging folder, and synced and read back before it counts: neither a journal nor a sync per
    # layer protects anything (five small layers: 0.04 s instead of 0.10 s).
    "OGR_SQLITE_SYNCHRONOUS": "OFF",
    "OGR_SQLITE_JOURNAL": "OFF",
}


_IN_METRES = Axes()


class NotWritten(OSError):
    """A GeoPackage could not be written: a full disk, mostly. What there is of it is worth nothing."""


class TooLarge(Exception):
    """A layer goes beyond a limit of GeoPackages, which no disk can help; ``fix`` is what to do."""

    def __init__(self, what: str, fix: str) -> None:
        self.fix = fix
        super().__init__(what)


#: Limits of SQLite, by what GDAL and SQLite say of them, and what to do (sqlite.org/limits.html).
_LIMITS = (
    (("columns reached", "too many columns"), "leave columns out of the export: a GeoPackage holds no more"),
    (("too big",), "shorten the longest text in the export: a GeoPackage holds none of 1 GB"),
)


def refusal(path: Path, layer: str, error: Exception) -> NotWritten | TooLarge:
    """Return what to raise where a layer could not be written: a limit of the format is not the disk's refusal."""
    what = f"{path.name}, layer {layer}: {error}"
    for said, fix in _LIMITS:
        if any(words in what for words in said):
            return TooLarge(what, fix)
    return NotWritten(what)


@dataclass(frozen=True)
class LayerSource:
    """One layer to be written.

    ``schema`` is one of `pipeline.issue.geopackage.layers`; ``batches`` has that schema, is taken once, in order, and
    runs in another thread than the caller's. ``description`` names the height datum, such as "heights: NZVD2016".
    ``kept`` is how many rows are kept for comparing one by one.
    """

    name: str
    schema: pa.Schema
    batches: Iterable[pa.RecordBatch]
    description: str = ""
    identifier: str = ""
    geometry_type: str = POINT_Z
    kept: int = KEPT


def write_geopackage(
    path: Path,
    layers: Iterable[LayerSource],
    *,
    crs: str,
    data_to: datetime,
    metadata: Mapping[str, str] | None = None,
    axes: Axes = _IN_METRES,
    into: bool = False,
) -> tuple[Written, ...]:
    """Write ``layers`` to a new GeoPackage at ``path`` and return what each of them must contain.

    ``into`` says that the GeoPackage is there already, from the same ``crs``, ``data_to`` and ``metadata``: layers of
    the same name are replaced, the others stay.

    ``crs`` is the target grid, by its code where it has one ("EPSG:2193"), else WKT. ``data_to`` is the date that the
    file bears. ``metadata`` (the height datum, the compound definition, the caution) goes to the file and every layer;
    ``axes`` is what the columns are said to count in.
    ``layers`` may be a generator: a layer is asked for when the one before is complete.

    Raises FileExistsError where there is a file already, TypeError for a column type that a GeoPackage cannot hold,
    NotWritten where the file system or GDAL refuses, TooLarge where the format's limits do, and whatever a layer's
    batches raise, as it was raised. After any of these the file is to be thrown away. A disk that fills on closing the
    file shows only in `readback.read_back`.
    """
    if path.exists() and not into:
        raise FileExistsError(f"{path} exists; an issue's files are written once")
    told = dict(metadata or {})
    with gdal_options({**_OPTIONS, "OGR_CURRENT_DATE": _date(data_to)}), plain_folder(path.parent) as folder:
        plain = folder / path.name
        return tuple(
            _write_layer(plain, layer, crs, told, axes, first=number == 0 and not into, append=number > 0 and not into)
            for number, layer in enumerate(layers)
        )


def _write_layer(
    path: Path, layer: LayerSource, crs: str, metadata: dict[str, str], axes: Axes, *, first: bool, append: bool
) -> Written:
    """Write one layer; without ``append`` it is made anew in a file that is there. ``first`` makes the file."""
    pyogrio = gdal()
    from pyogrio.errors import DataLayerError, DataSourceError, FeatureError, GeometryError

    _check_types(layer)
    tally = Tally(layer.geometry_type, layer.kept)
    content = Content({field.name: field.type for field in layer.schema})

    def seen(batch: pa.RecordBatch) -> None:
        tally.add(batch.column(GEOMETRY))
        content.add(batch)

    with Handoff(layer.batches, layer.schema, seen) as batches:
        try:
            pyogrio.write_arrow(
                pa.RecordBatchReader.from_batches(commented(layer.name, layer.schema, axes), batches),
                path,
                layer=layer.name,
                driver="GPKG",
                geometry_name=GEOMETRY,
                geometry_type=layer.geometry_type,
                crs=crs,
                append=append,
                dataset_metadata=metadata if first else None,
                layer_metadata=metadata,
                layer_options={"DESCRIPTION": layer.description, "IDENTIFIER": layer.identifier or layer.name},
            )
        except (DataSourceError, DataLayerError, FeatureError, GeometryError) as error:
            raise refusal(path, layer.name, error) from error
    columns = tuple(name for name in layer.schema.names if name != GEOMETRY)
    return tally.written(layer.name, crs, columns, content.sums())


def _check_types(layer: LayerSource) -> None:
    for field in layer.schema:
        kind = field.type
        local = pa.types.is_timestamp(kind) and kind.tz not in (None, "UTC")
        if local or pa.types.is_null(kind) or pa.types.is_string_view(kind) or pa.types.is_duration(kind):
            raise TypeError(f"layer {layer.name}: a GeoPackage cannot hold column {field.name} of type {kind}")


def _date(data_to: datetime) -> str:
    if data_to.tzinfo is None:
        raise ValueError("data_to needs its offset from UTC")
    return iso(data_to)
