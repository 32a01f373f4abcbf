"""The colour of each code in a drawing: its own while there are enough, and never that of a code beside it.

A code keeps the colour that it had in drawings before. New ones take theirs in the order in which they first come: the
first free one of a sequence that begins at a place of its own, so that the same code has the same colour in most jobs.
Beyond the last free colour, codes share one that no code near them has, on the ground or in the list of layers.
"""

import zlib
from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Floats
from pipeline.issue.file_facts import CodeDrawn

#: Indices of colours that every program has: hues of 15 degrees from green-yellow to magenta, full and darker, without
#: those near red, orange and yellow, which warn, and without pure green, which check marks have.
CALM = tuple(hue + shade for shade in (0, 2) for hue in range(70, 240, 10) if hue != 90)

#: Steps from one colour to the next one tried: hues that follow one another are far apart.
_STEP = 7

#: The edge of a cell in text heights: codes are near one another where their points lie within half of it.
_NEAR = 20.0


def colours_of(
    codes: Iterable[str | None],
    given: Mapping[str, CodeDrawn],
    beside: Mapping[str | None, set[str | None]],
    had: Mapping[str | None, int] | None = None,
    former: Collection[int] = (),
) -> dict[str | None, int]:
    """Return the colour of each code.

    Args:
        codes: in the order in which they first come; None stands for points without one.
        given: what the job says of codes: its colours stand, and codes on one layer share one.
        beside: the codes near a code on the ground; needed only where there are more codes than colours.
        had: the colours that codes had in drawings before.
        former: those, and the colours of codes that are gone: they may come back.
    """
    order, had = list(codes), had or {}
    found: dict[str | None, int] = {code: one.colour for code, one in given.items() if one.colour is not None}
    layers = {one.layer.casefold(): one.colour for one in given.values() if one.layer and one.colour is not None}
    used = Counter(found.values())
    listed = _listed(order)
    for code in sorted(order, key=lambda code: code not in had):
        if code in found:
            continue
        layer = given[code].layer if code is not None and code in given else None
        if layer is not None and layer.casefold() in layers:
            found[code] = layers[layer.casefold()]
            continue
        kept = had.get(code)
        if kept in CALM and (kept not in used or len(order) > len(CALM)):
            found[code] = kept
        else:
            near = {found[other] for other in beside.get(code, set()) | listed[code] if other in found}
            found[code] = _chosen(code, used, near, former)
        used[found[code]] += 1
        if layer is not None:
            layers[layer.casefold()] = found[code]
    return {code: found[code] for code in order}


def _chosen(code: str | None, used: Counter[int], near: set[int], former: Collection[int]) -> int:
    """Return the first colour of the code's own sequence that nobody has or had, else that no code near it has."""
    start = zlib.crc32((code or "").encode())
    tried = [CALM[(start + _STEP * turn) % len(CALM)] for turn in range(len(CALM))]
    return min(tried, key=lambda colour: (colour in near, used[colour], colour in former))


def _listed(codes: list[str | None]) -> dict[str | None, set[str | None]]:
    """Return the codes before and after each in the list of layers, as programs sort it."""
    order = sorted(codes, key=lambda code: ((code or "").casefold(), code or ""))
    found: dict[str | None, set[str | None]] = {code: set() for code in order}
    for one, other in pairwise(order):
        found[one].add(other)
        found[other].add(one)
    return found


class Beside:
    """Gathers which codes have points near one another: those in one cell of two grids that overlap by half."""

    def __init__(self, codes: Iterable[str | None], text_height: float) -> None:
        self._codes = list(codes)
        self._numbers = pa.array([code or "" for code in self._codes], pa.string())
        self._edge = _NEAR * text_height
        self._cells: list[npt.NDArray[np.int64]] = [np.empty((0, 4), np.int64)]

    def add(self, codes: pa.Array, places: Floats) -> None:
        """Take in the next points' codes and their places (n, 3)."""
        own = pc.index_in(pc.fill_null(codes, ""), self._numbers).to_numpy(zero_copy_only=False)
        for turn, offset in enumerate((0.0, 0.5)):
            cells = np.floor(places[:, :2] / self._edge + offset).astype(np.int64)
            rows = np.column_stack([np.full(len(cells), turn), cells, own])
            self._cells.append(np.unique(rows, axis=0))

    def pairs(self) -> dict[str | None, set[str | None]]:
        """Return for each code those beside it."""
        rows = np.unique(np.concatenate(self._cells), axis=0)
        found: dict[str | None, set[str | None]] = {code: set() for code in self._codes}
        starts = np.flatnonzero(np.any(rows[1:, :3] != rows[:-1, :3], axis=1)) + 1
        seen: set[tuple[int, ...]] = {tuple(cell[:, 3].tolist()) for cell in np.split(rows, starts) if len(cell) > 1}
        for cell in seen:
            here = {self._codes[number] for number in cell}
            for code in here:
                found[code] |= here - {code}
        return found
