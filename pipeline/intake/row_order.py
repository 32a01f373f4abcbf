"""Finds rows whose times contradict the order of their file: mistyped, without a new date at midnight, or 12-hour.

Judged are the readings of one export and base id, in the order of the file or against it. What lies before a reading
and is later than it by more than `JITTER` ends a run. Of two runs that follow one another either the last rows of the
former are too late, or the first ones of the latter too early: the fewer are taken to be. Where these are a tenth of
the rows at most, rows are out of order if those before and behind them run on, which they do not where a file is made
of blocks. Larger parts are told where `moved_blocks` knows them; else the file was sorted by something else, and
nothing is said of it.
"""

from collections.abc import Callable, Iterator, Sequence
from functools import partial

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.arrays import Flags, Integers
from pipeline.clock import HOUR, MINUTE
from pipeline.intake.clock_wraps import find_wraps, wrapped_rows
from pipeline.intake.file_sequence import Astray, FileSequence
from pipeline.intake.going_back import sequences_going_back
from pipeline.intake.ledger import CANDIDATE, NAMED, ReadingRows
from pipeline.intake.moved_blocks import Jumps, Moved, Order, moved_blocks, of_another_crew
from pipeline.intake.row_sorting import Sorting
from pipeline.intake.time_runs import IN_ORDER, breaks_around_runs, find_breaks, lighter_first
from pipeline.read.exports import Export
from pipeline.read.restarted_clocks import JITTER, RUNS_ON
from pipeline.replace import replace
from pipeline.sessions.attach import SessionIndex
from pipeline.tables import milliseconds

#: Rows of a sequence from which a block of any size is looked for in it.
_LEAST = 6
#: Milliseconds by which a row is out of order that changes no session, before it is told, and how many at most.
_TOLD, _FEW = HOUR, 2
#: Of two sets of rows that may be out of order the other is in doubt as well up to so many times the lighter.
_EITHER = 4


class RowOrder:
    """Gathers how the rows of exports were sorted, and looks for those out of order in the end."""

    def __init__(self, exports: Sequence[Export], index: SessionIndex) -> None:
        self.exports, self.index = exports, index
        self._sorting = [Sorting() for _ in exports]
        self._jumps = [Jumps(JITTER) for _ in exports]

    def take(self, batch: pa.RecordBatch, number: int) -> None:
        """Take a batch of export ``number``."""
        names, codes = batch.column("name"), batch.column("code")
        self._sorting[number].take(names, codes)
        self._jumps[number].take(milliseconds(batch), names, codes, np.asarray(batch.column("source_row"), np.int64))

    def out_of_order(self, rows: ReadingRows, again: Integers) -> tuple[Astray, ...]:
        """Return the rows out of order.

        Args:
            rows: every reading.
            again: (k,) numbers of those that repeat another.
        """
        counts = rows.counts()
        ends = np.cumsum(counts)
        astray: list[Astray] = []
        for number in np.flatnonzero(counts >= IN_ORDER).tolist():
            sorting = self._sorting[number]
            if sorting.by_name or sorting.by_codes:
                continue
            here = slice(int(ends[number] - counts[number]), int(ends[number]))
            for sequence in sequences_going_back(rows, here, again, number):
                astray += self._astray(sequence)
        return tuple(astray)

    def _astray(self, sequence: FileSequence) -> Iterator[Astray]:
        sorting = self._sorting[sequence.export]
        for readings in (sequence, sequence.turned()):
            wrapped, time = list[tuple[int, int, int]](), readings.time
            if readings is sequence:
                wrapped, time = find_wraps(readings, self.exports[sequence.export])
            breaks = find_breaks(time)
            if breaks is None:
                continue
            sets = [lighter_first(readings, time, *edges) for edges in breaks]
            out = sum(min((len(which) for which in both), default=0) for both in sets)
            order = None if sorting.grouped else self._order(readings, time)
            if out * IN_ORDER > len(readings):
                moved = [
                    block for edges, both in zip(breaks, sets, strict=True) for block in _moved(order, edges, both)
                ]
                if not moved:
                    continue
                yield from (readings.of_block(block) for block in moved)
                return
            for start, stop, by in wrapped:
                yield wrapped_rows(readings, self.index, start, stop, by)
            blocks = breaks_around_runs(breaks, sets, len(readings))
            for number, (edges, both) in enumerate(zip(breaks, sets, strict=True)):
                crew = partial(_of_another_crew, order, edges[1])
                astray = [] if number in blocks else [*_out_of_order(readings, time, both, sorting.by_code, crew)]
                moved = [] if any(rows.doubted for rows in astray) else _moved(order, edges, both)
                if moved and (moved[0].certain or not astray):
                    astray = [readings.of_block(moved[0])]
                yield from astray
            return

    def _order(self, readings: FileSequence, time: Integers) -> Order:
        """Return readings as blocks are looked for in them."""
        jumps = self._jumps[readings.export]

        def attach(times: Integers) -> NDArray[np.int32]:
            return self.index.attach(times, pa.array([readings.base] * len(times), pa.string()))

        def row_at(place: int) -> int:
            return int(readings.source_rows([place - 1, place]).max())  # of a file that goes back in time the other

        def jump(place: int) -> tuple[bool, bool]:
            return row_at(place) in jumps.named, row_at(place) in jumps.coded

        def anew(place: int) -> bool:
            free = (readings.flags[[place - 1, place]] & (NAMED | CANDIDATE)) == 0
            return bool(free.all()) and row_at(place) in jumps.anew

        named: Flags = (readings.flags & NAMED) != 0
        return Order(
            time=time,
            session=readings.session,
            named=named,
            weight=readings.weight,
            attach=attach,
            jump=jump,
            anew=anew,
        )


