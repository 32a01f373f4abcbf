"""Where the cells of lines stand whose columns are padded with blanks, and which lines have some in another's column.

A line is parted at its blanks. A blank within one cell and an empty cell elsewhere leave as many cells as there are
columns, but those between stand in the place of another column, at the very edge to which that one is aligned. A number
that is too long, or a table that is not padded, moves all that follows away from these edges.
"""

import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Integers

#: First and last place of each cell of a line, the latter exclusive.
_Spans = list[tuple[int, int]]

#: What a line is: its cells are in their columns, some are in others, or nobody can say.
_SOUND, _MISPLACED, _UNKNOWN = range(3)

_CELL = re.compile(r'"[^"\n]*"(?!\S)|\S+')
_NUMBER = re.compile(r"[-+−]?\d*[.,]?\d+\Z")
#: Part of the columns that must be aligned, and that a line must have cells in. Ours.
_PART = 2 / 3
#: Columns, at the least, at whose edges the cells of such a line stand. Ours.
_LEAST = 3
#: Bytes that take up one place each: those of a line with others are counted one by one.
_PLAIN = np.array([(sign >= b" "[0] or sign == b"\n"[0]) and sign < 0x80 and sign != b'"'[0] for sign in range(256)])


class _Layout(Struct, frozen=True):
    """The columns of a padded table in one measure of places.

    ``low`` and ``high`` are the places that a column takes up. ``edges`` are those at which its cells begin and end, -1
    where they do not. ``side`` is 0 where it is aligned to the left, 1 to the right, -1 where neither is known; a
    column in ``both`` has cells of one length. ``placed`` tells whether its place hangs on the line and not on the cell
    before; ``gap`` is how many blanks usually are between the two.
    """

    measure: int
    low: tuple[int, ...]
    high: tuple[int, ...]
    edges: tuple[tuple[int, int], ...]
    side: tuple[int, ...]
    both: tuple[bool, ...]
    placed: tuple[bool, ...]
    gap: tuple[int, ...]


class CellPlaces(Struct, frozen=True):
    """Where cells stand in a table of ``width`` columns: by its lines and by its header, in each likely measure."""

    width: int
    by_lines: tuple[_Layout, ...] = ()
    by_header: tuple[_Layout, ...] = ()

    def misplaced(self, block: bytes) -> list[int]:
        """Return which of whole lines (counted from 0, UTF-8, each ends in a line feed) have cells in other columns."""
        looked_at = _suspects(block, self)
        lines = block.split(b"\n") if looked_at else []
        return [at for at in looked_at if self.is_misplaced(lines[at].decode("utf-8", "replace"))]

    def is_misplaced(self, line: str, *, short: bool = False) -> bool:
        """Tell whether a line has cells in other columns; with ``short`` a line may leave out cells at its end."""
        if "\t" in line:
            return _tabs_part_otherwise(line, self.width, short)
        count = len(_CELL.findall(line))
        if count != self.width and not (short and 0 < count < self.width):
            return False
        spans = {each.measure: _MEASURES[each.measure](line) for each in (*self.by_header, *self.by_lines)}
        by_header = {_judged(spans[each.measure], each, header=True) for each in self.by_header}
        by_lines = {_judged(spans[each.measure], each) for each in self.by_lines}
        return any(_MISPLACED in found and _SOUND not in found for found in (by_header, by_lines))


def cell_places(header: bytes, lines: Sequence[bytes], width: int) -> CellPlaces:
    """Return where cells stand, by a header (b"" for none) of ``width`` columns and the lines below it."""
    texts = [line.decode("utf-8", "replace") for line in lines]
    top = header.decode("utf-8", "replace")
    texts, top = [line for line in texts if "\t" not in line], "" if "\t" in top else top
    measured = range(1 if "".join((top, *texts)).isascii() else len(_MEASURES))
    found = [_by_lines([top, *texts], width, measure) for measure in measured]
    best = max((count for count, _ in found), default=0)
    by_lines = [layout for count, layout in found if layout is not None and count == best]
    headers = [
        _by_header(spans, at)
        for at in measured
        if len(spans := _MEASURES[at](top)) == width and not _evenly_apart(spans)
    ]
    return CellPlaces(width, tuple(by_lines), tuple(headers))


def _in_characters(line: str) -> _Spans:
    return [match.span() for match in _CELL.finditer(line)]


def _measured(line: str, widths: Sequence[int]) -> _Spans:
    place = [0, *np.cumsum(widths).tolist()]
    return [(place[first], place[last]) for first, last in _in_characters(line)]


