"""The rows of a package as what is drawn of them: on which layer, with which block, where, and with which values."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.arrays import Flags, Floats
from pipeline.geodesy.axes import NAMES, Axes
from pipeline.issue.about import About
from pipeline.issue.formats.control_told import control_lines
from pipeline.issue.formats.dxf_checks import Crowded, difference
from pipeline.issue.formats.dxf_colours import CALM, Beside, colours_of
from pipeline.issue.formats.dxf_layers import (
    CHECKS,
    FAILED,
    LIST,
    MARKS,
    OWN,
    Group,
    Key,
    Layer,
    Overview,
    distinct,
    key_of,
    places_of,
    point_layers,
    vertices_drawn,
)
from pipeline.issue.formats.dxf_polylines import MORE_HANDLES, Polyline
from pipeline.issue.formats.dxf_symbols import (
    CHECK,
    CHECK_LINES,
    LINE,
    MARK,
    POINT,
    QUIET,
    SUSPECT,
    UNPROVEN,
    Symbol,
    Tags,
    fields,
    value,
    values,
)
from pipeline.issue.formats.figures import LENGTHS, fixed, floats
from pipeline.issue.geopackage.layers import MARKS as MARK_ROWS
from pipeline.issue.geopackage.layers import each_of
from pipeline.issue.geopackage.streamed import Package
from pipeline.words import Proof, counted

#: What is drawn beside the layers of the package: control marks that only checks stand on, where they are published.
CONTROL = "control"

_OF_MARK = ("mark", *NAMES, "status")


@dataclass(frozen=True)
class Drawn:
    """Rows to be drawn: group of layers, symbol, place, values by tag, lines down (n,).

    Places (n, 3) are in the drawing's unit; NaN where there is no height.
    """

    groups: Sequence[Group]
    symbols: list[Symbol]
    places: Floats
    values: Sequence[tuple[str, ...]]
    down: Floats

    @property
    def layers(self) -> list[str]:
        """Return the layer of each row's symbol."""
        return [group.symbol.name for group in self.groups]

    def lines(self, tags: Tags) -> str:
        """Return the rows as lines of tags; column by column, since there may be a million of them."""
        first, lines = tags.handles(self.symbols), [""] * len(self.groups)
        xyz = [fixed(values, LENGTHS) for values in (*self.places[:, :2].T, np.nan_to_num(self.places[:, 2]))]
        offsets: dict[tuple[float, float], tuple[list[str], list[str]]] = {}
        for symbol in {id(symbol): symbol for symbol in self.symbols}.values():
            mine = [row for row, one in enumerate(self.symbols) if one is symbol]
            for right, up in {(tag.right, tag.up) for tag in symbol.tags} - offsets.keys():
                offsets[right, up] = self._offset(right, up, tags.size)
            at = {key: (_chosen(both[0], mine), _chosen(both[1], mine)) for key, both in offsets.items()}
            texts = list(zip(*(self.values[row] for row in mine), strict=True))
            place = [_chosen(column, mine) for column in xyz]
            columns = fields(symbol, first[mine], place, texts, at)
            groups = {id(self.groups[row]): self.groups[row] for row in mine}
            forms = {one: tags.form(symbol, group.symbol.name, group.of) for one, group in groups.items()}
            for row, filled in zip(mine, zip(*columns, strict=True), strict=True):
                lines[row] = forms[id(self.groups[row])] % filled
        return "".join(lines)

    def _offset(self, right: float, up: float, size: float) -> tuple[list[str], list[str]]:
        east = fixed(self.places[:, 0] + right * size, LENGTHS)
        return east, fixed(self.places[:, 1] + (up - LINE * self.down) * size, LENGTHS)


def _chosen(column: list[str], rows: list[int]) -> list[str]:
    return column if len(rows) == len(column) else [column[row] for row in rows]


