"""The layers of a GeoPackage that was just written, streamed again for the other formats and for reading those back."""

import struct
from collections.abc import Generator, Iterable, Iterator, Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.arrays import Floats, Integers
from pipeline.files.gdal import gdal
from pipeline.files.plain_path import plain_file
from pipeline.files.unlocked_database import unlocked
from pipeline.geodesy.axes import Axes
from pipeline.issue.geopackage.layers import WKB_POINT_Z, vertices_of
from pipeline.tables import bytes_of
from pipeline.words import counted

# WKB's types of a point without and with a height.
_POINTS = (1, 1001)

#: Rows of a batch: enough for speed, and few enough for the text that is made of each.
ROWS = 16_384


class Differs(Exception):
    """What was read from a file is not what it was to hold; the message says where."""


class Package(Struct, frozen=True):
    """A GeoPackage that is complete and has been read back: its path, and the rows of its layers by name.

    Reading it takes GDAL's options of `gdal.NOTHING_BESIDE`, which the caller sets.
    """

    path: Path
    rows: Mapping[str, int]
    _streams: list[Generator[pa.RecordBatch, None, None]] = field(default_factory=list)
    _proofs: dict[str | None, int] = field(default_factory=dict)

    def batches(self, layer: str, columns: Sequence[str] | None = None) -> Iterator[pa.RecordBatch]:
        """Return the rows of a layer in order, without geometry; only some ``columns``, in the layer's order, or all.

        Raises RuntimeError where they end too soon.
        """
        stream = self._stream(layer, columns=columns)
        self._streams.append(stream)
        return stream

    def lines(self, layer: str, axes: Axes) -> Iterator[tuple[pa.RecordBatch, Floats, Integers]]:
        """Yield the rows of a layer of lines, their vertices (v, 3), and how many each has.

        Vertices are easting, northing, height as the columns of points have them. Nothing where there is no such layer.
        """
        if layer not in self.rows:
            return
        stream = self._stream(layer, shapes=True)
        self._streams.append(stream)
        for batch in stream:
            names = [name for name in batch.schema.names if not _is_shape(batch.schema.field(name))]
            (shape,) = [name for name in batch.schema.names if name not in names]
            column = batch.column(shape)
            column = column.storage if isinstance(column, pa.ExtensionArray) else column
            vertices, many = vertices_of(column.cast(pa.binary()))
            yield batch.select(names), vertices[:, [1, 0, 2]] if axes.northing_first else vertices, many

    def proofs(self) -> Mapping[str | None, int]:
        """Return how many points have each proof word; they are counted once, for all that asks."""
        if not self._proofs:
            with closing(unlocked(self.path)) as file:
                self._proofs.update(file.execute("SELECT proof, count(*) FROM points GROUP BY proof").fetchall())
        return self._proofs

    def close(self) -> None:
        """Close what was not read to its end, while GDAL's options are still those of reading."""
        while self._streams:
            self._streams.pop().close()

    def _stream(
        self, layer: str, shapes: bool = False, columns: Sequence[str] | None = None
    ) -> Generator[pa.RecordBatch, None, None]:
        pyogrio = gdal()

        done = 0
        options = dict(layer=layer, read_geometry=shapes, batch_size=ROWS, use_pyarrow=True, IMMUTABLE="YES")
        some = None if columns is None else list(columns)
        with plain_file(self.path) as plain, pyogrio.open_arrow(plain, columns=some, **options) as (_, reader):
            while (batch := next(reader, None)) is not None:
                done += batch.num_rows
                yield batch
        if done != self.rows[layer]:  # GDAL ends a layer at a damaged page and says nothing
            rows = counted(self.rows[layer], "row")
            raise RuntimeError(f"{self.path.name}: layer {layer} ends after {done} of {rows}")

    def schema(self, layer: str) -> pa.Schema:
        """Return the columns of a layer, without geometry."""
        pyogrio = gdal()

        options = dict(layer=layer, read_geometry=False, use_pyarrow=True, IMMUTABLE="YES")
        with plain_file(self.path) as plain, pyogrio.open_arrow(plain, **options) as (_, reader):
            return reader.schema


def _is_shape(field: pa.Field) -> bool:
    return isinstance(field.type, pa.ExtensionType) or pa.types.is_binary(field.type)


def side_by_side(
    given: Iterable[pa.RecordBatch], found: Iterable[pa.RecordBatch]
) -> Iterator[tuple[int, pa.RecordBatch, pa.Table]]:
    """Yield each given batch with the rows of ``found`` at its places, and the number of its first row, from 0.

    Raises Differs where one has more rows than the other.
    """
    rest, done = _Rest(found), 0
    for batch in given:
        if batch.num_rows:
            yield done, batch, rest.take(batch.num_rows, done)
            done += batch.num_rows
    rest.none(done)


class _Rest:
    """Batches to be taken in other pieces than they come in."""

    def __init__(self, batches: Iterable[pa.RecordBatch]) -> None:
        self._batches = iter(batches)
        self._waiting: list[pa.RecordBatch] = []
        self._rows = 0

    def _more(self) -> bool:
        batch = next(self._batches, None)
        if batch is None:
            return False
        if batch.num_rows:
            self._waiting.append(batch)
            self._rows += batch.num_rows
        return True

    def take(self, rows: int, before: int) -> pa.Table:
        while self._rows < rows:
            if not self._more():
                raise Differs(f"it ends after {counted(before + self._rows, 'row')}")
        table = pa.Table.from_batches(self._waiting)
        left = table.slice(rows)
        self._waiting, self._rows = left.to_batches(), left.num_rows
        return table.slice(0, rows)

    def none(self, before: int) -> None:
        while self._more():
            if self._rows:
                raise Differs(f"it goes on after {counted(before, 'row')}")
        if self._rows:
            raise Differs(f"it goes on after {counted(before, 'row')}")


def first_difference(what: str, given: Sequence[Any], found: Sequence[Any], before: int) -> None:
    """Raise Differs at the first row in which two columns are not equal; ``before`` is the number of rows before."""
    if given == found:
        return
    for row, (one, other) in enumerate(zip(given, found, strict=True)):
        if one != other:
            raise Differs(f"row {before + row + 1}: {what} is {other!r}, given was {one!r}")


def vertices(shapes: pa.Array) -> Floats:
    """Return points given as WKB, as GDAL gives them, as (n, 3); NaN where there is none, or no height.

    Raises Differs where a geometry is no point.
    """
    shapes = shapes.storage if isinstance(shapes, pa.ExtensionArray) else shapes
    found = np.full((len(shapes), 3), np.nan)
    there = shapes.drop_null().cast(pa.binary())
    if pc.all(pc.equal(pc.binary_length(there), WKB_POINT_Z.itemsize)).as_py() is not False:
        packed = np.frombuffer(bytes_of(there)[0], WKB_POINT_Z)
        if ((packed["order"] != 1) | (packed["type"] != _POINTS[1])).any():
            raise Differs("it has geometries that are no points")
        found[shapes.is_valid().to_numpy(zero_copy_only=False)] = packed["xyz"].reshape(-1, 3)
        return found
    values = shapes.to_pylist()
    for row in np.flatnonzero(shapes.is_valid().to_numpy(zero_copy_only=False)).tolist():
        order, kind = struct.unpack_from("<BI", values[row])
        if order != 1 or kind not in _POINTS:
            raise Differs("it has geometries that are no points")
        count = 2 if kind == _POINTS[0] else 3
        found[row, :count] = struct.unpack_from(f"<{count}d", values[row], 5)
    return found
