"""Coordinates that a spreadsheet copied down its column: rows with one latitude to the last digit, the rest their own.

Rows in which all coordinates repeat are no such rows: `duplicates` finds them.
"""

from collections.abc import Callable
from functools import partial

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.positions import finest_digit
from pipeline.intake.sifted_batch import SiftedBatch
from pipeline.replace import replace

#: Rows from which equal coordinates, and equal steps, are noted: of a position and of a height.
_LEAST, _LEAST_UP, _SERIES = 3, 5, 5
#: Metres that the other coordinates change by along such rows at the least, from most of them to the next; or all in
#: all, of rows from which equal coordinates in plan are noted along a line that the other one hardly changes on. Epochs
#: of one place reach centimetres.
_ELSEWHERE, _LEAST_BESIDE = 2.0, 4
#: Runs along such lines, of one coordinate of an export, that may have been copied; more are lines that were laid out.
_BESIDE_MOST = 2
#: Metres: a number is its own where it is written as finely as this, and none that is rounded more coarsely than that.
_FINE, _ROUND = 1.5e-3, 0.012
#: Of the other rows this share, or so few, may repeat the coordinate of the one before; there must be so many.
_SELDOM, _FEW, _OTHERS = 0.02, 3, 10
#: The share of all rows that may have been copied, but for one single run in plan: else the file is made of such rows.
_SHARE = 0.3
#: Readings of a batch that the finest digit is looked for in.
_SAMPLE = 256
#: Metres within which steps are counted that tell how often two coordinates agree by chance; how often that may be for
#: two rows to be noted; and how many such pairs are.
_WITHIN, _CHANCE, _PAIRS = 2.0, 3e-4, 2
#: Metres by which the other coordinates' steps differ where a line with equal steps, or along an axis, was computed.
_EVEN = 3e-3
#: Rows with equal steps that may be dragged series, of one coordinate of an export; more are lines that were laid out.
_SERIES_MOST = 2
#: Metres within which points of a line along an axis lie, and rows that have one coordinate on no such line by chance.
_BESIDE, _NO_LINE = 0.03, 8
#: Metres of a last digit to which points of a line do not agree by chance.
_TENTHS = 2e-4
#: Last digits up to which a text is counted on, row by row, where its cell is dragged down. Ours.
_COUNTED = 3.5
#: Runs that are kept of each coordinate of an export.
_MOST = 1_000


class Filled(Struct, frozen=True):
    """Rows of an export, ``first`` to ``last`` by their numbers in the file, that have one coordinate in common.

    ``axis`` is which of the three, ``count`` how many rows, ``step`` whether it rises by one step instead, ``digit``
    what its last digit is worth in metres, ``sessions`` are those that the rows are in. ``counted`` is whether the last
    digit alone goes up or down, by as much each time, ``beside`` whether the other coordinate hardly changes.
    """

    export: int
    axis: int
    first: int
    last: int
    count: int
    step: bool
    digit: float
    sessions: tuple[int, ...]
    counted: bool = False
    beside: bool = False


