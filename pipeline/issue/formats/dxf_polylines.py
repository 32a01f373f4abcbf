"""Lines as 3D polylines of a drawing: written as tags, and what a reader gives of them."""

from collections.abc import Iterable, Iterator

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.issue.formats.figures import LENGTHS, fixed
from pipeline.issue.geopackage.layer_stream import Differs
from pipeline.issue.geopackage.layers import each_of, vertices_of

#: Handles that a line takes beside those of its vertices: its own, and that of its end.
MORE_HANDLES = 2

#: By the format's reference: a polyline is 3D, and may be closed; its vertices are those of a 3D polyline.
_IN_SPACE, _CLOSED, _VERTEX = 8, 1, 32


class Polyline(Struct, frozen=True):
    """One line: its layer, its places (v, 3) in the drawing's unit, each once, and whether it is closed."""

    layer: str
    places: Floats
    closed: bool

    def seen(self) -> Floats:
        """Return (v, 3) the vertices that a reader gives: of a closed line the first again at its end."""
        return np.concatenate([self.places, self.places[:1]]) if self.closed else self.places


def polyline_tags(lines: Iterable[Polyline], owner: str, first: int) -> Iterator[str]:
    """Yield the tags of each line; ``first`` is the first handle that is free."""
    for line in lines:
        own, flags = f"{first:X}", _IN_SPACE + (_CLOSED if line.closed else 0)
        parts = [
            f"  0\nPOLYLINE\n  5\n{own}\n330\n{owner}\n100\nAcDbEntity\n  8\n{line.layer}\n"
            f"100\nAcDb3dPolyline\n 66\n1\n 10\n0.0\n 20\n0.0\n 30\n0.0\n 70\n{flags}\n"
        ]
        columns = (fixed(line.places[:, axis], LENGTHS) for axis in range(3))
        for handle, (x, y, z) in enumerate(zip(*columns, strict=True), start=first + 1):
            parts.append(
                f"  0\nVERTEX\n  5\n{handle:X}\n330\n{own}\n100\nAcDbEntity\n  8\n{line.layer}\n100\nAcDbVertex\n"
                f"100\nAcDb3dPolylineVertex\n 10\n{x}\n 20\n{y}\n 30\n{z}\n 70\n{_VERTEX}\n"
            )
        first += len(line.places) + MORE_HANDLES
        parts.append(f"  0\nSEQEND\n  5\n{first - 1:X}\n330\n{own}\n100\nAcDbEntity\n  8\n{line.layer}\n")
        yield "".join(parts)


def lines_read(batch: pa.RecordBatch) -> Iterator[tuple[str, Floats]]:
    """Yield layer and (v, 3) vertices of the lines among features of a drawing, as GDAL gives them."""
    shapes = batch.column("wkb_geometry")
    shapes = shapes.storage if isinstance(shapes, pa.ExtensionArray) else shapes
    try:
        vertices, many = vertices_of(shapes.cast(pa.binary()))
    except ValueError as error:
        raise Differs(f"a line in it is not one: {error}") from error
    yield from zip(batch.column("Layer").to_pylist(), each_of(vertices, many), strict=True)


def compare_lines(given: Iterable[Polyline], found: Iterable[tuple[str, Floats]]) -> None:
    """Hold lines as they were read against those given. Raises Differs at the first that is another."""
    there = iter(found)
    number = 0
    for number, line in enumerate(given, 1):
        layer, vertices = next(there, ("none", np.zeros((0, 3))))
        wanted = line.seen()
        same = vertices.shape == wanted.shape and bool(np.isclose(vertices, wanted, rtol=1e-15, atol=0).all())
        if layer != line.layer or not same:
            told = f"{len(vertices)} vertices on layer {layer}, {vertices[:1].tolist()} first"
            raise Differs(f"line {number} is {told}; given were {len(wanted)} on {line.layer}, {wanted[:1].tolist()}")
    if next(there, None) is not None:
        raise Differs(f"it has more lines than {number}")
