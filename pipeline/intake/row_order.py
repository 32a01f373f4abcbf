"""Finds rows whose times contradict the order of their file: mistyped, without a new date at midnight, or 12-hour.

Judged are the readings of one export and base id, in the order of the file or against it. What lies before a reading
and is later than it by more than `JITTER` ends a run. Of two runs that follow one another either the last rows of the
former are too late, or the first ones of the latter too early: the fewer are taken to be. Where these are a tenth of
the rows at most, rows are out of order if those before and behind them run on, which they do not where a file is made
of blocks. Larger parts are told where `moved_blocks` knows them; else the file was sorted by something else, and
nothing is said of it.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import tzinfo
from functools import partial

import numpy as np
import pyarrow as pa
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Integers
from pipeline.clock import DAY, HOUR, MINUTE, moment
from pipeline.intake.ledger import CANDIDATE, NAMED, SOUND, ReadingRows
from pipeline.intake.moved_blocks import Jumps, Moved, Order, moved_blocks, of_another_crew
from pipeline.intake.row_sorting import Sorting
from pipeline.read.exports import Export
from pipeline.read.restarted_clocks import JITTER, RUNS_ON, dates, is_afternoon, of_twelve, turn
from pipeline.read.times import clock
from pipeline.replace import replace
from pipeline.sessions.attach import SessionIndex
from pipeline.tables import milliseconds

#: Rows out of order are one in so many at most where nothing is asked but that those around them run on.
_IN_ORDER = 10
#: Runs beyond which a file is not in order, whatever its size; and rows in one of them for so many, else two.
_MOST, _PER_BREAK = 40, 50
#: Rows of a sequence from which a block of any size is looked for in it.
_LEAST = 6
#: Rows of a sequence beyond which it is not looked at: they are held while it is.
_LARGEST = 2_000_000
#: Milliseconds by which a row is out of order that changes no session, before it is told, and how many at most.
_TOLD, _FEW = HOUR, 2
#: Rows that a session names count so much: where they lie is said by the job.
_SAID = 5
#: Of two sets of rows that may be out of order the other is in doubt as well up to so many times the lighter.
_EITHER = 4


class Astray(Struct, frozen=True, kw_only=True):
    """Rows of an export that are out of its order.

    Args:
        export: its number.
        row, last_row: in the file, of the first and the last of them.
        count: how many.
        first, last: UTC milliseconds of these two.
        before, behind: rows and times of the neighbours, None where the file ends.
        session: of the first of those that are in another session by their time than by their place; else of the first.
        place: the session of the neighbours.
        doubted: sessions that have readings which may belong to others, none where no session changes by it.
        wrapped: milliseconds by which the rows are early, where a clock or a date went on from the beginning; else 0.
        lag: milliseconds, whole days or hours, with which the rows would run on from those around them; else 0.
    """

    export: int
    row: int
    last_row: int
    count: int
    first: int
    last: int
    before: tuple[int, int] | None
    behind: tuple[int, int] | None
    session: int
    place: int
    doubted: tuple[int, ...]
    wrapped: int = 0
    lag: int = 0


class _Sequence(Struct, frozen=True):
    """Readings of one ``export`` and ``base`` id: (n,) their numbers, times, sessions and flags, in some order.

    ``rows`` is every reading of the job, which the numbers count.
    """

    export: int
    base: str | None
    rows: ReadingRows
    number: Integers
    time: Integers
    session: NDArray[np.int32]
    flags: NDArray[np.uint16]

    def __len__(self) -> int:
        return len(self.time)

    def turned(self) -> "_Sequence":
        """Return the same from the last to the first."""
        return replace(
            self,
            number=self.number[::-1],
            time=self.time[::-1],
            session=self.session[::-1],
            flags=self.flags[::-1],
        )

    def source_rows(self, places: slice | Sequence[int]) -> Integers:
        """Return (k,) the rows in their file of the readings at some places."""
        return self.rows.source_row(self.number[places])

    def neighbour(self, place: int) -> tuple[int, int] | None:
        """Return the row in its file and the time of the reading at a place; None beyond the ends."""
        if not 0 <= place < len(self):
            return None
        return int(self.source_rows([place])[0]), int(self.time[place])

    def weight(self, which: range) -> int:
        """Return how much the readings at some places count, by which the lighter of two sets is out of order."""
        named = np.count_nonzero(self.flags[which.start : which.stop] & NAMED)
        return len(which) + (_SAID - 1) * int(named)

    def astray(self, which: range, among: Flags, place: int, doubted: tuple[int, ...]) -> Astray:
        """Return rows out of order: those ``among`` (k,) ``which``, and the session of their place."""
        mine = np.flatnonzero(among) + which.start
        ordered = np.sort(self.number[mine])
        row, last_row = (int(each) for each in self.rows.source_row(ordered[[0, -1]]))
        first, last = (int(self.time[self.number == number][0]) for number in ordered[[0, -1]].tolist())
        neighbours = sorted(filter(None, (self.neighbour(which.start - 1), self.neighbour(which.stop))))
        return Astray(
            export=self.export,
            row=row,
            last_row=last_row,
            count=len(mine),
            first=first,
            last=last,
            before=next((each for each in neighbours if each[0] < row), None),
            behind=next((each for each in neighbours[::-1] if each[0] > row), None),
            session=int(self.session[mine[0]]),
            place=place,
            doubted=doubted,
        )

    def of_block(self, block: Moved) -> Astray:
        """Return a block of rows at a wrong time as rows out of order."""
        sessions = self.session[block.rows.start : block.rows.stop][block.changed]
        doubted = tuple(np.unique(sessions).tolist()) if block.certain else ()
        return replace(self.astray(block.rows, block.changed, block.place, doubted), lag=block.lag)


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

    def out_of_order(self, rows: ReadingRows, again: Integers, bases: Sequence[str | None]) -> tuple[Astray, ...]:
        """Return the rows out of order.

        Args:
            rows: every reading.
            again: (k,) numbers of those that repeat another.
            bases: base ids by the number that `ReadingRows` has for each.
        """
        counts = rows.counts()
        ends = np.cumsum(counts)
        astray: list[Astray] = []
        for number in np.flatnonzero(counts >= _IN_ORDER).tolist():
            sorting = self._sorting[number]
            if sorting.by_name or sorting.by_codes:
                continue
            here = slice(int(ends[number] - counts[number]), int(ends[number]))
            for sequence in self._sequences(rows, here, again, number, bases):
                astray += self._astray(sequence)
        return tuple(astray)

    def _sequences(
        self, rows: ReadingRows, here: slice, again: Integers, export: int, bases: Sequence[str | None]
    ) -> Iterator[_Sequence]:
        """Yield the readings of an export by base id, of those ids whose times go back; most files have none."""
        sound: Flags = (rows.flags[here] & SOUND) != 0
        repeated = again[(again >= here.start) & (again < here.stop)] - here.start
        sound[repeated] = False
        steps: dict[int, Integers] = {}  # of each id rows, steps back, steps forward
        last: dict[int, int] = {}
        for time, base, _ in _pieces(rows, here, sound):
            order = np.argsort(base, kind="stable")
            codes, begins = np.unique(base[order], return_index=True)
            for code, own in zip(codes.tolist(), np.split(time[order], begins)[1:], strict=True):
                if code in last:
                    own = np.concatenate([[last[code]], own])
                last[code] = int(own[-1])
                step = np.diff(own)
                counted = np.array([len(step), (step < -JITTER).sum(), (step > JITTER).sum()])
                steps[code] = steps.get(code, np.zeros(3, np.int64)) + counted
        back = [code for code, (n, *ways) in steps.items() if ways[0] and min(ways) <= _most(n) and n < _LARGEST]
        for some in _together(sorted(back), steps):
            pieces = []
            for time, base, which in _pieces(rows, here, sound):
                theirs = np.isin(base, some)
                pieces.append((base[theirs], time[theirs], which[theirs]))
            of_base, times, numbers = (np.concatenate(parts) for parts in zip(*pieces, strict=True))
            order = np.argsort(of_base, kind="stable")
            for own in np.split(order, np.flatnonzero(np.diff(of_base[order])) + 1):
                yield _Sequence(
                    export=export,
                    base=bases[int(of_base[own[0]])],
                    rows=rows,
                    number=numbers[own],
                    time=times[own],
                    session=rows.session[numbers[own]],
                    flags=rows.flags[numbers[own]],
                )

    def _astray(self, sequence: _Sequence) -> Iterator[Astray]:
        sorting = self._sorting[sequence.export]
        for readings in (sequence, sequence.turned()):
            wrapped, time = list[tuple[int, int, int]](), readings.time
            if readings is sequence:
                wrapped, time = _wraps(readings, self.exports[sequence.export])
            breaks = _breaks(time)
            if breaks is None:
                continue
            sets = [_sets(readings, time, *edges) for edges in breaks]
            out = sum(min((len(which) for which in both), default=0) for both in sets)
            order = None if sorting.grouped else self._order(readings, time)
            if out * _IN_ORDER > len(readings):
                moved = [
                    block for edges, both in zip(breaks, sets, strict=True) for block in _moved(order, edges, both)
                ]
                if not moved:
                    continue
                yield from (readings.of_block(block) for block in moved)
                return
            for start, stop, by in wrapped:
                yield self._wrap(readings, start, stop, by)
            blocks = _blocks(breaks, sets, len(readings))
            for number, (edges, both) in enumerate(zip(breaks, sets, strict=True)):
                crew = partial(_of_another_crew, order, edges[1])
                astray = [] if number in blocks else [*_out_of_order(readings, time, both, sorting.by_code, crew)]
                moved = [] if any(rows.doubted for rows in astray) else _moved(order, edges, both)
                if moved and (moved[0].certain or not astray):
                    astray = [readings.of_block(moved[0])]
                yield from astray
            return

    def _order(self, readings: _Sequence, time: Integers) -> Order:
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

    def _wrap(self, readings: _Sequence, start: int, stop: int, by: int) -> Astray:
        """Return rows that a clock which began again has written."""
        then = self.index.attach(
            readings.time[start:stop] + by, pa.array([readings.base] * (stop - start), pa.string())
        )
        now = readings.session[start:stop]
        changed = (then >= 0) & (then != now)
        first = int(np.argmax(changed))
        doubted = tuple(np.unique(now[changed]).tolist())
        row, last = (int(each) for each in readings.source_rows([start, stop - 1]))
        return Astray(
            export=readings.export,
            row=row,
            last_row=last,
            count=stop - start,
            first=int(readings.time[start]),
            last=int(readings.time[stop - 1]),
            before=readings.neighbour(start - 1),
            behind=readings.neighbour(stop),
            session=int(now[first]),
            place=int(then[first]),
            doubted=doubted,
            wrapped=by,
        )


def _together(back: Sequence[int], steps: Mapping[int, Integers]) -> Iterator[list[int]]:
    """Yield base ids as they are gone through together: with no more readings than one may have, or one alone."""
    some: list[int] = []
    held = 0
    for code in back:
        held += int(steps[code][0]) + 1
        if some and held > _LARGEST:
            yield some
            some, held = [], int(steps[code][0]) + 1
        some.append(code)
    if some:
        yield some


def _pieces(rows: ReadingRows, here: slice, sound: Flags) -> Iterator[tuple[Integers, NDArray[np.int16], Integers]]:
    """Yield times, numbers of base ids and numbers of the sound readings of an export, piece by piece."""
    for place, (time, base) in rows.columns.pieces("time", "base"):
        start, stop = max(place.start, here.start), min(place.stop, here.stop)
        if start < stop:
            which = np.flatnonzero(sound[start - here.start : stop - here.start])
            own = slice(start - place.start, stop - place.start)
            yield time[own][which], base[own][which], which + start


def _ahead(export: Export, times: Integers) -> Integers:
    """Return (n,) milliseconds by which the clock of an export is ahead of UTC, one and the same in every hour."""
    kind = clock(export.points.time_zone, None).kind if export.bare_time is not None else None
    if isinstance(kind, tzinfo):
        hours, place = np.unique(times // HOUR, return_inverse=True)
        east = [moment(hour * HOUR).astimezone(kind).utcoffset() for hour in hours.tolist()]
        found = np.array([0 if each is None else round(each.total_seconds() * 1000) for each in east], np.int64)
        return np.asarray(found[place.ravel()])
    return np.full(len(times), (kind or 0) * MINUTE, np.int64)


def _most(rows: int) -> int:
    """Return how many breaks the order of so many rows may have."""
    return min(_MOST, max(_FEW, rows // _PER_BREAK))


def _breaks(time: Integers) -> list[tuple[int, int, int]] | None:
    """Return start, break and end of each two runs (places in ``time``), None where there are too many of them."""
    most = _most(len(time))
    starts = [0]
    while True:
        own = time[starts[-1] :]
        back = own < np.maximum.accumulate(own) - JITTER
        if not back.any():
            break
        if len(starts) > most:
            return None
        starts.append(starts[-1] + int(np.argmax(back)))
    edges = [*starts, len(time)]
    return list(zip(edges, edges[1:], edges[2:], strict=False))


def _sets(readings: _Sequence, time: Integers, start: int, at: int, stop: int) -> list[range]:
    """Return the rows of two runs that are too late or too early, the lighter ones first."""
    former, latter = time[start:at], time[at:stop]
    fitting = np.flatnonzero(former <= latter[0] + JITTER)
    late = range(start + int(fitting[-1]) + 1 if len(fitting) else start, at)
    after = latter >= former.max() - JITTER
    early = range(at, at + int(np.argmax(after)) if after.any() else stop)
    return sorted((late, early), key=readings.weight)


def _blocks(breaks: list[tuple[int, int, int]], sets: list[list[range]], rows: int) -> set[int]:
    """Return the breaks at both ends of a short run that is out of order at both: of another receiver, most likely."""
    found: set[int] = set()
    for number, ((_, start, stop), one, other) in enumerate(zip(breaks, sets, sets[1:], strict=False)):
        if one[0].start == start and other[0].stop == stop and (stop - start) * _IN_ORDER <= rows:
            found |= {number, number + 1}
    return found


def _moved(order: Order | None, edges: tuple[int, int, int], both: list[range]) -> list[Moved]:
    """Return the likeliest block of rows at a wrong time that two runs may come of."""
    found = [*moved_blocks(order, *edges, both)] if order and len(order.time) >= _LEAST else []
    return sorted(found, key=lambda each: not each.certain)[:1]


def _of_another_crew(order: Order | None, at: int, which: range) -> bool:
    return order is not None and len(which) > _FEW and of_another_crew(order, which, at)


def _out_of_order(
    readings: _Sequence,
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


def _judged(readings: _Sequence, time: Integers, which: range, by_code: bool) -> Astray | None:
    """Return rows as out of order, where those beside them run on and none stands on a mark; else None."""
    start, stop, n = which.start, which.stop, len(readings)
    here = slice(start, stop)
    free = (readings.flags[here] & (NAMED | CANDIDATE)) == 0
    beside = [place for place in (start - 1, stop) if 0 <= place < n]
    if not len(which) or len(which) * _IN_ORDER > n or not free.any() or not beside:
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


def _wraps(readings: _Sequence, export: Export) -> tuple[list[tuple[int, int, int]], Integers]:
    """Return start, stop and milliseconds of rows whose clock or date went on from the beginning, and times without.

    The rows run on from those before them once they are half a day or a day later, on the one date that the file says.
    A day it is where dates stand in a column of their own, half a day by `is_afternoon` where the whole file has no
    hour but those of a 12-hour clock.
    """
    local = readings.time + _ahead(export, readings.time)
    time, twelve, dated = readings.time.copy(), of_twelve(local), export.points.columns.date is not None
    wraps = []
    for start, stop in dates(local):
        own = local[start:stop]
        if (at := turn(own)) is None:
            continue
        if dated and -JITTER <= own[at] - own[at - 1] + DAY <= RUNS_ON:
            by = DAY
        elif twelve and is_afternoon(own, at):
            by = DAY // 2
        else:
            continue
        wraps.append((start + at, stop, by))
        time[start + at : stop] += by
    return wraps, time