class _Coordinate(Struct, frozen=True, kw_only=True):
    """One coordinate of the (n,) sound readings of a batch.

    Args:
        export: number of the export.
        axis: which of the three.
        values: (n,) as written.
        rows: (n,) their numbers in the file.
        session: (n,) their sessions.
        elsewhere: (n - 1,) metres that the other coordinates go from row to row.
        other: (n,) metres, of one in plan the other one; None of heights.
        even: (n - 1,) whether the step is that to the next row again.
        metre: metres of one of ``values``.
        digit: gives what the last digit of some values is worth at the finest [m].
    """

    export: int
    axis: int
    values: Floats
    rows: Integers
    session: NDArray[np.int32]
    elsewhere: Floats
    other: Floats | None
    even: Flags
    metre: float
    digit: Callable[[Floats], float]

    def filled(
        self, start: int, end: int, *, step: bool = False, counted: bool = False, beside: bool = False
    ) -> Filled:
        """Return the rows from ``start`` to ``end`` as such that have it in common."""
        first, last, count = int(self.rows[start]), int(self.rows[end]), end - start + 1
        sessions = tuple(np.unique(self.session[start : end + 1]).tolist())
        return Filled(self.export, self.axis, first, last, count, step, 0.0, sessions, counted, beside)

    def goes_on(self, start: int, end: int) -> bool:
        """Tell whether most of the rows from ``start`` to ``end`` lie elsewhere than the one before."""
        return float(np.median(self.elsewhere[start:end])) >= _ELSEWHERE

    def reaches(self, start: int, end: int) -> bool:
        """Tell whether enough rows, from ``start`` to ``end``, lie elsewhere than one another, if by little each."""
        far = self.other is not None and np.ptp(self.other[start : end + 1]) >= _ELSEWHERE
        return end - start + 1 >= _LEAST_BESIDE and bool(far)

    def is_finely_written(self, start: int, end: int) -> bool:
        """Tell whether the rows from ``start`` to ``end`` have it written no more coarsely than a number of its own."""
        return self.digit(self.values[start : end + 1]) <= _ROUND


class _Column(Struct):
    """What the batches so far have of one coordinate of an export. Filled on its way."""

    steps: int = 0
    again: int = 0
    within: int = 0
    pairs: list[Filled] = field(default_factory=list)
    runs: list[Filled] = field(default_factory=list)
    digit: float = np.inf

    def take_runs(self, of: _Coordinate, alike: Flags) -> None:
        """Take up rows with one value, ``alike`` (n - 1,), with one step, or whose last digit is counted on."""
        least = _LEAST_UP if of.axis == 2 else _LEAST
        on = np.zeros_like(of.even)
        if of.axis < 2 and self.digit <= _TENTHS and of.even.any():
            on = of.even & (np.abs(np.diff(of.values)) * of.metre <= _COUNTED * self.digit)
        for which, few, step in ((alike, least - 1, False), (on, least - 2, True), (of.even & ~on, _SERIES - 2, True)):
            counted = which is on
            for start, stop in _stretches(which, few):
                end = stop + 1 if step else stop
                beside = not of.goes_on(start, end)
                found = not beside or ((counted or not step) and of.reaches(start, end))
                if not found or not of.is_finely_written(start, end) or len(self.runs) >= _MOST:
                    continue
                few_or_close = beside or end - start + 1 < _NO_LINE
                may_chance = of.axis < 2 and (self.digit > _TENTHS or counted or beside) and few_or_close
                chance = may_chance and _on_line(of.values, start, end, of.metre)
                computed = (step or beside) and np.ptp(of.elsewhere[start:end]) <= _EVEN
                if not computed and not (chance and (counted or not step)):
                    run = of.filled(start, end, step=step and not counted, counted=counted, beside=beside)
                    self.runs.append(run)

    def take_pairs(self, of: _Coordinate, alike: Flags) -> None:
        """Take up two rows with one value far apart, alone among others."""
        for start in np.flatnonzero(alike & (of.elsewhere >= _ELSEWHERE)).tolist():
            if len(self.pairs) > _PAIRS:
                break
            alone = not alike[start - 1 : start].any() and not alike[start + 1 : start + 2].any()
            if alone and of.is_finely_written(start, start + 1):
                self.pairs.append(of.filled(start, start + 1))


