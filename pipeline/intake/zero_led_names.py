"""Finds exports that call by plain numbers what another calls by numbers with leading zeros: "12" for "0012".

A spreadsheet takes names for numbers and drops their zeros. Names are compared as they are written, since two rovers
may mean two points by them, so that the readings of one point are not paired then. What tells that they are of the same
points is that they lie apart by one vector, as those of two bases do; what merely counts alike scatters.
"""

from collections.abc import Iterator

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.arrays import Floats, Integers
from pipeline.intake.sifted_batch import SiftedBatch
from pipeline.sphere import DEGREE

#: Rows of an export that are looked at, the first, to the end of a batch; names that agree, the least, and the least
#: part of those that are the same numbers. Ours, no source, as all that follow.
_SOME, _LEAST, _PART = 10_000, 3, 0.5
#: Metres: how far one vector may differ from another, and the longest: two bases that averaged their positions.
_ALIKE, _LONGEST = 0.1, 25.0
#: Vectors that are tried as the one that others share.
_TRIED = 20
#: Exports with leading zeros that each without is compared with, the first: a job may have a thousand.
_OTHERS = 10
_NUMBER = r"^[0-9]{1,9}$"


class ZerosLost(Struct, frozen=True):
    """``count`` points of export ``plain`` lie as those of export ``led`` do, whose names have leading zeros.

    ``names`` are those of one of them, with and without, and ``rows`` its rows in the two files.
    """

    led: int
    plain: int
    count: int
    names: tuple[str, str]
    rows: tuple[int, int]


class _Numbered(Struct, frozen=True):
    """Points (n,) of an export whose names are numbers, each number once: ascending numbers, names, rows, places."""

    value: Integers
    name: tuple[str, ...]
    row: Integers
    place: Floats


class ZeroLedNames(Struct):
    """Gathers the points of each export that are called by numbers; of each export among its first rows."""

    kept: dict[int, list[tuple[pa.Array, Integers, Floats]]] = field(default_factory=dict)
    looked_at: dict[int, int] = field(default_factory=dict)

    def take(self, sifted: SiftedBatch) -> None:
        """Take the points of a batch."""
        batch, number, places = sifted.batch, sifted.number, sifted.places
        seen = self.looked_at.get(number, 0)
        if seen >= _SOME:
            return
        self.looked_at[number] = seen + batch.num_rows
        names = batch.column("name").cast(pa.string())
        numbered = np.asarray(pc.fill_null(pc.match_substring_regex(names, _NUMBER), False))
        which = np.flatnonzero(numbered & sifted.free & np.isfinite(places[0] + places[1]))
        if len(which):
            row = np.asarray(batch.column("source_row"), np.int64)[which]
            place = np.column_stack([places[0][which], places[1][which]])
            self.kept.setdefault(number, []).append((names.take(pa.array(which)), row, place))

    def found(self) -> tuple[ZerosLost, ...]:
        """Return the exports that lost zeros which others have, each with the first export that has them."""
        by_export = {number: _numbered(parts) for number, parts in sorted(self.kept.items())}
        self.kept.clear()
        led = {
            number for number, one in by_export.items() if any(len(name) > 1 and name[0] == "0" for name in one.name)
        }
        return tuple(
            one
            for number, plain in by_export.items()
            if number not in led and (one := next(_lost(number, plain, led, by_export), None)) is not None
        )


def _lost(number: int, plain: _Numbered, led: set[int], by_export: dict[int, _Numbered]) -> Iterator[ZerosLost]:
    """Yield what of an export without leading zeros lies as in each of those with some."""
    for each in sorted(led)[:_OTHERS]:
        other = by_export[each]
        _, mine, its = np.intersect1d(plain.value, other.value, assume_unique=True, return_indices=True)
        zeros = np.array([other.name[at] != plain.name[of] for at, of in zip(its, mine, strict=True)], bool)
        mine, its = mine[zeros], its[zeros]
        alike = _one_vector(plain.place[mine], other.place[its])
        if len(alike):
            one, another = int(mine[alike[0]]), int(its[alike[0]])
            names, rows = (other.name[another], plain.name[one]), (int(other.row[another]), int(plain.row[one]))
            yield ZerosLost(each, number, len(alike), names, rows)


def _one_vector(places: Floats, others: Floats) -> Integers:
    """Return which of (n, 2) places, degrees, are apart from others by the vector that most are; none if too few."""
    step = places - others
    step[:, 0] = (step[:, 0] + 180.0) % 360.0 - 180.0
    metres = step * DEGREE * np.column_stack([np.cos(np.radians(others[:, 1])), np.ones(len(others))])
    near = np.flatnonzero(np.hypot(*metres.T) <= _LONGEST)
    best = np.zeros(0, np.int64)
    for tried in near[:: max(len(near) // _TRIED, 1)]:
        alike = near[np.hypot(*(metres[near] - metres[tried]).T) <= _ALIKE]
        best = alike if len(alike) > len(best) else best
    return best if len(best) >= max(_LEAST, _PART * len(places)) else best[:0]


def _numbered(parts: list[tuple[pa.Array, Integers, Floats]]) -> _Numbered:
    """Return the points of an export, but for numbers that several have."""
    names = pa.concat_arrays([name for name, _, _ in parts])
    value = np.asarray(names.cast(pa.int64()))
    _, first, count = np.unique(value, return_index=True, return_counts=True)
    once = first[count == 1]
    row, place = (np.concatenate([part[at] for part in parts])[once] for at in (1, 2))
    return _Numbered(value[once], tuple(names.take(pa.array(once)).to_pylist()), row, place)