@dataclass(frozen=True)
class Plan:
    """What the first pass over a package finds: layers, extent, and how many handles the insertions take."""

    overview: Overview
    by_key: dict[Key, Group]
    handles: int
    crowded: Crowded
    control: pa.RecordBatch
    listed: tuple[str, ...]

    @classmethod
    def of(cls, package: Package, about: About) -> "Plan":
        """Read a package once, and its points again where they have more codes than there are colours."""
        drafting, axes = about.drafting, about.axes
        # millimetres on paper to the drawing's unit
        height = round(drafting.text_height / 1000.0 * drafting.scale / axes.easting.metres, 6)
        overview, crowded = Overview(axes, height, drafting.named), Crowded()
        for batch in package.batches("points"):
            overview.add_points(batch)
        handles = sum(count * _symbol(key).handles for key, count in overview.counts.items())
        for batch in package.batches("check_marks"):
            placed = batch.filter(pa.array(_placed(overview.add_places(batch))))
            crowded.add(placed)
            handles += CHECK.handles * placed.num_rows
        for batch in package.batches("marks"):
            handles += MARK.handles * int(_placed(overview.add_places(batch)).sum())
        for batch, _, _ in package.lines("lines", axes):
            overview.add_lines(batch)
            handles += sum(batch.column("points").to_pylist()) + MORE_HANDLES * batch.num_rows
        control = _control(package, axes)
        overview.add_places(control)
        handles += MARK.handles * control.num_rows
        beside = _beside(package, overview) if len(overview.codes) > len(CALM) else {}
        colours = colours_of(overview.codes, drafting.codes, beside)
        by_key = point_layers(overview.counts, colours, drafting.codes)
        return cls(overview, by_key, handles, crowded, control, (*control_lines(package), *crowded.listed()))

    @property
    def layers(self) -> list[Layer]:
        """Return all layers of the drawing."""
        of_codes = distinct(layer for group in self.by_key.values() for layer in group.layers)
        return [*of_codes, *(layer for group in OWN.values() for layer in group.layers)]

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
        before = 0
        for batch in package.batches("check_marks"):
            checks = self._checks(batch, before)
            before += len(checks.groups)
            yield "check_marks", checks
        yield CONTROL, _marks(self.control, self.overview.axes)
        for batch in package.batches("marks"):
            yield "marks", _marks(batch, self.overview.axes)

    def lines(self, package: Package) -> Iterator[list[Polyline]]:
        """Yield the lines in the order in which they are drawn, each on the layer of its code."""
        for batch, vertices, many in package.lines("lines", self.overview.axes):
            places = each_of(vertices_drawn(vertices, self.overview.axes), many)
            columns = (batch.column(name).to_pylist() for name in ("code", "proof", "closed"))
            yield [
                Polyline(self.by_key[key_of(code, proof)].symbol.name, place[: -1 if closed else None], closed)
                for code, proof, closed, place in zip(*columns, places, strict=True)
            ]

    def _points(self, batch: pa.RecordBatch) -> Drawn:
        places = places_of(batch, self.overview.axes)
        if not _placed(places).all():
            raise RuntimeError("a point without a position was issued")
        keys = self.overview.keys_of(batch)
        texts = [values(batch.column("name").to_pylist()), _heights(batch), values(batch.column("code").to_pylist())]
        shown = [
            (name, height, code) if key[1] is None else (name, height, code, key[1])
            for name, height, code, key in zip(*texts, keys, strict=True)
        ]
        symbols = {key: _symbol(key) for key in set(keys)}
        groups = [self.by_key[key] for key in keys]
        return Drawn(groups, [symbols[key] for key in keys], places, shown, np.zeros(len(places)))

    def _checks(self, batch: pa.RecordBatch, before: int) -> Drawn:
        """Return the occupations that have a position; ``before`` of them are drawn already.

        Those on one mark stand one below the other, the first few and those that failed first of all; the others'
        texts are not seen, and stand in the list.
        """
        batch = batch.filter(pa.array(_placed(places_of(batch, self.overview.axes))))
        shown, groups, symbols, down = list[tuple[str, ...]](), [], [], []
        for row, (given, height) in enumerate(zip(batch.to_pylist(), _heights(batch), strict=True), start=before):
            line, left = self.crowded.line(row)
            more = f"and {counted(left, 'more occupation')}: see {LIST}" if left else ""
            texts = (value(given["point"]), height, difference(given), value(given["mark"]), value(given["role"]), more)
            shown.append(texts)
            groups.append(OWN[FAILED if given["passed"] is False else CHECKS])
            symbols.append(QUIET if line is None else CHECK)
            down.append(CHECK_LINES * (line or 0))
        return Drawn(groups, symbols, places_of(batch, self.overview.axes), shown, np.array(down, np.float64))


def _beside(package: Package, overview: Overview) -> dict[str | None, set[str | None]]:
    beside = Beside(overview.codes, overview.text_height)
    for batch in package.batches("points"):
        coded = batch.column("code").dictionary_encode()
        named = pa.array([overview.named(code) for code in coded.dictionary.to_pylist()], pa.string())
        beside.add(named.take(coded.indices), places_of(batch, overview.axes))
    return beside.pairs()


def _control(package: Package, axes: Axes) -> pa.RecordBatch:
    """Return the marks that checks stand on and the adjustment does not know, as rows of ``marks``, as published."""
    rows: dict[str, dict[str, object]] = {}
    for batch in package.batches("check_marks"):
        known = batch.filter(pa.array(_placed(places_of(batch, axes, "known_"))))
        for row in known.select(["mark", *(f"known_{axis}" for axis in NAMES)]).to_pylist():
            rows.setdefault(row["mark"], {axis: row[f"known_{axis}"] for axis in NAMES})
    for batch in package.batches("marks"):
        for mark in batch.column("mark").to_pylist():
            rows.pop(mark, None)
    told = [{"mark": mark, "status": "published", **place} for mark, place in rows.items()]
    columns = {name: pa.array([row[name] for row in told], MARK_ROWS.field(name).type) for name in _OF_MARK}
    return pa.RecordBatch.from_pydict(columns)


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


def _marks(batch: pa.RecordBatch, axes: Axes) -> Drawn:
    batch = batch.filter(pa.array(_placed(places_of(batch, axes))))
    columns = (batch.column("mark").to_pylist(), _heights(batch), batch.column("status").to_pylist())
    shown = [(value(mark), height, value(status)) for mark, height, status in zip(*columns, strict=True)]
    count = len(shown)
    return Drawn([OWN[MARKS]] * count, [MARK] * count, places_of(batch, axes), shown, np.zeros(count))
