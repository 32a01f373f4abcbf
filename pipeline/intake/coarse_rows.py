"""Readings that were written with fewer digits than chance explains: all of an export, or some among finer ones.

A number that ends in a zero looks as if it had a digit less once a spreadsheet, or a file of numbers, has dropped the
zero. Of numbers that were written with k decimals or more, whatever mix of them, a tenth of those that show k at the
most show k - 1 at the most, a hundredth k - 2, and so on; what is far beyond that was cut.

Points that were set out lie on round coordinates, and some of their readings fall on these to the last digit. Then many
others lie a few millimetres beside, whereas the places around numbers that were cut are as empty as any.
"""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates.decimals import Codes, height_levels, metres_of, plan_levels, plan_step
from pipeline.geodesy import crs
from pipeline.geodesy.own_places import own_plan
from pipeline.intake.file_log import FileLog
from pipeline.intake.ledger import CANDIDATE, PLACEHOLDER, ReadingRows
from pipeline.intake.prepare import Prepared
from pipeline.plausible.chance import log_of_so_many
from pipeline.read.columns import lengths_of
from pipeline.sphere import DEGREE

#: Readings of an export below which it says nothing of its digits; of so many not all end in a zero by chance.
_ENOUGH = 6
#: Chance, as a logarithm, below which it is no chance.
_CHANCE = float(np.log(1e-6)) + 1e-9
#: Chance below which a session is one of those that have what its export has.
_HERE = float(np.log(1e-2))
#: What is counted of each reading: the codes of east, of north, of the finer of both, and upwards.
_EAST, _NORTH, _BOTH, _UP = range(4)
#: Readings that are looked at closely, coarse ones and others.
_CLOSELY = 1 << 17
#: Metres around a height within which others are of the same water or slab: how many there are of such at least, also
#: for each that is coarse, and how many times as many as in as much above and below. Ours, no source.
_LEVEL, _WATER, _BESIDE, _MORE = 0.03, 2, 0.2, 2
#: Metres around a round coordinate within which readings of points set out on it lie, and how many times as many lie
#: there as a little further away, of so many at least.
_SET_OUT, _BELL, _SOME = 0.03, 3, 6
#: How many readings of such points may be round for each that is not, and for each with a neighbouring last digit, in a
#: bell that is millimetres wide; both where last digits are worth less than so many metres, and more.
_CENTIMETRES, _ROUND = 0.005, ((1.0, 2.5), (10.0, 20.0))
#: How many may be so by chance.
_FEW = 2
#: Metres of a last digit below which no neighbours are counted.
_MILLIMETRE = 1e-3
#: Degrees, a decimetre, within which readings are of one place: a point measured again and again has one coordinate.
_PLACE = 1e6


class CoarseRows(Struct, frozen=True):
    """Readings of one export that are written coarsely, in plan or in height.

    Args:
        export: its number.
        height: whether it is heights that are so, rather than positions.
        sessions: the sessions in which they are, ascending.
        count: how many readings these are, of ``of`` in the export.
        digit: metres that their last digits are worth at the most often seen: east and north, or the height and zero;
            zero where that coordinate is not concerned. Degrees are taken at the equator.
        row: the number in the file of the first.
        on_marks: those of ``sessions`` of which readings that may stand on marks are such.
        whole: those of ``sessions`` of which every other reading is such.
    """

    export: int
    height: bool
    sessions: tuple[int, ...]
    count: int
    of: int
    digit: tuple[float, float]
    row: int
    on_marks: tuple[int, ...]
    whole: tuple[int, ...]


def find_coarse(
    rows: ReadingRows, counting: Flags, prepared: Prepared, files: Sequence[FileLog]
) -> tuple[CoarseRows, ...]:
    """Return the readings that are written coarsely beside the tolerances of checks.

    Args:
        rows: every reading.
        counting: (n,) which of them are sound and no repeats.
        prepared: the job.
        files: what is noted of each export.
    """
    counts = _counts(rows, counting)
    found = []
    for number in range(len(prepared.exports)):
        of_sessions = counts.get(number, {})
        if not of_sessions or sum(int(each[_EAST].sum()) for each in of_sessions.values()) < _ENOUGH:
            continue
        looked = _Export(rows, counting, prepared, number, files[number], of_sessions)
        found += [one for height in (False, True) if (one := looked.coarse(height)) is not None]
    return tuple(found)


