"""The rows of a package as what is drawn of them: on which layer, with which block, where, and with which values."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import cache

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.geodesy.axes import NAMES, Axes
from pipeline.issue.file_facts import FileFacts
from pipeline.issue.formats.control_marks import control_lines
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
    height_factor,
    key_of,
    places_of,
    point_layers,
    told_of,
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
    Tag,
    Tags,
    attribute_text,
    attribute_texts,
    fields,
)
from pipeline.issue.formats.figures import LENGTHS, fixed_column, fixed_or, floats
from pipeline.issue.formats.unproven import unproven_told
from pipeline.issue.geopackage.layer_stream import Package
from pipeline.issue.geopackage.layers import MARKS as MARK_ROWS
from pipeline.issue.geopackage.layers import each_of
from pipeline.tables import bytes_of
from pipeline.words import Proof, counted

#: What is drawn beside the layers of the package: control marks that only checks stand on, where they are published.
CONTROL = "control"

_OF_MARK = ("mark", *NAMES, "status")
#: The columns of ``points`` that are drawn.
_OF_POINT = ("name", "code", *NAMES, "proof")


class Drawn(Struct, frozen=True):
    """Rows to be drawn: symbols with their groups of layers, which of them each row has (n,), place, lines down (n,).

    Places (n, 3) are in the drawing's unit; NaN where there is no height. ``texts`` has a column for each attribute of
    the symbol with most of them; the others have the first of these.
    """

    kinds: Sequence[tuple[Symbol, Group]]
    which: Integers
    places: Floats
    texts: Sequence[pa.StringArray]
    down: Floats

    @property
    def tags(self) -> tuple[Tag, ...]:
        """Return the attributes of the symbol with most of them."""
        return max((symbol.tags for symbol, _ in self.kinds), key=len, default=())

    def layers(self, tag: str = "") -> pa.StringArray:
        """Return the layer of each row's symbol, or of its attribute of that name."""
        names = [group.of(tag) for _, group in self.kinds]
        return pa.array(names, pa.string()).take(pa.array(self.which))

    def of_each(self, told: Callable[[Symbol], int]) -> Integers:
        """Return (n,) what is told of each row's symbol."""
        return np.array([told(symbol) for symbol, _ in self.kinds], np.int64)[self.which]

    def lines(self, tags: Tags) -> memoryview:
        """Return the rows as lines of tags, in UTF-8; column by column, since there may be a million of them."""
        first = tags.handles(self.of_each(lambda symbol: symbol.handles))
        symbols = list(dict.fromkeys(symbol for symbol, _ in self.kinds))
        turn = self.of_each(symbols.index)
        rows = [np.flatnonzero(turn == number) for number in range(len(symbols))]
        texts = [self._rows(mine)._lines(symbol, first[mine], tags) for symbol, mine in zip(symbols, rows, strict=True)]
        if len(texts) == 1:
            return bytes_of(texts[0])[0]
        order = np.argsort(np.concatenate([np.empty(0, np.int64), *rows]))
        return bytes_of(pa.concat_arrays([pa.array([], pa.string()), *texts]).take(pa.array(order)))[0]

    def _rows(self, rows: Integers) -> "Drawn":
        if len(rows) == len(self.which):
            return self
        texts = [column.take(pa.array(rows)) for column in self.texts]
        return Drawn(self.kinds, self.which[rows], self.places[rows], texts, self.down[rows])

    def _lines(self, symbol: Symbol, first: Integers, tags: Tags) -> pa.StringArray:
        """Return the lines of rows that all have one symbol."""
        place = [fixed_column(np.nan_to_num(self.places[:, axis]), LENGTHS) for axis in range(3)]
        at = {(tag.right, tag.up): self._offset(tag.right, tag.up, tags.size) for tag in symbol.tags}
        return tags.filled(symbol, fields(symbol, first, cache(self.layers), place, self.texts, at))

    def _offset(self, right: float, up: float, size: float) -> tuple[pa.StringArray, pa.StringArray]:
        east = fixed_column(self.places[:, 0] + right * size, LENGTHS)
        return east, fixed_column(self.places[:, 1] + (up - LINE * self.down) * size, LENGTHS)