def _moved(order: Order | None, edges: tuple[int, int, int], both: list[range]) -> list[Moved]:
    """Return the likeliest block of rows at a wrong time that two runs may come of."""
    found = [*moved_blocks(order, *edges, both)] if order and len(order.time) >= _LEAST else []
    return sorted(found, key=lambda each: not each.certain)[:1]


def _of_another_crew(order: Order | None, at: int, which: range) -> bool:
    return order is not None and len(which) > _FEW and of_another_crew(order, which, at)


def _out_of_order(
    readings: FileSequence,
    time: Integers,
    both: list[range],
    by_code: bool,
    crew: Callable[[range], bool],
) -> Iterator[Astray]:
    """Yield what is said of the rows of two runs: of the lighter ones, and in doubt with them the others if as many.

    What another ``crew`` may have measured then is not doubted.
    """
    lighter, other = both
    astray, beside = _judged(readings, time, lighter, by_code), None
    if readings.weight(other) <= _EITHER * readings.weight(lighter):
        beside = _judged(readings, time, other, by_code)
    if astray is None or (beside is not None and beside.doubted and not astray.doubted):
        astray, beside, lighter = beside, None, other
    if astray is not None and astray.doubted and crew(lighter):
        astray = replace(astray, doubted=())
    if astray is not None:
        yield astray if beside is None else _with(astray, beside)


def _with(astray: Astray, beside: Astray) -> Astray:
    doubted = tuple(sorted({*astray.doubted, *beside.doubted})) if astray.doubted else ()
    return replace(astray, doubted=doubted)


def _judged(readings: FileSequence, time: Integers, which: range, by_code: bool) -> Astray | None:
    """Return rows as out of order, where those beside them run on and none stands on a mark; else None."""
    start, stop, n = which.start, which.stop, len(readings)
    here = slice(start, stop)
    free = (readings.flags[here] & (NAMED | CANDIDATE)) == 0
    beside = [place for place in (start - 1, stop) if 0 <= place < n]
    if not len(which) or len(which) * IN_ORDER > n or not free.any() or not beside:
        return None
    near = readings.session[beside]
    changed = free & ~np.isin(readings.session[here], near)
    apart = np.abs(time[here, None] - time[None, beside]).min(axis=1)
    if len(beside) == 2:
        step = int(time[stop] - time[start - 1])
        runs_on = step >= -MINUTE and (step <= RUNS_ON or near[0] == near[1])
        moved = np.ptp(time[here]) <= step + 2 * JITTER  # all by as much, as by a clock
        if not runs_on or (len(which) > _FEW and not moved):
            return None
    elif len(which) > 1 or by_code or not changed.any():  # a block of its own
        return None
    if not changed.any() and (len(which) > _FEW or not (apart[free] >= _TOLD).any()):
        return None
    doubted = tuple(np.unique(readings.session[here][changed]).tolist()) if len(beside) == 2 else ()
    return readings.astray(which, changed if changed.any() else free, int(near[0]), doubted)
