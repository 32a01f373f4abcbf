"""What was handed over to be written, counted while it streams past, for reading back to hold the file to."""

import zlib
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow as pa
from msgspec import Struct, field

from pipeline.arrays import Floats, Integers
from pipeline.issue.geopackage.content_sums import together
from pipeline.issue.geopackage.layers import LINE_Z, WKB_POINT_Z, each_of, vertices_of
from pipeline.issue.record_types import LayerSums
from pipeline.tables import bytes_of

#: Metres. A GeoPackage keeps doubles as they are; its extent passes through text.
TOLERANCE = 1e-6
#: Up to so many rows, every row is kept for comparing; beyond, an even selection that a reader can fetch one by one.
KEPT = 4096
SAMPLED = 500
#: Rows of each batch of a larger layer of which every value is compared.
OF_BATCH = 16


class SomeRows(Struct, frozen=True):
    """Some rows of a layer: their feature ids (k,), ascending, and the sums of their columns (see `content_sums`)."""

    fids: Integers
    sums: Mapping[str, str]


NONE = SomeRows(np.empty(0, np.int64), {})


class Shapes(Struct, frozen=True):
    """Geometries of a layer, none of them null: their WKB in one piece, all vertices (v, 3), how many each has (n,)."""

    content: memoryview
    vertices: Floats
    many: Integers

    def each(self) -> list[Floats]:
        """Return the vertices of each, (k, 3)."""
        return each_of(self.vertices, self.many)


def unpacked(geometry_type: str, shapes: pa.BinaryArray) -> Shapes:
    """Return geometries given as WKB, none of them null. Raises ValueError where one is not of the layer's type."""
    content, offsets = bytes_of(shapes)
    if geometry_type == LINE_Z:
        return Shapes(content, *vertices_of(shapes))
    if (np.diff(offsets) != WKB_POINT_Z.itemsize).any():
        raise ValueError(f"a geometry of a {geometry_type} layer is not {WKB_POINT_Z.itemsize} bytes of WKB")
    return Shapes(content, np.frombuffer(content, WKB_POINT_Z)["xyz"][:, 0], np.ones(len(shapes), np.int64))


class Written(Struct, frozen=True):
    """What one layer must contain: rows, geometries, their range and checksum, and some of them by row.

    ``low`` and ``high`` are easting, northing, height in metres (NaN where the layer has no geometry); ``checksum`` is
    the CRC-32 of all geometries as WKB in row order; ``sampled`` are row numbers from 0 and ``vertices`` their
    coordinates: of points (n, 1, 3), NaN where the row has no geometry; of lines n arrays (v, 3), of none where it has
    none; ``sums`` are those of `content_sums`, by column; ``some`` are rows of a layer of more than `KEPT`.
    """

    name: str
    geometry_type: str
    crs: str
    columns: tuple[str, ...]
    rows: int
    geometries: int
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    checksum: int
    sampled: Integers
    vertices: npt.NDArray[Any]
    sums: Mapping[str, str]
    some: SomeRows

    def as_record(self) -> LayerSums:
        """Return what the issue record keeps of the layer, so that its content can be verified later."""
        return {"name": self.name, "rows": self.rows, "content": together(self.sums), "columns": dict(self.sums)}


class Geometries(Struct):
    """Count, range and checksum of geometries, piece by piece."""

    count: int = 0
    checksum: int = 0
    low: Floats = field(default_factory=lambda: np.full(3, np.nan))
    high: Floats = field(default_factory=lambda: np.full(3, np.nan))

    def add(self, shapes: Shapes) -> None:
        """Take in one piece, in row order and without the rows that have no geometry."""
        if len(shapes.many) == 0:
            return
        self.count += len(shapes.many)
        self.checksum = zlib.crc32(shapes.content, self.checksum)
        axes = np.ascontiguousarray(shapes.vertices.T)  # along three columns it takes a tenth of across them
        self.low = np.fmin(self.low, axes.min(axis=1))
        self.high = np.fmax(self.high, axes.max(axis=1))


class Tally:
    """Counts the geometry columns of one layer's batches; memory does not grow with the rows."""

    def __init__(self, geometry_type: str, kept: int = KEPT) -> None:
        self._most = kept
        self._geometry_type = geometry_type
        self._rows = 0
        self._all = Geometries()
        self._step = 1
        self._kept = [np.empty(0, np.int64)]
        self._vertices = [np.empty(0, object) if geometry_type == LINE_Z else np.empty((0, 1, 3))]
        self._last = self._vertices[0]

    def add(self, geometry: pa.BinaryArray) -> None:
        """Take in the geometry column of the next batch.

        Raises ValueError where a geometry is not of the layer's type and size.
        """
        if len(geometry) == 0:
            return
        self._all.add(unpacked(self._geometry_type, geometry.drop_null()))
        self._widen(self._rows + len(geometry))
        chosen = np.arange(-self._rows % self._step, len(geometry), self._step)
        self._kept.append(chosen + self._rows)
        self._vertices.append(self._some(geometry, chosen))
        every = self._step == 1
        self._last = self._vertices[-1][-1:] if every else self._some(geometry, np.array([len(geometry) - 1]))
        self._rows += len(geometry)

    def written(
        self, name: str, crs: str, columns: tuple[str, ...], sums: Mapping[str, str], some: SomeRows = NONE
    ) -> Written:
        """Return what the layer must contain, now that every batch has passed; ``sums`` are from `content_sums`."""
        kept, vertices = np.concatenate(self._kept), np.concatenate(self._vertices)
        if self._step > 1:
            stride = -(-len(kept) // SAMPLED)
            kept = np.append(kept[::stride], self._rows - 1)
            vertices = np.concatenate([vertices[::stride], self._last])
        return Written(
            name=name,
            geometry_type=self._geometry_type,
            crs=crs,
            columns=columns,
            rows=self._rows,
            geometries=self._all.count,
            low=_three(self._all.low),
            high=_three(self._all.high),
            checksum=self._all.checksum,
            sampled=kept,
            vertices=vertices,
            sums=sums,
            some=some,
        )

    def _widen(self, rows: int) -> None:
        """Double the step until ``rows`` rows leave at most so many of them, and let go of those in between."""
        before = self._step
        while rows > self._most * self._step:
            self._step *= 2
        if self._step > before:
            kept, vertices = np.concatenate(self._kept), np.concatenate(self._vertices)
            stay = kept % self._step == 0
            self._kept, self._vertices = [kept[stay]], [vertices[stay]]

    def _some(self, geometry: pa.BinaryArray, rows: Integers) -> npt.NDArray[Any]:
        picked = geometry if len(rows) == len(geometry) else geometry.take(pa.array(rows))
        known = picked.is_valid().to_numpy(zero_copy_only=False)
        shapes = unpacked(self._geometry_type, picked.drop_null())
        if self._geometry_type != LINE_Z:
            vertices = np.full((len(rows), 1, 3), np.nan)
            vertices[known, 0] = shapes.vertices
            return vertices
        each = np.empty(len(rows), object)
        found = iter(shapes.each())
        for row, there in enumerate(known.tolist()):
            each[row] = next(found) if there else np.empty((0, 3))
        return each


def _three(values: Floats) -> tuple[float, float, float]:
    return float(values[0]), float(values[1]), float(values[2])


def alike(found: Floats, given: Floats) -> bool:
    """Say whether vertices agree within the tolerance; no position agrees with none. One row costs microseconds."""
    if found.shape != given.shape:
        return False
    return bool(((np.abs(found - given) <= TOLERANCE) | (np.isnan(found) & np.isnan(given))).all())
