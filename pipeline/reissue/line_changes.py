"""What became of the lines between two issues, told beside the points: their order, closing, points, names.

A vertex is known again by its place: it is an issued point to the bit. One whose point moved is taken to where that
lies now, and one whose point came or went is left out, since the layer ``changes`` tells of those.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable
from itertools import product
from typing import Self

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates import mixed_with
from pipeline.duplicates.exact import Hashes
from pipeline.geodesy.axes import Axes
from pipeline.issue.drawn_changes import NAMED, drawn_message
from pipeline.issue.geopackage.earlier_rows import Lost
from pipeline.issue.geopackage.layers import GEOMETRY, WKB_LINE_Z, vertices_of
from pipeline.reissue.changes import MOVED
from pipeline.reissue.earlier import Last
from pipeline.reissue.kept_lines import KeptLines, name_sums, place_sums, sequence_sums
from pipeline.reissue.left_over import left_over, ranked
from pipeline.tables import bytes_of
from pipeline.visible import one_line
from pipeline.words import Change, counted

#: Metres, from cell to cell, in which a vertex that moved by less than `MOVED` is looked for.
_CELL = 0.001
#: Points that two lines have in common, at the least, to be taken for one; fewer where one has no more.
_COMMON = 2


def line_changes(was: KeptLines, now: KeptLines, changed: pa.RecordBatch, axes: Axes) -> list[str]:
    """Return in words how the lines of two issues differ beside what their points do; nothing where they do not.

    Args:
        was: the lines of the earlier issue.
        now: those of the later one.
        changed: the rows of the layer ``changes`` between the two.
        axes: how the grid writes coordinates.
    """
    numbers = left_over(was.pieces(), now.pieces())
    if not any(map(len, numbers)):
        return []
    old, new = _Ways.of(was.take(numbers[0])), _Ways.of(now.take(numbers[1]))
    places, metres = _Places.of(changed), _metres(axes)
    numbers = _differing(old, new, places, metres)
    old, new = _by_points(old.some(numbers[0]), new.some(numbers[1]), places, metres)
    left = left_over([old.sums()], [new.sums()])
    return _told(old.some(left[0]), new.some(left[1]))


class OtherLines(Struct, frozen=True):
    """The lines of the previous issue, read before its successor is written; ``lost`` says why they cannot be read."""

    kept: KeptLines
    lost: tuple[str, ...] = ()

    @classmethod
    def of(cls, last: Last | None) -> Self:
        """Read them; none where there is no issue before, or it has none."""
        if last is None:
            return cls(KeptLines())
        try:
            return cls(KeptLines.read(last))
        except Lost as error:
            return cls(KeptLines(), (f"lines changed since issue {last.record['issue']:03d} are not told: {error}",))

    def than(self, now: pa.RecordBatch | None, changed: pa.RecordBatch, axes: Axes) -> tuple[str, ...]:
        """Return in words how the lines ``now`` are others; ``changed`` and ``axes`` as in `line_changes`."""
        if self.lost:
            return self.lost
        return tuple(line_changes(self.kept, KeptLines.of([now] if now is not None else []), changed, axes))


class _Ways(Struct, frozen=True):
    """Some lines (l,).

    Args:
        rows: of the layer ``lines``.
        places: (v, 3) their vertices, without the last of a closed one, which is its first again.
        points: (v,) which point each is; alike in both issues. All alike before that is known.
        many: (l,) how many each has; one whose points all came or went has none.
    """

    rows: pa.RecordBatch
    places: Floats
    points: Integers
    many: Integers

    @classmethod
    def of(cls, rows: pa.RecordBatch) -> Self:
        """Return them with all their vertices."""
        vertices, many = vertices_of(rows.column(GEOMETRY))
        ends = np.zeros(len(vertices), bool)
        ends[(np.cumsum(many) - 1)[np.asarray(rows.column("closed").fill_null(False), bool)]] = True
        every = cls(rows, vertices, np.zeros(len(vertices), np.int64), many)
        return every.without(ends)

    @property
    def line(self) -> Integers:
        """Return (v,) to which line each vertex belongs."""
        return np.repeat(np.arange(len(self.many)), self.many)

    def vertices(self, lines: Integers) -> Integers:
        """Return (w,) which vertices some lines have, one line after another."""
        many = self.many[lines]
        within = np.arange(int(many.sum())) - np.repeat(np.cumsum(many) - many, many)
        return np.repeat((np.cumsum(self.many) - self.many)[lines], many) + within

    def without(self, those: Flags) -> Self:
        """Return them without some vertices, (v,)."""
        many = self.many - np.bincount(self.line[those], minlength=len(self.many))
        return type(self)(self.rows, self.places[~those], self.points[~those], many)

    def known(self, points: Integers) -> Self:
        """Return them with what points their vertices are."""
        return type(self)(self.rows, self.places, points, self.many)

    def some(self, numbers: Integers) -> Self:
        """Return some of the lines."""
        chosen, rows = self.vertices(numbers), self.rows.take(pa.array(numbers))
        return type(self)(rows, self.places[chosen], self.points[chosen], self.many[numbers])

    def sums(self) -> Hashes:
        """Return (l,) sums of name, whether closed, and points in their order."""
        of_points = mixed_with(np.zeros(len(self.points), np.uint64), self.points)
        return sequence_sums(of_points, self.many, name_sums(self.rows))


class _Places(Struct, frozen=True):
    """Where points that differ lay and lie, as sums of places: those that moved, went and came."""

    left: Hashes
    reached: Floats
    gone: Hashes
    came: Hashes

    @classmethod
    def of(cls, changed: pa.RecordBatch) -> Self:
        """Return it by the rows of the layer ``changes``."""
        shapes, kinds = changed.column(GEOMETRY), changed.column("change")
        there = np.asarray(shapes.is_valid())
        ends = np.frombuffer(bytes_of(shapes.drop_null())[0], WKB_LINE_Z)["xyz"]
        word = np.asarray(kinds.to_numpy(zero_copy_only=False))[there]

        def rows(*changes: Change) -> Flags:
            return np.isin(word, [str(change) for change in changes])

        moved = ends[rows(Change.MOVED)]
        left, first = np.unique(place_sums(moved[:, 0]), return_index=True)
        gone, came = ends[rows(Change.WITHDRAWN, Change.HELD)], ends[rows(Change.ADDED, Change.RELEASED)]
        return cls(left, moved[first, 1], place_sums(gone[:, 0]), place_sums(came[:, 1]))

    def carried(self, places: Floats, sums: Hashes) -> Floats:
        """Return where points at places, (v, 3), lie now; ``sums`` are those of the places."""
        at, moved = _among(sums, self.left)
        there = places.copy()
        there[moved] = self.reached[at[moved]]
        return there


def _metres(axes: Axes) -> Floats:
    """Return (3,) the metres in one count of X, Y, Z of a geometry."""
    return np.abs(np.ravel(axes.geometry(*axes.counts())))


def _differing(old: _Ways, new: _Ways, places: _Places, metres: Floats) -> tuple[Integers, Integers]:
    """Return (k,) which lines of each issue are left without those that go from point to point as they went.

    Of the lines of one name and as many points the first is held against the first: where points alone moved that is
    all of them, and no point is looked for.
    """
    one, other = (ranked(mixed_with(name_sums(way.rows), way.many)) for way in (old, new))
    _, was, now = np.intersect1d(one, other, return_indices=True)
    many, carried = old.many[was], places.carried(old.places, place_sums(old.places))
    alike = np.abs(carried[old.vertices(was)] - new.places[new.vertices(now)]) * metres <= MOVED
    apart = np.bincount(np.repeat(np.arange(len(many)), many)[~alike.all(axis=1)], minlength=len(many))
    left = [np.ones(len(way.many), bool) for way in (old, new)]
    left[0][was[apart == 0]] = left[1][now[apart == 0]] = False
    return np.flatnonzero(left[0]), np.flatnonzero(left[1])


def _by_points(old: _Ways, new: _Ways, places: _Places, metres: Floats) -> tuple[_Ways, _Ways]:
    """Return the lines of two issues by their points, without those that came or went."""
    sums = place_sums(old.places)
    carried = places.carried(old.places, sums)
    old, new = (way.known(points) for way, points in zip((old, new), _points(carried, new.places, metres), strict=True))
    # two points may lie at one place: what the other issue has there too neither came nor went
    went = np.isin(sums, places.gone) & ~np.isin(old.points, new.points)
    came = np.isin(place_sums(new.places), places.came) & ~np.isin(new.points, old.points)
    return old.without(went), new.without(came)


def _points(was: Floats, now: Floats, metres: Floats) -> tuple[Integers, Integers]:
    """Return (v,) and (w,) numbers of the points at places, (v, 3) and (w, 3): alike where these are the same."""
    each, numbers = np.unique(place_sums(now), return_inverse=True)
    sums = place_sums(was)
    at, found = _among(sums, each)
    points = np.where(found, at, -1)
    if len(now) and not found.all():
        near = _near(was[~found] * metres, now * metres)
        points[~found] = np.where(near >= 0, numbers[near], -1)
    alone = points < 0
    points[alone] = len(each) + np.unique(sums[alone], return_inverse=True)[1]
    return points, numbers


def _near(places: Floats, others: Floats) -> Integers:
    """Return (v,) for each of some places one of ``others`` that is no further along any axis than `MOVED`; else -1."""
    found = np.full(len(places), -1)
    cells, first = np.unique(_cells(others), return_index=True)
    for signs in product((-1.0, 1.0), repeat=3):
        at, there = _among(_cells(places + np.array(signs) * MOVED), cells)
        row = first[at]
        close = there & (np.abs(others[row] - places) <= MOVED).all(axis=1)
        found[close] = row[close]
    return found


def _cells(places: Floats) -> Hashes:
    return place_sums(np.floor(places / _CELL))


def _among(sums: Hashes, some: Hashes) -> tuple[Integers, Flags]:
    """Return (n,) at which of ``some``, which ascend, each of the sums is, and whether it is there at all."""
    if not len(some):
        return np.zeros(len(sums), np.int64), np.zeros(len(sums), bool)
    at = np.minimum(np.searchsorted(some, sums), len(some) - 1)
    return at, some[at] == sums


class _Line(Struct, frozen=True):
    """A line: its name as it is told, whether it is closed, its length in plan in metres, its points in order."""

    name: str
    closed: bool
    length: float
    points: list[int]

    @property
    def told(self) -> str:
        """Return name and length."""
        return f"{self.name} ({self.length:.1f} m)"


class _Lines:
    """Some lines, each made when it is asked for."""

    def __init__(self, ways: _Ways) -> None:
        self._ways, self._end = ways, np.cumsum(ways.many)
        self._length = ways.rows.column("length").to_numpy(zero_copy_only=False)

    def __getitem__(self, number: int) -> _Line:
        ways, end = self._ways, self._end[number]
        row = ways.rows.slice(number, 1)
        return _Line(
            one_line(row.column("name")[0].as_py() or "(no name)"),
            row.column("closed")[0].as_py() is True,
            float(self._length[number]),
            ways.points[end - ways.many[number] : end].tolist(),
        )

    def named(self, numbers: Iterable[int]) -> list[_Line]:
        """Return several."""
        return [self[number] for number in numbers]


def _told(old: _Ways, new: _Ways) -> list[str]:
    """Return in words what became of lines that differ."""
    groups = _groups(old, new)
    was, now = _Lines(old), _Lines(new)
    joined = {number for olds, news in groups for number in olds}, {number for olds, news in groups for number in news}
    told = []
    if groups:
        named = [_became(was.named(olds), now.named(news)) for olds, news in groups[:NAMED]]
        told.append(drawn_message("line", "changed", named, len(groups)))
    for word, lines, ways, with_others in (("gone", was, old, joined[0]), ("new", now, new, joined[1])):
        # what little is left of a line whose points came or went is told by these
        alone = [number for number in np.flatnonzero(ways.many >= _COMMON).tolist() if number not in with_others]
        if alone:
            told.append(drawn_message("line", word, [one.told for one in lines.named(alone[:NAMED])], len(alone)))
    return told


def _groups(old: _Ways, new: _Ways) -> list[tuple[list[int], list[int]]]:
    """Return which lines of two issues became which, by the points that they have in common.

    Each line belongs to the one of the other issue with which it has most in common, of one name before another.
    """
    links = _links(old, new)
    parent: dict[tuple[int, int], tuple[int, int]] = {}

    def root(one: tuple[int, int]) -> tuple[int, int]:
        while (above := parent.setdefault(one, one)) != one:
            one = above
        return one

    for side in (0, 1):
        best: dict[int, tuple[tuple[int, bool], tuple[int, int]]] = {}
        for pair, worth in links.items():
            if pair[side] not in best or worth > best[pair[side]][0]:
                best[pair[side]] = (worth, pair)
        for _, (one, other) in best.values():
            parent[root((0, one))] = root((1, other))
    groups: defaultdict[tuple[int, int], tuple[list[int], list[int]]] = defaultdict(lambda: ([], []))
    for node in parent:
        groups[root(node)][node[0]].append(node[1])
    return sorted((sorted(olds), sorted(news)) for olds, news in groups.values())


def _links(old: _Ways, new: _Ways) -> dict[tuple[int, int], tuple[int, bool]]:
    """Return the pairs of lines that have points in common: how many, and whether they have one name."""
    one, other = (np.unique(np.column_stack([way.points, way.line]), axis=0) for way in (old, new))
    start, stop = (np.searchsorted(other[:, 0], one[:, 0], side) for side in ("left", "right"))
    many = stop - start
    within = np.arange(int(many.sum())) - np.repeat(np.cumsum(many) - many, many)
    pairs = np.column_stack([np.repeat(one[:, 1], many), other[np.repeat(start, many) + within, 1]])
    found, common = np.unique(pairs, axis=0, return_counts=True)
    least = np.minimum(np.minimum(old.many[found[:, 0]], new.many[found[:, 1]]), _COMMON)
    names = [way.rows.column("name").to_pylist() for way in (old, new)]
    return {
        (one, other): (count, names[0][one] == names[1][other])
        for (one, other), count, enough in zip(found.tolist(), common.tolist(), (common >= least).tolist(), strict=True)
        if enough
    }


def _became(was: list[_Line], now: list[_Line]) -> str:
    """Return in words what some lines were and are; one of the two is mostly a single one."""
    if len(was) == len(now) == 1:
        return _changed(was[0], now[0])
    if len(was) == 1:
        return f"{was[0].name} ({was[0].length:.1f} m, {counted(len(now), 'line')} now)"
    if len(now) == 1:
        return f"{now[0].name} ({now[0].length:.1f} m, {counted(len(was), 'line')} before)"
    return f"{now[0].name} and others ({counted(len(was), 'line')} before, {counted(len(now), 'line')} now)"


def _changed(was: _Line, now: _Line) -> str:
    """Return in words what became of a line: "KERB (150.0 to 175.3 m, its points in another order)"."""
    one, other = Counter(was.points), Counter(now.points)
    common = one & other
    more, fewer = (other - common).total(), (one - common).total()
    orders = ([point for point in line.points if point in common] for line in (was, now))
    first, second = f"{was.length:.1f}", f"{now.length:.1f}"
    parts = [f"{first} m" if first == second else f"{first} to {second} m"]
    parts += [f"called {now.name} now"] if now.name != was.name else []
    parts += ["closed now" if now.closed else "open now"] if now.closed != was.closed else []
    parts += [f"{counted(more, 'point')} more"] if more else []
    parts += [f"{counted(fewer, 'point')} fewer"] if fewer else []
    parts += ["its points in another order"] if next(orders) != next(orders) else []
    return f"{was.name} ({', '.join(parts)})"
