"""The GeoPackage of an issue: several layers, each streamed from record batches while they are computed.

The same layers give the same bytes, on any day and however much memory or how many processors the machine has, as long
as the libraries that write them are the same builds.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from pathlib import Path

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.clock import iso
from pipeline.files.gdal import gdal_options
from pipeline.files.plain_path import plain_folder
from pipeline.handoff import Handoff, close
from pipeline.issue.geopackage.append import Appending, Kept, appending, completing, finish
from pipeline.issue.geopackage.blank_packages import Blank, Georeference, lay_blank, lay_more
from pipeline.issue.geopackage.content_sums import Content
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layers import GEOMETRY
from pipeline.issue.geopackage.styles_and_metadata import write_beside
from pipeline.issue.geopackage.written_counts import KEPT, OF_BATCH, SomeRows, Tally, Written

# The file is new, in a staging folder, and synced and read back before it counts: neither a journal nor a sync per
# layer protects anything (five small layers: 0.04 s instead of 0.10 s).
_OPTIONS = {"OGR_SQLITE_SYNCHRONOUS": "OFF", "OGR_SQLITE_JOURNAL": "OFF"}

#: Rows of all layers together that are gathered before any is written: some 3 MB.
GATHERED = 16_384


def write_geopackage(
    path: Path,
    layers: Iterable[LayerSource],
    within: Georeference,
    data_to: datetime,
    *,
    lineage: Sequence[str] = (),
    into: bool = False,
) -> tuple[Written, ...]:
    """Write ``layers`` to a new GeoPackage at ``path`` and return what each of them must contain.

    ``into`` says that the GeoPackage is there already, ``within`` the same and of the same ``data_to``, the date that
    the file bears: layers of the same name are replaced, the others stay. ``lineage`` says what the file is, then where
    it comes from, a sentence each. ``layers`` may be a generator: a layer is asked for when the one before is complete.

    GDAL makes the layers, once for all jobs that have the same, without rows; these are appended. While all layers
    together have few rows they are gathered first, as GDAL opens a file anew for each layer; those of a large layer
    are appended while they come, and so are those of layers that are like another.

    Raises FileExistsError where there is a file already, TypeError for a column type that a GeoPackage cannot hold,
    NotWritten where the file system or GDAL refuses, TooLarge where the format's limits do, and whatever a layer's
    batches raise, as it was raised. After any of these the file is to be thrown away. A disk that fills on closing the
    file shows only in `readback.read_back`.
    """
    if path.exists() and not into:
        raise FileExistsError(f"{path} exists; an issue's files are written once")
    date = _date(data_to)
    with gdal_options({**_OPTIONS, "OGR_CURRENT_DATE": date}), plain_folder(path.parent) as folder:
        return _write_layers(folder / path.name, layers, within, date, lineage, into=into)


def _write_layers(
    path: Path,
    layers: Iterable[LayerSource],
    within: Georeference,
    date: str,
    lineage: Sequence[str],
    *,
    into: bool,
) -> tuple[Written, ...]:
    """Write layers in groups: as many as have few rows together, after them the one that has many; all alike in one."""
    rest, written = iter(layers), list[Written]()
    last: tuple[list[Written], Blank] | None = None
    while group := list(_gather(rest)):
        try:
            if last is not None:
                with completing(path) as file:
                    finish(file, *last, date)
            sources = [one.layer for one in group]
            blank = lay_more(path, sources, within, anew=into) if written or into else lay_blank(path, sources, within)
            with appending(path) as opened:
                made = [_append(opened, one, blank, within.crs) for one in group]
        finally:
            for one in group:
                close(one.layer.batches)
        last = made, blank
        written += made
        if group[-1].whole:
            break
    with completing(path) as file:  # once for the last group and what is beside: SQLite takes in all definitions anew
        if last is not None:
            finish(file, *last, date)
        write_beside(file, path.stem, date, lineage)
    return tuple(written)


class _Gathered(Struct, frozen=True):
    """A layer with the first of its rows, and with the ``rest`` of them where it may have many."""

    layer: LayerSource
    first: list[pa.RecordBatch]
    rest: Iterator[pa.RecordBatch] | None = None

    @property
    def whole(self) -> bool:
        """Return whether all of its rows are there."""
        return self.rest is None

    def batches(self) -> Iterator[pa.RecordBatch]:
        """Yield all of its rows."""
        try:
            while self.first:
                yield self.first.pop(0)
            yield from self.rest or ()
        finally:
            close(self.layer.batches)  # in the thread where they were made


def _gather(layers: Iterator[LayerSource]) -> Iterator[_Gathered]:
    """Take layers with their rows while these are few, and at last one that makes them many, or all that are alike."""
    left = GATHERED
    for layer in layers:
        _check_types(layer)
        rows, batches = list[pa.RecordBatch](), _checked(layer)
        if layer.like is not None:
            yield _Gathered(layer, rows, batches)
            continue
        for batch in batches:
            rows.append(batch)
            left -= batch.num_rows
            if left < 0:
                yield _Gathered(layer, rows, batches)
                return
        yield _Gathered(layer, rows)


def _checked(layer: LayerSource) -> Iterator[pa.RecordBatch]:
    """Yield a layer's batches as they come, but for those without rows. Raises TypeError for one of other columns."""
    for batch in layer.batches:
        if batch.schema != layer.schema:
            raise TypeError(f"a batch has the columns\n{batch.schema}\nand its layer has\n{layer.schema}")
        if batch.num_rows:
            yield batch


def _append(file: Appending, one: _Gathered, blank: Blank, crs: str) -> Written:
    """Append the rows of a layer; where they are many while they come, in a thread of their own."""
    counted, kept = _Counted(one.layer), Kept.from_blank(one.layer.name, blank)

    def rows(batches: Iterable[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
        for batch in batches:
            counted.add(batch)
            yield kept.take(batch)

    if one.whole:
        file.rows(kept, rows(one.batches()))
    else:
        with Handoff(one.batches()) as batches:
            (file.rows if one.layer.like else file.many_rows)(kept, rows(batches))
    return counted.written(crs)


class _Counted:
    """What is counted of a layer's rows while they pass."""

    def __init__(self, layer: LayerSource) -> None:
        self._layer = layer
        kinds = {field.name: field.type for field in layer.schema}
        self._tally, self._content = Tally(layer.geometry_type, layer.kept), Content(kinds)
        self._some, self._fids = Content(kinds), [np.zeros(0, np.int64)]

    def add(self, batch: pa.RecordBatch) -> None:
        before = self._content.rows
        self._tally.add(batch.column(GEOMETRY))
        self._content.add(batch)
        if self._content.rows > KEPT:
            some = np.unique(np.linspace(0, batch.num_rows - 1, OF_BATCH).astype(np.int64))
            self._some.add(batch.take(pa.array(some)))
            self._fids.append(before + some + 1)

    def written(self, crs: str) -> Written:
        columns = tuple(name for name in self._layer.schema.names if name != GEOMETRY)
        some = SomeRows(np.concatenate(self._fids), self._some.sums())
        return self._tally.written(self._layer.name, crs, columns, self._content.sums(), some)


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
