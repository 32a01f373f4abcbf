"""The rows of a package as what is drawn of them: on which layer, with which block, where, and with which values."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.arrays import Flags, Floats
from pipeline.geodesy.axes import Axes
from pipeline.issue.formats.dxf_layers import (
    CHECKS,
    FAILED,
    MARKS,
    Key,
    Layer,
    Overview,
    keys_of,
    own_layers,
    places_of,
    point_layers,
)
from pipeline.issue.formats.dxf_symbols import (
    CHECK,
    CHECK_LINES,
    LINE,
    MARK,
    POINT,
    SUSPECT,
    UNPROVEN,
    Insertion,
    Symbol,
    value,
)
from pipeline.issue.formats.figures import LENGTHS, fixed, floats
from pipeline.issue.geopackage.streamed import Package
from pipeline.words import Proof


@dataclass(frozen=True)
class Drawn:
    """Rows to be drawn: layer, symbol, place, values by tag, lines down (n,).

    Places (n, 3) are in the drawing's unit; NaN where there is no height.
    """

    layers: list[str]
    symbols: list[Symbol]
    places: Floats
    values: Sequence[tuple[str, ...]]
    down: Floats

    def insertions(self, size: float) -> Iterator[Insertion]:
        """Yield the rows as insertions, with texts ``size`` units high."""
        x, y = fixed(self.places[:, 0], LENGTHS), fixed(self.places[:, 1], LENGTHS)
        z = fixed(np.nan_to_num(self.places[:, 2]), LENGTHS)
        offsets = {tag: self._offset(tag.right, tag.up, size) for symbol in set(self.symbols) for tag in symbol.tags}
        for row, (symbol, layer, values) in enumerate(zip(self.symbols, self.layers, self.values, strict=True)):
            texts = tuple(
                (offsets[tag][0][row], offsets[tag][1][row], text)
                for tag, text in zip(symbol.tags, values, strict=True)
            )
            yield Insertion(symbol, layer, (x[row], y[row], z[row]), texts)

    def _offset(self, right: float, up: float, size: float) -> tuple[list[str], list[str]]:
        east = fixed(self.places[:, 0] + right * size, LENGTHS)
        return east, fixed(self.places[:, 1] + (up - LINE * self.down) * size, LENGTHS)


@dataclass(frozen=True)
class Plan:
    """What the first pass over a package finds: layers, extent, and how many handles the insertions take."""

    overview: Overview
    by_key: dict[Key, Layer]
    handles: int

    @classmethod
    def of(cls, package: Package, axes: Axes) -> "Plan":
        """Read a package once; ``axes`` are those of its coordinates."""
        overview, handles = Overview(axes), 0
        for batch in package.batches("points"):
            overview.add_points(batch)
        handles += sum(count * _symbol(key).handles for key, count in overview.counts.items())
        for name, symbol in (("check_marks", CHECK), ("marks", MARK)):
            for batch in package.batches(name):
                handles += symbol.handles * int(_placed(overview.add_places(batch)).sum())
        return cls(overview, point_layers(overview.counts), handles)

    @property
    def layers(self) -> list[Layer]:
        """Return all layers of the drawing."""
        return [*self.by_key.values(), *own_layers()]

    @property
    def unproven(self) -> int:
        """Return how many points are not proven."""
        return sum(count for key, count in self.overview.counts.items() if key[1] is not None)

    def drawn(self, package: Package) -> Iterator[tuple[str, Drawn]]:
        """Yield the rows in the order in which they are drawn, each piece with its layer in the package.

        Raises RuntimeError for a point without a position, which is a fault of the program.
        """
        for batch in package.batches("points"):
            yield "points", self._points(batch)
        below: Counter[str] = Counter()
        for batch in package.batches("check_marks"):
            yield "check_marks", _checks(batch, below, self.overview.axes)
        for batch in package.batches("marks"):
            yield "marks", _marks(batch, self.overview.axes)

    def _points(self, batch: pa.RecordBatch) -> Drawn:
        places = places_of(batch, self.overview.axes)
        if not _placed(places).all():
            raise RuntimeError("a point without a position was issued")
        keys = keys_of(batch)
        heights = _heights(batch)
        names, codes = batch.column("name").to_pylist(), batch.column("code").to_pylist()
        values: list[tuple[str, ...]] = [
            (value(name), height, value(code)) if key[1] is None else (value(name), height, value(code), key[1])
            for name, height, code, key in zip(names, heights, codes, keys, strict=True)
        ]
        layers = [self.by_key[key].name for key in keys]
        return Drawn(layers, [_symbol(key) for key in keys], places, values, np.zeros(len(places)))


def _symbol(key: Key) -> Symbol:
    if key[1] is None:
        return POINT
    return SUSPECT if key[1] == str(Proof.SUSPECT) else UNPROVEN


def _placed(places: Floats) -> Flags:
    return np.asarray(np.isfinite(places[:, :2]).all(axis=1), np.bool_)


def _heights(batch: pa.RecordBatch) -> list[str]:
    """Return the heights as they are to be read beside the points, to the millimetre."""
    heights = floats(batch.column("height"))
    texts = fixed(np.nan_to_num(heights), 3)
    return [text if known else "no height" for text, known in zip(texts, np.isfinite(heights).tolist(), strict=True)]


def _checks(batch: pa.RecordBatch, below: Counter[str], axes: Axes) -> Drawn:
    """Return the occupations that have a position; those on one mark stand below those before (``below`` counts)."""
    batch = batch.filter(pa.array(_placed(places_of(batch, axes))))
    values, layers, down = [], [], []
    for row, height in zip(batch.to_pylist(), _heights(batch), strict=True):
        result = {True: "passed", False: "FAILED", None: "not tested"}[row["passed"]]
        parts = [f"d{axis[0].upper()} {row[f'd_{axis}']:+.3f}" for axis in ("east", "north", "height")
                 if row[f"d_{axis}"] is not None]  # fmt: skip
        difference = " ".join([*parts, result])
        values.append((value(row["point"]), height, difference, value(row["mark"]), value(row["role"])))
        layers.append(FAILED if row["passed"] is False else CHECKS)
        down.append(CHECK_LINES * below[row["mark"]])
        below[row["mark"]] += 1
    return Drawn(layers, [CHECK] * len(layers), places_of(batch, axes), values, np.array(down, np.float64))


def _marks(batch: pa.RecordBatch, axes: Axes) -> Drawn:
    batch = batch.filter(pa.array(_placed(places_of(batch, axes))))
    columns = (batch.column("mark").to_pylist(), _heights(batch), batch.column("status").to_pylist())
    values = [(value(mark), height, value(status)) for mark, height, status in zip(*columns, strict=True)]
    return Drawn([MARKS] * len(values), [MARK] * len(values), places_of(batch, axes), values, np.zeros(len(values)))
