"""Rows in time order whose names alone were sorted as texts, as in a spreadsheet: w1, w10, w100, w101, w11.

Nobody counts so, but a crew may set out points in such an order, as a list of them has it: then the way from number to
number is the shorter one, and the way that it walked the longer.
"""

import re

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.arrays import Floats
from pipeline.intake.positions import local_metres, raw_positions
from pipeline.intake.sifted_batch import SiftedBatch
from pipeline.tables import milliseconds

#: Rows of a stretch, and places in it where the number falls while the text rises, at the least.
_LEAST, _FALLS = 10, 2
#: How many times as long as the way from row to row that from number to number is at the least. Ours, no source.
_LONGER = 1.5
#: Stretches that are told of a job.
_TOLD = 20
#: A name that ends in a number, of no more digits than are counted on.
_NUMBERED = re.compile(r"(.*?)(?<![0-9])([0-9]{1,15})", re.DOTALL)


class SortedNames(Struct, frozen=True):
    """Rows of an export, ``first`` to ``last`` by their numbers in the file, ``count`` of them, with names in order.

    ``before`` and ``behind`` are names of two rows in a row between which the number falls, or rises where the texts
    fall.
    """

    export: int
    first: int
    last: int
    count: int
    before: str
    behind: str


class NamesInOrder(Struct):
    """Collects, batch by batch, rows whose names seem to have been sorted."""

    told: list[SortedNames] = field(default_factory=list)

    def take(self, sifted: SiftedBatch) -> None:
        """Look at the readings of a batch that are sound and stand on no mark."""
        batch, number, export, here = sifted.batch, sifted.number, sifted.export, np.flatnonzero(sifted.free)
        if len(here) < _LEAST or len(self.told) >= _TOLD:
            return
        names = pc.fill_null(batch.column("name").cast(pa.string()).take(pa.array(here)), "")
        stretches = _stretches(names)
        if not stretches:
            return
        time = milliseconds(batch)[here]
        columns = raw_positions(batch)
        place = np.column_stack(columns if export.points.columns.z is not None else local_metres(columns, export)[:2])[
            here
        ]
        rows = np.asarray(batch.column("source_row"), np.int64)[here]
        for start, stop, numbers, fall in stretches:
            in_order = len(self.told) < _TOLD and bool((np.diff(time[start:stop]) >= 0).all())
            if in_order and _walked(place[start:stop], numbers):
                told = (names[fall].as_py(), names[fall + 1].as_py())
                self.told.append(SortedNames(number, int(rows[start]), int(rows[stop - 1]), stop - start, *told))

    def found(self) -> tuple[SortedNames, ...]:
        """Return what was found."""
        return tuple(self.told)


def _stretches(names: pa.Array) -> list[tuple[int, int, Floats, int]]:
    """Return of names (n,) the stretches that are in order as texts and not as numbers.

    Each with its start, its stop, the numbers (k,) that its names end in, and one row after which the number is out of
    order.
    """
    longer = np.diff(np.asarray(pc.binary_length(names), np.int64))
    found = []
    for rising in (True, False):
        compare = pc.greater if rising else pc.less
        on = np.asarray(compare(names[1:], names[:-1]), bool)
        # of a number that falls while its text rises digits get fewer
        shorter = np.concatenate([[0], np.cumsum(on & (longer < 0 if rising else longer > 0))])
        edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(np.int8))).reshape(-1, 2)
        for start, end in edges[edges[:, 1] - edges[:, 0] >= _LEAST - 1].tolist():
            if shorter[end] - shorter[start] >= _FALLS:
                found += _of_one_prefix(names[start : end + 1].to_pylist(), start, rising)
    return found


def _of_one_prefix(names: list[str], begin: int, rising: bool) -> list[tuple[int, int, Floats, int]]:
    """Return the stretches of names that differ in the number at their end alone, and are not in order of that."""
    parts = [_NUMBERED.fullmatch(name) for name in names]
    prefixes = [None if part is None else part[1] for part in parts]
    numbers = np.array([0.0 if part is None else float(part[2]) for part in parts])
    cuts = [at for at in range(1, len(names)) if prefixes[at] is None or prefixes[at] != prefixes[at - 1]]
    found = []
    for start, stop in zip([0, *cuts], [*cuts, len(names)], strict=True):
        steps = np.diff(numbers[start:stop])
        falls = np.flatnonzero(steps < 0.0 if rising else steps > 0.0)
        if stop - start >= _LEAST and len(falls) >= _FALLS:
            found.append((begin + start, begin + stop, numbers[start:stop], begin + start + int(falls[0])))
    return found


def _walked(place: Floats, numbers: Floats) -> bool:
    """Tell whether places (n, 2) or (n, 3) lie nearer to the next row than to the next number."""
    by_row, by_number = (
        float(np.linalg.norm(np.diff(places, axis=0), axis=1).sum())
        for places in (place, place[np.argsort(numbers, kind="stable")])
    )
    return by_number >= _LONGER * by_row
