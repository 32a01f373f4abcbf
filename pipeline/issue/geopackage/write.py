"""The GeoPackage of an issue: several layers, each streamed from record batches while they are computed.

The same layers give the same bytes, on any day and however much memory or how many processors the machine has, as long
as the libraries that write them are the same builds.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import chain
from pathlib import Path

import pyarrow as pa

from pipeline.clock import iso
from pipeline.files.gdal import gdal_options
from pipeline.files.plain_path import plain_folder
from pipeline.geodesy.axes import Axes
from pipeline.issue.geopackage.append import append
from pipeline.issue.geopackage.beside_layers import write_beside
from pipeline.issue.geopackage.blank import lay_blank, make_layer
from pipeline.issue.geopackage.content import Content
from pipeline.issue.geopackage.handoff import Handoff, checked, joined
from pipeline.issue.geopackage.layers import GEOMETRY
from pipeline.issue.geopackage.refused import NotWritten, TooLarge, refusal
from pipeline.issue.geopackage.source import LayerSource
from pipeline.issue.geopackage.tally import Tally, Written

__all__ = ["LayerSource", "NotWritten", "TooLarge", "refusal", "write_geopackage"]

_OPTIONS = {
    # By default a tenth of the machine's memory: beyond it the spatial index is built another way, with other bytes.
    # A gigabyte is enough for about 20 million points.
    "OGR_GPKG_MAX_RAM_USAGE_RTREE": "1000000000",
    # The file is new, in a staging folder, and synced and read back before it counts: neither a journal nor a sync per
    # layer protects anything (five small layers: 0.04 s instead of 0.10 s).
    "OGR_SQLITE_SYNCHRONOUS": "OFF",
    "OGR_SQLITE_JOURNAL": "OFF",
}

#: Rows of all layers together that are gathered before any is written: some 3 MB.
GATHERED = 16_384

_IN_METRES = Axes()


def write_geopackage(
    path: Path,
    layers: Iterable[LayerSource],
    *,
    crs: str,
    data_to: datetime,
    metadata: Mapping[str, str] | None = None,
    axes: Axes = _IN_METRES,
    lineage: Sequence[str] = (),
    into: bool = False,
) -> tuple[Written, ...]:
    """Write ``layers`` to a new GeoPackage at ``path`` and return what each of them must contain.

    ``into`` says that the GeoPackage is there already, from the same ``crs``, ``data_to`` and ``metadata``: layers of
    the same name are replaced, the others stay.

    ``crs`` is the target grid, by its code where it has one ("EPSG:2193"), else WKT. ``data_to`` is the date that the
    file bears. ``metadata`` (the height datum, the compound definition, the caution) goes to the file and every layer;
    ``axes`` is what the columns are said to count in.
    ``lineage`` says what the file is, then where it comes from, a sentence each.
    ``layers`` may be a generator: a layer is asked for when the one before is complete.

    Where all layers together have few rows these are gathered first and appended to a copy of a GeoPackage without
    rows, as most jobs are small and GDAL opens a file anew for each layer; else each is streamed into the file by GDAL.

    Raises FileExistsError where there is a file already, TypeError for a column type that a GeoPackage cannot hold,
    NotWritten where the file system or GDAL refuses, TooLarge where the format's limits do, and whatever a layer's
    batches raise, as it was raised. After any of these the file is to be thrown away. A disk that fills on closing the
    file shows only in `readback.read_back`.
    """
    if path.exists() and not into:
        raise FileExistsError(f"{path} exists; an issue's files are written once")
    date = _date(data_to)
    with gdal_options({**_OPTIONS, "OGR_CURRENT_DATE": date}), plain_folder(path.parent) as folder:
        written = _write_layers(folder / path.name, layers, crs, date, dict(metadata or {}), axes, into=into)
        write_beside(folder / path.name, date, lineage)
        return written


def _write_layers(
    plain: Path,
    layers: Iterable[LayerSource],
    crs: str,
    date: str,
    told: Mapping[str, str],
    axes: Axes,
    *,
    into: bool,
) -> tuple[Written, ...]:
    rest = iter(layers)
    gathered: list[_Gathered] = []
    if not into:
        gathered, streamed = _gather(rest)
        if streamed is None:
            blank = lay_blank(plain, [one.layer for one in gathered], crs, told, axes)
            append(plain, blank, {one.layer.name: one.rows() for one in gathered}, date)
            return tuple(one.written(crs) for one in gathered)
        rest = chain((replace(one.layer, batches=one.batches) for one in gathered), (streamed,), rest)
    return tuple(
        _stream_layer(plain, layer, crs, told, axes, first=number == 0 and not into, append=number > 0 and not into)
        for number, layer in enumerate(rest)
    )


@dataclass(frozen=True)
class _Gathered:
    """A layer with all its rows."""

    layer: LayerSource
    batches: list[pa.RecordBatch]

    def rows(self) -> pa.RecordBatch:
        return joined(self.batches, self.layer.schema)

    def written(self, crs: str) -> Written:
        counted = _Counted(self.layer)
        for batch in self.batches:
            counted.add(batch)
        return counted.written(crs)


def _gather(layers: Iterator[LayerSource]) -> tuple[list[_Gathered], LayerSource | None]:
    """Take layers with their rows while they are few; return them, and the layer that makes them too many."""
    gathered: list[_Gathered] = []
    left = GATHERED
    for layer in layers:
        _check_types(layer)
        rows, batches = list[pa.RecordBatch](), checked(layer.batches, layer.schema)
        for batch in batches:
            rows.append(batch)
            left -= batch.num_rows
            if left < 0:
                return gathered, replace(layer, batches=_resumed(rows, batches))
        gathered.append(_Gathered(layer, rows))
    return gathered, None


def _resumed(before: list[pa.RecordBatch], rest: Iterator[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
    while before:
        yield before.pop(0)
    yield from rest


class _Counted:
    """What is counted of a layer's rows while they pass."""

    def __init__(self, layer: LayerSource) -> None:
        self._layer = layer
        self._tally = Tally(layer.geometry_type, layer.kept)
        self._content = Content({field.name: field.type for field in layer.schema})

    def add(self, batch: pa.RecordBatch) -> None:
        self._tally.add(batch.column(GEOMETRY))
        self._content.add(batch)

    def written(self, crs: str) -> Written:
        columns = tuple(name for name in self._layer.schema.names if name != GEOMETRY)
        return self._tally.written(self._layer.name, crs, columns, self._content.sums())


def _stream_layer(
    path: Path, layer: LayerSource, crs: str, metadata: Mapping[str, str], axes: Axes, *, first: bool, append: bool
) -> Written:
    """Write one layer while its rows come; without ``append`` it is made anew in a file that is there."""
    _check_types(layer)
    counted = _Counted(layer)
    with Handoff(layer.batches, layer.schema, counted.add) as batches:
        make_layer(path, layer, crs, metadata, axes, batches, first=first, append=append)
    return counted.written(crs)


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