def _counts(rows: ReadingRows, counting: Flags) -> dict[int, dict[int, Integers]]:
    """Return by export and session (4, 256) how many readings that count have each code."""
    found: dict[int, dict[int, Integers]] = defaultdict(dict)
    for at, (east, north, up) in rows.columns.pieces("east", "north", "up"):
        export = int(rows.export(np.array([at.start]))[0])
        here, session = counting[at], rows.session[at]
        real = here & ((rows.flags[at] & PLACEHOLDER) == 0)
        if not here.any():
            continue
        lowest = int(session[here].min())
        size = int(session[here].max()) - lowest + 1
        key = (session.astype(np.int32) - lowest) << 8
        counted = np.stack(
            [
                np.bincount(key[which] | codes[which], minlength=size << 8).reshape(size, 256)
                for codes, which in ((east, here), (north, here), (np.maximum(east, north), here), (up, real))
            ],
            axis=1,
        )
        for place in np.flatnonzero(counted[:, _EAST].any(axis=1)).tolist():
            own = found[export].setdefault(lowest + place, np.zeros((4, 256), np.int64))
            own += counted[place]
    return found


class _Close(Struct, frozen=True):
    """Readings of an export, (k,): some thousands of the coarse ones of an axis and of the others.

    ``values`` (a, k) are the coordinates of the axis, east and north of both, where these are known: degrees or metres.
    ``place`` is one number for the place of each.
    """

    session: NDArray[np.int32]
    codes: Codes
    values: Floats
    place: Integers