def _on_screen(line: str) -> _Spans:
    """Return places as a terminal shows them: wide signs take two, combining ones none."""
    wide = ("W", "F")
    return _measured(
        line, [0 if unicodedata.combining(sign) else 1 + (unicodedata.east_asian_width(sign) in wide) for sign in line]
    )


def _in_bytes(line: str) -> _Spans:
    return _measured(line, [len(sign.encode("utf-8", "replace")) for sign in line])


#: In what programs count the places of a line.
_MEASURES: tuple[Callable[[str], _Spans], ...] = (_in_characters, _on_screen, _in_bytes)


def _tabs_part_otherwise(line: str, width: int, short: bool) -> bool:
    """Tell whether tabs alone part a line into as many cells as there are columns, and others than all blanks do.

    With ``short`` cells at the end may be left out.
    """
    by_tabs = [cell.strip() for cell in line.split("\t")]
    while len(by_tabs) > width and not by_tabs[-1]:
        by_tabs.pop()
    by_blanks = _CELL.findall(line)
    if short and len(by_tabs) == width and len(by_blanks) < width:
        return by_tabs != by_blanks + [""] * (width - len(by_blanks))
    return len(by_tabs) == len(by_blanks) == width and by_tabs != by_blanks


def _suspects(block: bytes, places: CellPlaces) -> list[int]:
    """Return the lines that need a look: those with a cell outside its column or other than plain signs."""
    signs = np.frombuffer(block, np.uint8)
    ends = np.flatnonzero(signs == b"\n"[0])
    text = np.concatenate(([False], signs > b" "[0], [False]))
    turns = np.flatnonzero(text[1:] != text[:-1])
    first, last = turns[::2], turns[1::2]
    line = np.searchsorted(ends, first)
    whole = np.flatnonzero(np.bincount(line, minlength=len(ends)) == places.width)
    kept = np.isin(line, whole)
    begun = np.concatenate(([0], ends[:-1] + 1))[whole][:, None] if len(whole) else np.zeros((0, 1), np.int64)
    low, high = (each[kept].reshape(-1, places.width) - begun for each in (first, last))
    outside: Flags = np.zeros(len(whole), bool)
    for layout in (*places.by_lines, *places.by_header):
        outside |= ((low >= np.array(layout.high)) | (high <= np.array(layout.low))).any(axis=1)
    odd = np.searchsorted(ends, np.flatnonzero(~_PLAIN[signs]))
    found: list[int] = np.union1d(odd, whole[outside]).tolist()
    return found


def _by_header(spans: _Spans, measure: int) -> _Layout:
    """Return the columns by their headings alone, which are aligned to either side."""
    low, high = zip(*spans, strict=True)
    none = (-1,) * len(spans)
    return _Layout(measure, low, high, tuple(spans), none, (True,) * len(spans), (False,) * len(spans), none)


def _by_lines(lines: Sequence[str], width: int, measure: int) -> tuple[int, _Layout | None]:
    """Return the columns by most of the lines, if they are padded to columns at all, and how many lines say so."""
    spans = [(line, found) for line in lines if len(found := _MEASURES[measure](line)) == width]
    if len(spans) < 2:
        return 0, None
    place: Integers = np.array([found for _, found in spans], np.int64)  # lines, columns, begin and end
    numbers = [_numbers(column) for column in zip(*(_CELL.findall(line) for line, _ in spans), strict=True)]
    columns = [_aligned(place[:, at], numbers[at]) for at in range(width)]
    side = np.array([side for _, side, _ in columns])
    on_edge = np.array(
        [[True] * len(spans) if s < 0 else place[:, at, s] == e[s] for at, (e, s, _) in enumerate(columns)]
    )
    sound = on_edge.all(axis=0)
    count = int(sound.sum())
    if 2 * count <= len(spans) or (side >= 0).sum() < _PART * width:
        return 0, None
    low, high = place[sound, :, 0].min(axis=0), place[sound, :, 1].max(axis=0)
    if (high[:-1] >= low[1:]).any():
        return 0, None
    gaps = place[:, 1:, 0] - place[:, :-1, 1]
    moved = place[:, :-1, 1] != np.array([_usual(place[:, at, 1])[0] for at in range(width - 1)], np.int64)
    stays = on_edge[1:].T
    placed = (moved & stays).sum(axis=0) > (moved & ~stays).sum(axis=0)
    return count, _Layout(
        measure,
        tuple(low.tolist()),
        tuple(high.tolist()),
        tuple(edges for edges, _, _ in columns),
        tuple(side.tolist()),
        tuple(both for _, _, both in columns),
        (True, *placed.tolist()),
        (-1, *(_usual(gaps[:, at])[0] for at in range(width - 1))),
    )