class DrawingContents(Struct, frozen=True):
    """What the first pass over a package finds: layers, extent, and how many handles the insertions take."""

    overview: Overview
    by_key: dict[Key, Group]
    handles: int
    crowded: Crowded
    control: pa.RecordBatch
    listed: tuple[str, ...]

    @classmethod
    def from_package(cls, package: Package, about: FileFacts) -> "DrawingContents":
        """Read a package once, and its points again where they have more codes than there are colours."""
        drafting, axes = about.drafting, about.axes
        # millimetres on paper to the drawing's unit
        height = round(drafting.text_height / 1000.0 * drafting.scale / axes.easting.metres, 6)
        overview, crowded = Overview(axes, height, drafting.named), Crowded()
        for batch in package.batches("points", _OF_POINT):
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
        former = drafting.former_colours
        colours = colours_of(overview.codes, drafting.codes, beside, _had(overview.codes, former), former.values())
        by_key = point_layers(overview.counts, colours, drafting.codes, drafting.former)
        listed = (*control_lines(package, (1.0, 1.0, height_factor(axes))), *crowded.listed())
        return cls(overview, by_key, handles, crowded, control, listed)

    @property
    def layers(self) -> list[Layer]:
        """Return all layers of the drawing."""
        of_codes = distinct(layer for group in self.by_key.values() for layer in group.layers)
        return [*of_codes, *(layer for group in OWN.values() for layer in group.layers)]

    @property
    def unproven(self) -> str | None:
        """Return in words how many points are not proven, None where all are."""
        counts = Counter[str | None]()
        for (_, word), count in self.overview.counts.items():
            counts[word] += count if word is not None else 0  # a layer without a word has what is proven
        return unproven_told(counts)

    def drawn(self, package: Package) -> Iterator[tuple[str, Drawn]]:
        """Yield the rows in the order in which they are drawn, each piece with its layer in the package.

        Raises RuntimeError for a point without a position, which is a fault in the program.
        """
        for batch in package.batches("points", _OF_POINT):
            yield "points", self._points(batch)
        before = 0
        for batch in package.batches("check_marks"):
            checks = self._checks(batch, before)
            before += len(checks.which)
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
        keys, which = self.overview.keys_of(batch)
        proofs = pa.array([proof or "" for _, proof in keys], pa.string()).take(pa.array(which))
        names, codes = (attribute_texts(batch.column(name)) for name in ("name", "code"))
        texts = [names, _heights(batch, self.overview.axes), codes, proofs]
        kinds = [(_symbol(key), self.by_key[key]) for key in keys]
        return Drawn(kinds, which, places, texts, np.zeros(len(places)))

    def _checks(self, batch: pa.RecordBatch, before: int) -> Drawn:
        """Return the occupations that have a position; ``before`` of them are drawn already.

        Those on one mark stand one below the other, the first few and those that failed first of all; the others'
        texts are not seen, and stand in the list.
        """
        batch = batch.filter(pa.array(_placed(places_of(batch, self.overview.axes))))
        shown, kinds, which, down = list[tuple[str, ...]](), dict[tuple[Symbol, Group], int](), [], []
        rows = zip(batch.to_pylist(), _heights(batch, self.overview.axes).to_pylist(), strict=True)
        for row, (given, height) in enumerate(rows, start=before):
            line, left = self.crowded.line(row)
            more = f"and {counted(left, 'more occupation')}: see {LIST}" if left else ""
            texts = (
                attribute_text(given["point"]),
                height,
                difference(given),
                attribute_text(given["mark"]),
                attribute_text(given["role"]),
                more,
            )
            shown.append(texts)
            kind = QUIET if line is None else CHECK, OWN[FAILED if given["passed"] is False else CHECKS]
            which.append(kinds.setdefault(kind, len(kinds)))
            down.append(CHECK_LINES * (line or 0))
        columns = [pa.array(column, pa.string()) for column in zip(*shown, strict=True)]
        places = places_of(batch, self.overview.axes)
        return Drawn(list(kinds), np.array(which, np.int64), places, columns, np.array(down, np.float64))


def _beside(package: Package, overview: Overview) -> dict[str | None, set[str | None]]:
    beside = Beside(overview.codes, overview.text_height)
    for batch in package.batches("points", _OF_POINT):
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


def _heights(batch: pa.RecordBatch, axes: Axes) -> pa.StringArray:
    """Return the heights as they are to be read beside the points, in the drawing's unit, to a thousandth of it."""
    return fixed_or(floats(batch.column("height")) * height_factor(axes), 3, "no height")


def _had(codes: Iterable[str | None], former: Mapping[str, int]) -> dict[str | None, int]:
    """Return the colours that codes had before, but for those that their layers' descriptions do not tell apart."""
    told = {code: told_of((code, None)) for code in codes}
    count = Counter(told.values())
    return {code: former[one] for code, one in told.items() if one in former and count[one] == 1}


def _marks(batch: pa.RecordBatch, axes: Axes) -> Drawn:
    batch = batch.filter(pa.array(_placed(places_of(batch, axes))))
    shown = [attribute_texts(batch.column("mark")), _heights(batch, axes), attribute_texts(batch.column("status"))]
    none = np.zeros(batch.num_rows, np.int64)
    return Drawn([(MARK, OWN[MARKS])], none, places_of(batch, axes), shown, none.astype(np.float64))