class _Export:
    """One export, of which ``counts`` are by session (4, 256) readings by code."""

    def __init__(
        self,
        rows: ReadingRows,
        counting: Flags,
        prepared: Prepared,
        number: int,
        log: FileLog,
        counts: dict[int, Integers],
    ) -> None:
        self.rows, self.counting, self.number, self.log, self.counts = rows, counting, number, log, counts
        points, tolerance = prepared.exports[number].points, prepared.loaded.job.checks
        self.degrees = crs.kind_of(crs.source_crs(points.crs or "")) == "geographic"
        self.crs, self.counted, self.sexagesimal = points.crs or "", lengths_of(points), points.angles == "dms"
        plan = plan_levels(None if self.degrees else self.counted.plan, self.sexagesimal)
        self.levels = {_EAST: plan, _NORTH: plan, _BOTH: plan, _UP: height_levels(self.counted.up)}
        shrunk = log.parallel() if self.degrees else 1.0
        #: metres of a last digit of which half is as much as half of the tolerance
        self.limits = {
            _EAST: tolerance.horizontal / shrunk,
            _NORTH: tolerance.horizontal,
            _BOTH: tolerance.horizontal / float(np.hypot(shrunk, 1.0)),
            _UP: tolerance.vertical,
        }

    def coarse(self, height: bool) -> CoarseRows | None:
        """Return the readings whose heights, or else whose positions, are coarse; None where none are."""
        cut: dict[int, dict[int, int]] = {}
        for axis in (_UP,) if height else (_EAST, _NORTH, _BOTH):
            if there := self._sessions(axis):
                cut[axis] = there
        if not cut:
            return None
        sessions = sorted({session for there in cut.values() for session in there})
        return self._gathered(height, cut, sessions)

    def _sessions(self, axis: int) -> dict[int, int]:
        """Return the sessions that have readings which are coarse on an axis, each with the code up to which they are.

        Looked at are all readings of the export at once, and those of each session.
        """
        every = np.sum(list(self.counts.values()), axis=0)
        log, level = self._least(every[axis], axis)
        found: dict[int, int] = {}
        if log < _CHANCE and self._stands(axis, None, every[axis]):
            for session, counts in self.counts.items():
                many, of = self._up_to(counts[axis], level), int(counts[axis].sum())
                if many and (2 * many > of or self._least(counts[axis], axis)[0] < _HERE):
                    found[session] = level
            if not found:
                found = {session: level for session, own in self.counts.items() if self._up_to(own[axis], level)}
        for session, counts in self.counts.items():
            if len(self.counts) < 2 or session in found:
                continue
            log, level = self._least(counts[axis], axis)
            if log < _CHANCE - np.log(len(self.counts)) and self._stands(axis, session, counts[axis]):
                found[session] = level
        return found

    @staticmethod
    def _up_to(counts: Integers, level: int) -> int:
        return int(counts[: level + 1].sum())

    def _least(self, counts: Integers, axis: int, fewer: dict[int, int] | None = None) -> tuple[float, int]:
        """Return the logarithm of the least chance of what readings (256,) show, and the code up to which that is.

        ``fewer`` are, by code, the coarse readings of which each says something by itself.
        """
        levels = self.levels[axis]
        harmful = levels[metres_of(levels.astype(np.uint8)) > self.limits[axis]]
        # the coarsest digit that does no harm: what is written to it, or to any finer one, is as it should be
        finest = int(levels[min(len(harmful), len(levels) - 1)])
        total, found = int(counts.sum()), (0.0, 0)
        for step, level in enumerate(harmful.tolist()):
            coarse = self._up_to(counts, level)
            many = coarse if fewer is None else fewer[level]
            # two coordinates of one reading say so much that a few tell; but an export of few says nothing
            if axis == _BOTH and coarse < _ENOUGH and total - coarse < _ENOUGH:
                continue
            of = self._up_to(counts, finest) - coarse + many
            log = log_of_so_many(many, of, 10.0 ** ((step - len(harmful)) * (2 if axis == _BOTH else 1)))
            if log < found[0]:
                found = (log, level)
        return found

    def _stands(self, axis: int, session: int | None, counts: Integers) -> bool:
        """Tell whether it is no chance either where readings that are of one place or one water count once."""
        close = self._closely(axis, session)
        levels = self.levels[axis]
        fewer = {}
        for level in levels[metres_of(levels.astype(np.uint8)) > self.limits[axis]].tolist():
            fewer[level] = min(self._by_themselves(axis, close, level), self._up_to(counts, level))
        return self._least(counts, axis, fewer)[0] < _CHANCE

    def _by_themselves(self, axis: int, close: _Close, level: int) -> int:
        """Return how many of the readings that are coarse up to a level say something by themselves."""
        which = close.codes <= level
        if not which.any():
            return 0
        if not len(close.values):
            there = np.unique(close.session[which])
            column = axis if axis < _BOTH else _EAST
            if axis != _BOTH and not (self.log.extent.high - self.log.extent.low)[there, column].any():
                return 0
            return len(np.unique(close.place[which]))
        if axis != _UP:
            return self._not_set_out(axis, close, level)
        values, many = np.unique(close.values[0][which], return_counts=True)
        others = np.sort(close.values[0][~which])
        near, double = (
            np.searchsorted(others, values + width) - np.searchsorted(others, values - width)
            for width in (_LEVEL, 2.0 * _LEVEL)
        )
        level_ones = (near >= np.maximum(_WATER, _BESIDE * many)) & (near >= _MORE * (double - near))
        if len(values) < 2:
            # whatever it is, it is no ground that was cut where not as much of the rest would be that number too
            half = metres_of(np.array([level], np.uint8)) / 2.0
            cut = np.searchsorted(others, values + half) - np.searchsorted(others, values - half) >= many
            return int(many[cut & ~level_ones].sum())
        return max(len(values), int(many[~level_ones].sum()))

    def _not_set_out(self, axis: int, close: _Close, level: int) -> int:
        """Return of how many places positions are coarse up to a level, but for points set out on round coordinates."""
        which = close.codes <= level
        finest = float(np.quantile(metres_of(close.codes[~which]), 0.25)) if not which.all() else 0.0
        step = plan_step(level, None if self.degrees else self.counted.plan, self.sexagesimal)
        alone = which.copy()
        for number, values in enumerate(close.values):
            metres = 1.0
            if self.degrees:
                metres = DEGREE * (self.log.parallel() if axis == _EAST or (axis == _BOTH and not number) else 1.0)
            within = min(_SET_OUT / metres, step / 4.0)
            digit = max(finest, _MILLIMETRE) / metres
            round_ones = _ROUND[int(finest > _CENTIMETRES)]
            alone[which] &= ~_set_out(values[which], values[~which], within, step, digit, round_ones)
        if axis != _BOTH and len(np.unique(np.rint(close.values[0][which] / step))) < 2:
            return 0
        return len(np.unique(close.place[alone]))

    def _closely(self, axis: int, session: int | None) -> _Close:
        """Return some of the readings of a session, or of all, that are coarse on an axis, and others of the export."""
        parts: list[tuple[NDArray[Any], ...]] = []
        level = int(self.levels[axis][metres_of(self.levels[axis].astype(np.uint8)) > self.limits[axis]][-1])
        room = {True: _CLOSELY, False: _CLOSELY}
        for at, counted, columns in self._pieces("longitude", "latitude", "height", "east", "north", "up"):
            longitude, latitude, height, east, north, up = columns
            codes: Codes = (east, north, np.maximum(east, north), up)[axis]
            which = counted if axis != _UP else counted & ((self.rows.flags[at] & PLACEHOLDER) == 0)
            own = which if session is None else which & (self.rows.session[at] == session)
            for coarse in (True, False):
                # those beside round coordinates may be of any day
                among = own if coarse or axis == _UP else which
                rows = np.flatnonzero(among & ((codes <= level) == coarse))[: room[coarse]]
                room[coarse] -= len(rows)
                east_of, north_of = (np.nan_to_num(each[rows]) for each in (longitude, latitude))
                place = np.rint(east_of * _PLACE).astype(np.int64) * (1 << 31)
                place += np.rint(north_of * _PLACE).astype(np.int64)
                parts.append((self.rows.session[at][rows], codes[rows], east_of, north_of, height[rows], place))
        sessions, codes, east_of, north_of, heights, place = (np.concatenate(each) for each in zip(*parts, strict=True))
        values = heights.astype(np.float64)[None]
        if axis != _UP:
            plan = own_plan(self.crs, east_of, north_of)
            first = axis if axis < _BOTH else _EAST
            values = (
                np.zeros((0, len(place))) if plan is None else np.array(plan)[first : axis + 1 if axis < _BOTH else 2]
            )
        return _Close(sessions.astype(np.int32), codes, values, place)

    def _pieces(self, *names: str) -> Iterator[tuple[slice, Flags, list[NDArray[Any]]]]:
        """Yield the pieces of the export: their place, which rows of them count, and columns."""
        for at, columns in self.rows.columns.pieces(*names):
            if int(self.rows.export(np.array([at.start]))[0]) == self.number:
                yield at, self.counting[at], columns

    def _gathered(self, height: bool, cut: dict[int, dict[int, int]], sessions: list[int]) -> CoarseRows | None:
        """Return the readings of these sessions that are coarse up to the codes of ``cut``, by axis and session."""
        limits = np.full((4, max(sessions) + 1), -1)
        for axis, there in cut.items():
            limits[axis, list(there)] = list(there.values())
        seen, marks, others, fine = np.zeros((4, 256), np.int64), set[int](), set[int](), set[int]()
        count, first = 0, 0
        for at, counted, (east, north, up, source_row) in self._pieces("east", "north", "up", "source_row"):
            session = self.rows.session[at]
            here = counted & np.isin(session, sessions)
            number = np.where(here, session, 0)
            if height:
                here = here & ((self.rows.flags[at] & PLACEHOLDER) == 0)
            coarse = np.zeros(len(here), bool)
            for axis, codes in ((_EAST, east), (_NORTH, north), (_BOTH, np.maximum(east, north)), (_UP, up)):
                which = here & (codes <= limits[axis, number])
                coarse |= which
                for one, own in ((_EAST, east), (_NORTH, north)) if axis == _BOTH else ((axis, codes),):
                    seen[one] += np.bincount(own[which], minlength=256)
            if coarse.any() and not count:
                first = int(source_row[int(np.argmax(coarse))])
            count += int(coarse.sum())
            candidate = (self.rows.flags[at] & CANDIDATE) != 0
            marks |= set(np.unique(session[coarse & candidate]).tolist())
            others |= set(np.unique(session[coarse & ~candidate]).tolist())
            fine |= set(np.unique(session[here & ~coarse & ~candidate]).tolist())
        axes = (_UP,) if height else (_EAST, _NORTH)
        digit = [_usual(seen[axis]) for axis in axes]
        every = sum(int(own[_UP if height else _EAST].sum()) for own in self.counts.values())
        return CoarseRows(
            export=self.number,
            height=height,
            sessions=tuple(sessions),
            count=count,
            of=every,
            digit=(digit[0], digit[1] if len(digit) > 1 else 0.0),
            row=first,
            on_marks=tuple(sorted(marks)),
            whole=tuple(sorted(others - fine)),
        )


