"""Converts well-known binary geometries to X, Y and Z, a whole column at once."""

import numpy as np
import numpy.typing as npt
import pyarrow as pa

from pipeline.arrays import Flags, Floats, Integers
from pipeline.read.raw_batch import Geometry

_HEAD = 5  # byte order and type
#: Size of a point, its type and its type with the older flag for Z, by where Z stands. XYM has no Z.
_POINT, _POINT_Z, _POINT_M, _POINT_ZM = (1,), (1001, 0x80000001), (2001, 0x40000001), (3001, 0xC0000001)
_SHAPES = ((21, _POINT, False), (29, _POINT_Z, True), (29, _POINT_M, False), (37, _POINT_ZM, True))


def points_of(wkb: pa.Array, broken: pa.Array | None = None) -> Geometry:
    """Take a binary column apart: NaN where the geometry is null, empty or has no Z; ``other`` where no point.

    ``broken`` says of rows that are null here why their geometry cannot be read.
    """
    if pa.types.is_large_binary(wkb.type):
        wkb = wkb.cast(pa.binary())
    rows = len(wkb)
    coordinates = np.full((3, rows), np.nan)
    other = wkb.is_valid().to_numpy(zero_copy_only=False)
    _, offsets, data = wkb.buffers()
    if data is not None and rows:
        ends = np.frombuffer(offsets, dtype=np.int32)[wkb.offset : wkb.offset + rows + 1]
        size = np.diff(ends)
        content = np.frombuffer(data, dtype=np.uint8)
        for length in (21, 29, 37):
            place = np.flatnonzero(other & (size == length))
            if len(place):
                _fill(content, ends[place], place, length, coordinates, other)
    return Geometry(coordinates[0], coordinates[1], coordinates[2], other, broken)


def _fill(
    content: npt.NDArray[np.uint8],
    starts: npt.NDArray[np.int32],
    place: Integers,
    length: int,
    coordinates: Floats,
    other: Flags,
) -> None:
    """Read the geometries of one length in place, in both byte orders; a point found is no longer ``other``."""
    together = len(starts) > 1 and (np.diff(starts) == length).all()
    if together:
        block = content[starts[0] : starts[0] + length * len(starts)].reshape(-1, length)
    else:
        block = content[starts[:, None] + np.arange(length)]
    block = np.ascontiguousarray(block)
    numbers = (length - _HEAD) // 8
    for order, mark in (("<", 1), (">", 0)):
        record = block.view(np.dtype([("order", "u1"), ("type", f"{order}u4"), ("xyz", f"{order}f8", numbers)]))[:, 0]
        for size, types, has_z in _SHAPES:
            if size != length:
                continue
            hit = (record["order"] == mark) & np.isin(record["type"], types)
            count = 3 if has_z else 2
            coordinates[:count, place[hit]] = record["xyz"][hit, :count].T
            other[place[hit]] = False