def _numbers(cells: Sequence[str]) -> bool:
    return 2 * sum(map(bool, map(_NUMBER.match, cells))) > len(cells)


def _usual(values: Integers) -> tuple[int, int]:
    """Return the value that most have, the least of several, and how many have it."""
    counts = Counter(values.tolist())
    value = min(counts, key=lambda each: (-counts[each], each))
    return value, counts[value]


def _aligned(place: Integers, numbers: bool) -> tuple[tuple[int, int], int, bool]:
    """Return where most cells (n, 2) of a column begin and end, -1 where they do not, its side, and if it is on both.

    Cells of one length are aligned to both; then texts are taken as aligned to the left and numbers to the right.
    """
    found = [_usual(place[:, side]) for side in (0, 1)]
    left, right = (count if count > 1 and 2 * count > len(place) else 0 for _, count in found)
    edges = (found[0][0] if left else -1, found[1][0] if right else -1)
    if not left and not right:
        return edges, -1, False
    return edges, int(numbers) if left == right else int(right > left), left == right


def _judged(spans: _Spans, layout: _Layout, *, header: bool = False) -> int:
    """Return what a line is by its cells' places."""
    low, high = np.array(layout.low), np.array(layout.high)
    start, end = np.array(spans).T
    outside = np.flatnonzero((start >= high[: len(spans)]) | (end <= low[: len(spans)]))
    if not len(outside):
        return _SOUND
    # The first column that ends behind a cell's beginning, the last one that begins before its end.
    first, last = np.searchsorted(high, start, "right"), np.searchsorted(low, end, "left") - 1
    if (first < last).any() or _follows(spans, int(outside[0]), layout, header):
        return _UNKNOWN
    groups: dict[int, list[int]] = {}
    for cell in range(len(spans)):
        column = int(first[cell]) if first[cell] == last[cell] else _beside(cell, spans, first, last, layout)
        if column < 0:
            return _UNKNOWN
        groups.setdefault(column, []).append(cell)
    if len(groups) < max(_LEAST, _PART * len(spans)):
        return _UNKNOWN
    parted = [pair for cells in groups.values() for pair in pairwise(cells)]
    if any(spans[after][0] - spans[before][1] != 1 for before, after in parted):
        return _UNKNOWN
    exact = all(_at_edge(spans[cells[0]][0], spans[cells[-1]][1], layout, column) for column, cells in groups.items())
    return _MISPLACED if exact else _UNKNOWN


def _follows(spans: _Spans, cell: int, layout: _Layout, header: bool) -> bool:
    """Tell whether a cell and all behind it may stand where they do as one before is shorter or longer than others."""
    if header:
        before_its_own = spans[cell][1] <= layout.low[cell]
        return _evenly_apart(spans) or (before_its_own and not _meets_again(spans, cell, layout))
    behind = range(cell, len(spans))
    return cell > 0 and all(
        not layout.placed[at] and spans[at][0] - spans[at - 1][1] == layout.gap[at] for at in behind
    )


def _meets_again(spans: _Spans, cell: int, layout: _Layout) -> bool:
    """Tell whether a cell behind one stands below its own heading: a long heading moves all that follow."""
    return any(_at_edge(*spans[after], layout, after) for after in range(cell + 1, len(spans)))


def _evenly_apart(spans: _Spans) -> bool:
    """Tell whether as many blanks are between any two cells: nothing is padded then."""
    return len({after - end for (_, end), (after, _) in pairwise(spans)}) <= 1


def _beside(cell: int, spans: _Spans, first: Integers, last: Integers, layout: _Layout) -> int:
    """Return the column to which a cell between two belongs, by one blank and by its edges; -1 where none is sure."""
    before, after = int(last[cell]), int(first[cell])
    if (
        cell > 0
        and first[cell - 1] == before == last[cell - 1]
        and spans[cell][0] - spans[cell - 1][1] == 1
        and (layout.side[before] != 1 or layout.both[before])
        and (after == len(layout.low) or layout.side[after] == 0)
    ):
        return before
    if (
        cell + 1 < len(spans)
        and first[cell + 1] == after == last[cell + 1]
        and spans[cell + 1][0] - spans[cell][1] == 1
        and (layout.side[after] != 0 or layout.both[after])
        and (before < 0 or layout.side[before] == 1)
    ):
        return after
    return -1


def _at_edge(start: int, end: int, layout: _Layout, column: int) -> bool:
    """Tell whether what stands in a column begins or ends where its cells do."""
    left, right = layout.edges[column]
    if layout.both[column]:
        return start == left or end == right
    side = layout.side[column]
    return side < 0 or (start == left if side == 0 else end == right)