def _set_out(
    coarse: Floats, others: Floats, within: float, step: float, digit: float, round_ones: tuple[float, float]
) -> Flags:
    """Return which round coordinates (n,) are of points that were set out on them, by what lies beside.

    ``others`` (m,) are finer ones. Many more lie ``within`` so much of a round one than as far again, either of this
    very one or, for coordinates that no other point has, of whatever multiple of ``step``. ``round_ones`` are how many
    may be round for each of those that lie within, and for each with a ``digit`` beside the round one.
    """
    others = np.sort(others)
    values, place, many = np.unique(np.rint(coarse / step), return_inverse=True, return_counts=True)
    around = [
        np.searchsorted(others, values * step + width) - np.searchsorted(others, values * step - width)
        for width in (digit / 4.0, within, 2.0 * within)
    ]
    near, further = around[1] - around[0], around[2] - around[1]
    found: Flags = (round_ones[0] * (near - _BELL * further) >= many)[place]
    off = np.abs(others - np.rint(others / step) * step)
    off = off[off > digit / 4.0]
    close, beyond = int(np.sum(off <= within)), int(np.sum((off > within) & (off <= 2.0 * within)))
    if close >= max(_SOME, _BELL * beyond):
        next_to = int(np.sum(off <= 1.5 * digit)) / 2.0
        if np.count_nonzero(~found) <= round_ones[1] * next_to + _FEW:
            found[:] = True
    return found


def _usual(counts: Integers) -> float:
    """Return metres of the last digit that most of the coarse readings (256,) have: coarser ones end in a zero."""
    return float(metres_of(np.array([np.argmax(counts)], np.uint8))[0]) if counts.any() else 0.0
