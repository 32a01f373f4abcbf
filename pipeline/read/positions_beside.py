"""Compares the mapped positions with others of the same rows that nobody mapped, in the first rows of a file.

Those are longitudes and latitudes, or eastings and northings, whose headings say nothing else, a layer's geometry, and
columns that hold the mapped coordinates, or the heights, a second time, whatever they are called.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial

import numpy as np
import pyarrow as pa
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.files.angles import dms
from pipeline.files.heading_words import words_of
from pipeline.files.letter_o import with_west
from pipeline.geodesy.unit_words import LENGTHS_SAID
from pipeline.job.model import Points
from pipeline.plausible.second_columns import may_be_near, metres_of_degrees, says_measured, second_columns
from pipeline.plausible.two_positions import MOST, SIMILAR, TwoPositions, last_digit, two_positions
from pipeline.read.axis_headings import LATITUDE, LONGITUDE, axis_in_heading
from pipeline.read.columns import readings
from pipeline.read.degrees_beside import cells_as_numbers, only_column
from pipeline.read.numeric import numbers
from pipeline.read.raw_batch import Raw
from pipeline.read.sources import Source
from pipeline.words import counted

#: What may stand beside a word or letter of an axis: a grid or a datum; anything else may be of a base, or of a design.
_BESIDE = frozenset(["coordinate", "coord", "grid", "utm", "gk", "gnss", "gps", "wgs", "wgs84", "84", "etrs89"])

#: What `not_measured` of a block calls the positions of a layer's geometry.
GEOMETRY = "geometry"

#: Metres up to which a last digit is of millimetres, and how much of a digit rounding takes away at the most.
_MILLIMETRES, _HALF = 0.0011, 0.51
#: The part of the rows from which on a column that agrees in them holds the differences. Ours, no source.
_NEARLY_ALL = 0.95

#: Cells by which columns are left out that are far from what is mapped; the hemispheres of easting and northing.
_LOOKED, _SIDES = 200, ("EW", "NS")


class PositionsBeside(Struct, frozen=True):
    """How other positions of a file's rows, of two ``columns`` or without any of the geometry, go with the mapped.

    ``digit`` and ``mapped`` are the metres that the last digits of either are worth, 0 for all digits. ``how`` is the
    comparison of the rows, and ``rows`` (n,) the numbers of these in the file. ``alike`` tells that the columns hold
    the mapped coordinates, or the one column the height, a second time in the same system: ``values`` (k, columns) in
    the rows compared, in metres, and ``difference``, the column that holds the differences of the two, "" without one.
    """

    columns: tuple[str, ...]
    digit: float
    mapped: float
    how: TwoPositions
    rows: Integers
    alike: bool = False
    values: Floats | None = None
    difference: str = ""

    @property
    def names(self) -> str:
        """Return the columns in words, "" for the geometry."""
        return " and ".join(f'"{name}"' for name in self.columns)

    def is_set_aside(self, points: Points) -> bool:
        """Tell whether a block of the job file says that these positions were not measured."""
        return {*(self.columns or (GEOMETRY,))} <= {*(points.not_measured or ())}

    @property
    def count(self) -> int:
        """Return how many rows differ otherwise than those around them."""
        return len(self.how.rows)

    @property
    def row(self) -> int:
        """Return the first of these rows, 0 where there is none."""
        return int(self.rows[self.how.rows[0]]) if self.count else 0

    @property
    def finer(self) -> bool:
        """Tell whether they are the same positions with more digits."""
        return not self.count and 4.0 * self.digit <= self.mapped

    def agree_at(self, rows: Integers) -> bool:
        """Tell whether the two agree in some rows of the file: see `TwoPositions.agree_at`."""
        return self.how.agree_at(self._among(rows))

    def untold_at(self, rows: Integers) -> bool:
        """Tell whether some rows of the file are too few to tell which of two in the same system was measured."""
        return self.alike and int(np.count_nonzero(self._among(rows))) < SIMILAR

    def lacks(self, rows: Integers) -> bool:
        """Tell whether none of some rows of the file has a second position in the same system, as marks have no design.

        What is mapped there was measured.
        """
        known = self.how.known
        here = np.isin(self.rows[: int(known[-1]) + 1], rows) if self.alike and len(known) else np.zeros(0, bool)
        return bool(here.any() and not here[known].any())

    def copied_from(self, rows: Integers, known: Floats) -> tuple[Flags, Flags]:
        """Tell at which rows these are to the millimetre what is known there, and at which both have numbers.

        Args:
            rows: (n,) of the file, none twice.
            known: (n, 2 or 1) coordinates, or heights, in the columns' system [m]; in which direction they count does
                not matter.

        Returns:
            (n,) and (n,). Nowhere where their digits are coarser, or all that is mapped there is the same: then it is
            not told which of the two was copied.
        """
        told = np.zeros(len(rows), bool)
        if self.values is None or not 0.0 < self.digit <= _MILLIMETRES or known.shape[1] != self.values.shape[1]:
            return told, told
        _, at, of = np.intersect1d(self.rows[self.how.known], rows, return_indices=True)
        same = (np.abs(np.abs(self.values[at]) - np.abs(known[of])) <= _HALF * self.digit).all(axis=1)
        first, second = self.how.planes
        apart = np.abs(second - first if len(self.columns) > 1 else second)[at]
        equal, told[of] = np.zeros_like(told), np.isfinite(known[of]).all(axis=1)
        equal[of] = same & bool((apart[same] > _HALF * (self.digit + self.mapped)).any())
        return equal, told

    def _among(self, rows: Integers) -> Flags:
        return np.isin(self.rows[self.how.known], rows)

    def told(self) -> str:
        """Return in words how they differ."""
        kind = "heights" if len(self.columns) == 1 else "positions"
        others = f"{kind} of {self.names or 'the geometry'}"
        first = counted(self.how.compared, "row")
        given = f' ("{self.difference}" holds the differences)' if self.difference else ""
        return (
            f"in {self.count:,} of the first {first} (first one here) the {others} and those"
            f" mapped differ otherwise than in the rows around, by up to {self.how.most:.2f} m{given}: one of the two"
            " is not what was measured here, but of another day, a design, an edit, the antenna or another device: see"
            " that what was measured is mapped"
        )


def positions_beside(points: Points, source: Source, first: Sequence[Raw]) -> tuple[PositionsBeside, ...]:
    """Return how the positions that are not mapped go with those that are; those alone that can be compared."""
    if not first or not len(first[0].row):
        return ()
    if source.how.position.words[0] == "x":
        return ()
    others, seconds = list(_others(source, first[0])), list(_seconds(points, source, first[0]))
    if not others:
        return tuple(seconds)
    read = readings(first[0], source.how.afresh())
    one, two = (np.asarray(read.column(word), np.float64) for word in ("first", "second"))
    found = []
    for columns, pair in others:
        mapped = one[: len(pair[0])], two[: len(pair[0])]
        digits = last_digit(*pair), last_digit(*mapped)
        how = two_positions(mapped, pair, sum(digits))
        if how is not None:
            found.append(PositionsBeside(columns, *digits, how, np.asarray(first[0].row, np.int64)))
    twice = [one.columns for one in seconds]
    return (*(one for one in found if one.columns not in twice), *seconds)


def _seconds(points: Points, source: Source, raw: Raw) -> Iterator[PositionsBeside]:
    """Yield the columns that hold the mapped position, or the height, a second time and scatter about it."""
    how, metre = source.how, source.how.lengths
    names = [how.names.get(word, "") for word in how.position.words]
    texts = {name: raw.columns[name] for name, _ in how.carried if name in raw.columns}
    if not texts or (how.position.from_geometry and raw.geometry is None):
        return
    degrees = metre.degrees if how.position.from_geometry else how.position.words[0] == "longitude"
    read = _Cells(how.decimal, degrees and points.angles == "dms", how.headings)
    plan, height = _mapped(names, how.position.from_geometry, raw, read)
    in_plan = metres_of_degrees(plan[1]) if degrees else (metre.plan, metre.plan)
    where = plan[0] * in_plan[0], plan[1] * in_plan[1]
    readers = [
        {
            name: partial(read.coordinates, cells, side)
            for name, cells in texts.items()
            if may_be_near(mapped, read.coordinates(cells[:_LOOKED], side), each)
        }
        for mapped, side, each in zip(plan, _SIDES, in_plan, strict=True)
    ]
    heights: dict[str, Callable[[], Floats]] = {
        name: partial(read.numbers, cells)
        for name, cells in texts.items()
        if may_be_near(height, read.numbers(cells[:_LOOKED]), metre.up)
    }
    aside = frozenset(points.not_measured or ())
    found = second_columns(list(zip(names[:2], plan, strict=True)), readers, where, in_plan, named=aside)
    companion = bool(found) or any(map(says_measured, names[:2]))
    found += second_columns([(names[2], height)], [heights], where, [metre.up], named=aside, companion=companion)
    rows = np.asarray(raw.row, np.int64)
    for one in found:
        apart = one.how.planes[1] - (one.how.planes[0] if len(one.columns) > 1 else 0.0)
        free = {name: cells for name, cells in texts.items() if name not in one.columns}
        metres = metre.up if len(one.columns) == 1 else metre.plan
        given = _differences(free, read, one.how.known, apart, metres, one.digit + one.mapped)
        yield PositionsBeside(
            one.columns, one.digit, one.mapped, one.how, rows, alike=True, values=one.values, difference=given
        )


def _mapped(
    names: Sequence[str], from_geometry: bool, raw: Raw, read: "_Cells"
) -> tuple[tuple[Floats, Floats], Floats]:
    """Return (n,) both coordinates in plan and the height of the first rows, as mapped by ``names``, in their units."""
    if from_geometry and raw.geometry is not None:
        height = read.numbers(raw.columns[names[2]]) if names[2] else raw.geometry.z[:MOST]
        return (raw.geometry.x[:MOST], raw.geometry.y[:MOST]), height
    plan = [read.coordinates(raw.columns[name], side) for name, side in zip(names[:2], _SIDES, strict=True)]
    return (plan[0], plan[1]), read.numbers(raw.columns[names[2]])


def _differences(
    texts: Mapping[str, pa.Array],
    read: "_Cells",
    known: Integers,
    apart: NDArray[np.complex128],
    metre: float,
    digits: float,
) -> str:
    """Return the column that holds the differences of two positions or heights, "" for none.

    Args:
        texts: the other columns, (n,) cells each.
        read: reads their numbers.
        known: (k,) rows in which both are known.
        apart: (k,) their differences there [m]: east + 1j * north, or of heights.
        metre: how long one of the column's numbers is [m].
        digits: metres that the last digits of both are worth together.
    """
    for name, cells in texts.items():
        given = np.abs(read.numbers(cells))[known] * metre
        here = np.isfinite(given)
        same = np.abs(given - np.abs(apart.real))[here] <= digits
        if np.count_nonzero(here) >= SIMILAR and np.ptp(given[here]) > 0.0 and same.mean() >= _NEARLY_ALL:
            return name
    return ""


class _Cells(Struct, frozen=True):
    """How the first cells of columns are read, by their ``decimal`` sign, and whether angles are ``as_dms``.

    ``headings`` are the names of all columns.
    """

    decimal: str
    as_dms: bool
    headings: tuple[str, ...]

    def coordinates(self, cells: pa.Array, side: str) -> Floats:
        """Return (n,) the numbers, or the angles of a side, NaN where there is none."""
        if self.as_dms and pa.types.is_string(cells.type):
            first = cells[:MOST]
            return dms(with_west(first, self.headings) if side == "EW" else first, side)[0]
        return self.numbers(cells)

    def numbers(self, cells: pa.Array) -> Floats:
        """Return (n,) the numbers, NaN where there is none."""
        if pa.types.is_string(cells.type):
            return numbers(cells[:MOST], self.decimal)[0]
        return cells_as_numbers(cells)


def _others(source: Source, raw: Raw) -> Iterator[tuple[tuple[str, ...], tuple[Floats, Floats]]]:
    """Yield the columns, none for the geometry, and the numbers (n,) of positions that are not mapped."""
    pairs = (
        tuple(only_column(source, words) for words in (LONGITUDE, LATITUDE)),
        tuple(_only_axis(source, axis) for axis in ("easting", "northing")),
    )
    for first, second in pairs:
        if first is not None and second is not None:
            pair = cells_as_numbers(raw.columns[first]), cells_as_numbers(raw.columns[second])
            yield (first, second), pair
    if raw.geometry is not None and not source.how.position.from_geometry:
        yield (), (raw.geometry.x, raw.geometry.y)


def _only_axis(source: Source, axis: str) -> str | None:
    """Return the one column carried along whose heading says an axis of a grid and nothing else."""
    names = [name for name, _ in source.how.carried if axis_in_heading(name) == axis and _says_no_more(name)]
    return names[0] if len(names) == 1 else None


def _says_no_more(heading: str) -> bool:
    words = words_of(heading, figures=True)
    return len([word for word in words if word not in _BESIDE and word not in LENGTHS_SAID]) == 1