class FilledDown(Struct):
    """Collects, batch by batch, rows that follow each other with one coordinate alike."""

    columns: dict[tuple[int, int], _Column] = field(default_factory=dict)

    def take(self, batch: SiftedBatch) -> None:
        """Look at the sound readings of a batch."""
        rows = batch.sound_rows
        if rows.geocentric or len(rows.row) < 2:
            return
        number, place, metre = rows.number, rows.place, rows.metres
        moved = np.abs(np.diff(place * metre, axis=0))
        even = [_even(values) for values in place.T]
        # a line in plan with one step along both axes was computed
        even[0], even[1] = even[0] & ~even[1], even[1] & ~even[0]
        for axis in range(3):
            others = [other for other in (0, 1) if other != axis]
            elsewhere = np.hypot(*moved[:, others].T) if axis == 2 else moved[:, others[0]]
            if axis < 2:
                column = self.columns.setdefault((number, axis), _Column())
                column.within += int(np.count_nonzero(moved[:, axis] <= _WITHIN))
            self._look(
                _Coordinate(
                    export=number,
                    axis=axis,
                    values=place[:, axis],
                    rows=rows.row,
                    session=rows.session,
                    elsewhere=elsewhere,
                    other=None if axis == 2 else place[:, others[0]] * metre[others[0]],
                    even=even[axis],
                    metre=float(metre[axis]),
                    digit=partial(finest_digit, axis=axis, export=rows.export),
                )
            )

    def _look(self, of: _Coordinate) -> None:
        column = self.columns.setdefault((of.export, of.axis), _Column())
        steps = np.diff(of.values)
        column.steps += len(steps)
        column.digit = min(column.digit, of.digit(of.values[:_SAMPLE]))
        alike = (steps == 0.0) & (of.elsewhere > 0.0)
        column.again += int(alike.sum())
        column.take_runs(of, alike)
        if of.axis < 2:
            column.take_pairs(of, alike)

    def found(self) -> tuple[Filled, ...]:
        """Return the rows of exports in which nearly all others have coordinates of their own, finely written."""
        told = []
        for column in self.columns.values():
            # lines that were laid out or computed have one step each; a series is dragged down a column once or twice
            if sum(run.step for run in column.runs) > _SERIES_MOST:
                column.runs = [run for run in column.runs if not run.step]
            if sum(run.beside for run in column.runs) > _BESIDE_MOST:
                column.runs = [run for run in column.runs if not run.beside]
            inside = sum(run.count - 1 for run in column.runs)
            alike = sum(run.count - 1 for run in column.runs if not run.step and not run.counted)
            outside = column.steps - inside
            single = len(column.runs) == 1 and column.runs[0].axis < 2 and not column.runs[0].step
            if column.digit > _FINE or outside < _OTHERS or (inside > _SHARE * column.steps and not single):
                continue
            if column.again - alike <= max(_SELDOM * outside, _FEW):
                told += [replace(run, digit=column.digit) for run in column.runs]
                # by chance two steps within some metres are one, of so many as the last digits there are
                chance = column.digit * (column.within + 1) / (2.0 * _WITHIN)
                if chance <= _CHANCE and len(column.pairs) <= _PAIRS and column.again <= alike + _PAIRS:
                    told += [replace(pair, digit=column.digit) for pair in column.pairs]
        return tuple(told)


def _on_line(values: Floats, start: int, end: int, metre: float) -> bool:
    """Tell whether the row before or behind those that have one value of these (n,) nearly has it too, as on a line."""
    beside = [number for number in (start - 1, end + 1) if 0 <= number < len(values)]
    return any(abs(values[number] - values[start]) * metre <= _BESIDE for number in beside)


def _even(values: Floats) -> Flags:
    """Return (n - 1,) which steps from one value (n,) to the next are the following step again, and not zero."""
    steps = np.diff(values)
    # a step is another where the numbers can tell it
    again = np.abs(np.diff(steps)) <= 32 * np.finfo(np.float64).eps * np.nanmax(np.abs(values), initial=1.0)
    return np.concatenate([again & (steps[1:] != 0.0), [False]])


def _stretches(which: Flags, least: int) -> list[tuple[int, int]]:
    """Return where ``which`` is true ``least`` times in a row and more, each by its start and its end."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], which, [False]]).astype(np.int8)))
    return [(int(start), int(stop)) for start, stop in edges.reshape(-1, 2) if stop - start >= least]
