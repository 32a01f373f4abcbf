"""Heights, or eastings with northings, that were moved by one row in a spreadsheet, by how they fit the ground.

A cell inserted or deleted leaves a row without one, or two rows in a row that have the same. From there on rows have
the height of the row above, or below. Either trace alone says little: some rows are measured without a height, and on
flat ground heights agree by chance. Told are those beside which the heights make a ground that is far more likely if
they are moved back by one row. Ground is a random surface with a correlation that falls off with distance, and with
noise; its scales are those that suit best, for the heights as they are and for those moved back alike.
"""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.intake.positions import local_metres, raw_positions
from pipeline.intake.sifted_batch import SiftedBatch
from pipeline.read.exports import Export

#: Rows that were moved, at the least and as far as is tried; rows on either side of a trace that are looked at; and how
#: many rows an export has at the most in which that is not looked for.
_LEAST, _MOST, _AROUND, _SMALL = 4, 64, 75, 14
#: By how much more likely the ground is with the heights moved back, as a natural logarithm: in all, and by
#: row, since sections that are walked across a slope are a little so for any rows. Ours, no source.
_SURE, _EACH = 20.0, 0.7
#: The part of that by which rows beside them may become more likely too, moved likewise.
_BESIDE = 0.25
#: How far heights are alike, in usual distances to the nearest place; what part of their spread is noise.
_REACH, _NOISE = (4.0, 12.0, 40.0), (1e-4, 3e-3, 0.1)
#: Metres: two rows with one height lie apart by more; heights are no better than this, and places told apart from here.
_ELSEWHERE, _DIGIT, _APART = 2.0, 3e-3, 0.5
#: Rows that lack a number, and pairs with one, that are looked at: in exports with more they are ordinary.
_BLANKS, _PAIRS, _SHARE = 3, 8, 0.03


class MovedCells(Struct, frozen=True):
    """Rows of an export with the height, or the place, of the row beside them.

    ``trace`` is the row, by its number in the file, at which it shows: ``blank`` tells whether that lacks the number,
    else it and the next have one. ``plan`` is whether places were moved rather than heights, ``down`` whether towards
    the end of the file, ``count`` about how many rows have the number of another, ``sessions`` those that they are in.
    """

    export: int
    trace: int
    blank: bool
    plan: bool
    down: bool
    count: int
    sessions: tuple[int, ...]


class MovedColumns(Struct):
    """Collects, batch by batch, rows whose heights or places seem to be those of the rows beside them.

    A batch is looked at with the first rows of the next one: ``kept`` is the last batch of an export, behind some rows
    of the one before, ``looked`` so many.
    """

    told: list[MovedCells] = field(default_factory=list)
    number: int = -1
    kept: "_Rows | None" = None
    looked: int = 0

    def take(self, sifted: SiftedBatch) -> None:
        """Look at the readings of a batch that are sound and stand on no mark."""
        batch, number, export = sifted.batch, sifted.number, sifted.export
        if number != self.number:
            self._end()
            self.number = number
        if export.points.columns.z is not None:
            return
        row = np.asarray(batch.column("source_row"), np.int64)
        rows = _Rows(export, np.column_stack(raw_positions(batch)), row, sifted.free, sifted.session)
        if self.kept is None:
            self.kept = rows
            return
        until = len(self.kept.row)
        self.told += self.kept.with_more(rows.part(0, _AROUND)).moved(number, self.looked, until)
        before = self.kept.part(max(until - _AROUND, 0), until)
        self.kept, self.looked = before.with_more(rows), len(before.row)

    def found(self) -> tuple[MovedCells, ...]:
        """Return all that was found."""
        self._end()
        return tuple(self.told)

    def _end(self) -> None:
        """Look at what is left of an export, and forget it."""
        if self.kept is not None:
            self.told += self.kept.moved(self.number, self.looked, len(self.kept.row))
        self.kept, self.looked = None, 0


class _Rows(Struct, frozen=True):
    """Rows of an export in the order of the file: ``raw`` (n, 3) as given, their numbers in it, which are ``sound``.

    Sound are those alone that stand on no mark.
    """

    export: Export
    raw: Floats
    row: Integers
    sound: Flags
    session: NDArray[np.int32]

    def with_more(self, other: "_Rows") -> "_Rows":
        """Return them with others behind them."""
        return _Rows(
            self.export,
            np.concatenate([self.raw, other.raw]),
            np.concatenate([self.row, other.row]),
            np.concatenate([self.sound, other.sound]),
            np.concatenate([self.session, other.session]),
        )

    def part(self, begin: int, end: int) -> "_Rows":
        """Return those from one place up to another."""
        here = slice(begin, end)
        return _Rows(self.export, self.raw[here], self.row[here], self.sound[here], self.session[here])

    def moved(self, number: int, begin: int, end: int) -> Iterator[MovedCells]:
        """Yield what shows at rows ``begin`` up to ``end`` of an export of that ``number``."""
        raw, sound = self.raw, self.sound
        if np.count_nonzero(sound) <= _SMALL:
            return
        known = np.isfinite(raw)
        lacking = ((False, known[:, 0] & known[:, 1] & ~known[:, 2]), (True, ~known[:, 0] & ~known[:, 1] & known[:, 2]))
        rows = np.flatnonzero(sound)
        steps = np.flatnonzero(np.diff(raw[rows, 2]) == 0.0)
        twice = np.flatnonzero((np.diff(raw[rows, :2], axis=0) == 0.0).all(axis=1) & (np.diff(raw[rows, 2]) != 0.0))
        if not len(steps) and not len(twice) and not any(lacks.any() for _, lacks in lacking):
            return
        place = np.column_stack(local_metres((raw[:, 0], raw[:, 1], raw[:, 2]), self.export))
        apart = np.hypot(*(place[rows[steps + 1], :2] - place[rows[steps], :2]).T)
        pairs = rows[steps[apart > _ELSEWHERE]]
        looked = [(at, True, plan) for plan, lacks in lacking for at in _few(np.flatnonzero(lacks), _BLANKS)]
        most = int(min(_PAIRS, max(_SHARE * len(rows), 2)))
        looked += [
            (at, False, plan) for plan, found in ((False, pairs), (True, rows[twice])) for at in _few(found, most)
        ]
        for trace, blank, plan in looked:
            if not begin <= trace < end:
                continue
            here = np.flatnonzero(sound | (np.arange(len(sound)) == trace))
            at = int(np.searchsorted(here, trace))
            here, at = here[max(at - _AROUND, 0) : at + _AROUND], min(at, _AROUND)
            found = max(_moved_back(place[here], at, blank, plan), default=None)
            if found is not None and found[0] >= max(_SURE, _EACH * found[2]):
                _, down, count = found
                some = here[at : at + count + 1] if down else here[max(at - count, 0) : at + 1]
                of = tuple(np.unique(self.session[some[sound[some]]]).tolist())
                yield MovedCells(number, int(self.row[trace]), blank, plan, down, count, of)


def _few(which: Integers, most: int) -> list[int]:
    return which.tolist() if len(which) <= most else []


def _moved_back(place: Floats, at: int, blank: bool, plan: bool) -> Iterator[tuple[float, bool, int]]:
    """Yield how much more likely the ground is with rows moved back, whether they were moved down, and how many.

    Args:
        place: (n, 3) metres, in the order of the file.
        at: the row that lacks a height, or a place if ``plan``; or the first of two with the same.
        blank: whether it lacks one.
        plan: what was moved.
    """
    ground = _Ground(place)
    for step in (1, -1):
        # of two with the same the first has its own where cells were moved down, and the second else
        begin = at if blank or step < 0 else at + 1
        # of two with one place one is enough, whichever heights they have
        missing, place_lost = [at] if blank else [], [at if blank else begin - step] if plan else []
        starts = [(begin + step * int(blank and plan), count) for count in range(_LEAST, _MOST + 1)]
        move = _Move(ground, place, -step if plan else step, step, missing, place_lost)
        more = move.more_likely(starts)
        best = int(np.argmax(more))
        count = starts[best][1]
        # where rows that were not moved fit better moved as well, or there are none, the ground is of another kind
        others = [(begin - step * (many + 2), many) for many in range(_LEAST, count + 1)]
        beside = move.more_likely(others)
        if not np.isfinite(beside).any():
            others = [(begin + step * (count + 2), many) for many in range(_LEAST, _MOST + 1)]
            beside = move.more_likely(others)
        if np.isfinite(more[best]) and np.isfinite(beside).any() and float(beside.max()) <= _BESIDE * float(more[best]):
            yield float(more[best]), step > 0, count


class _Move(Struct, frozen=True):
    """Rows moved by one that are moved back.

    Args:
        ground: what judges.
        place: (n, 3) metres.
        back: how many rows on the height of each stands.
        step: 1 or -1, by which rows of a stretch are counted on.
        missing: rows that are left out.
        place_lost: rows left out for that their place was lost; where none was, the last height of each stretch was.
    """

    ground: "_Ground"
    place: Floats
    back: int
    step: int
    missing: list[int]
    place_lost: list[int]

    def more_likely(self, stretches: list[tuple[int, int]]) -> Floats:
        """Return (c,) how much more likely the ground is with stretches moved back, -inf where they leave the rows.

        Of each its begin and how many rows it has.
        """
        cases, moved_back, out = list[int](), list[Floats](), list[list[int]]()
        other_out: list[list[int]] = []
        for number, (begin, count) in enumerate(stretches):
            moved = begin + self.step * np.arange(count)
            beyond, ends = int(moved[-1]) + self.step, (int(moved[0]), int(moved[-1]))
            if not all(0 <= end + more < len(self.place) for end in (*ends, beyond) for more in (0, self.back)):
                continue
            heights = self.place[:, 2].copy()
            heights[moved] = self.place[moved + self.back, 2]
            cases.append(number)
            moved_back.append(heights)
            # the last height of moved places has none: it, and the one before it, would be explained away by that
            end = int(moved[-1])
            out.append(
                sorted({*self.missing, *self.place_lost, end}) if self.place_lost else sorted({*self.missing, beyond})
            )
            other_out.append(sorted({*self.missing, *self.place_lost, end - self.step}) if self.place_lost else out[-1])
        more = np.full(len(stretches), -np.inf)
        # a row that lacks its height is the one beyond of a stretch that ends before it
        for size in {len(rows) for rows in out}:
            which = [at for at, rows in enumerate(out) if len(rows) == size]
            left_out = np.array([out[at] for at in which])
            likely = self.ground.likely(np.array([moved_back[at] for at in which]), left_out)
            as_is = self.ground.likely(self.place[None, :, 2], left_out)
            if self.place_lost:
                as_is = np.maximum(
                    as_is, self.ground.likely(self.place[None, :, 2], np.array([other_out[at] for at in which]))
                )
            more[[cases[at] for at in which]] = likely - as_is
        return more


class _Ground:
    """The likelihood of heights at places (n, 3) [m], of which a row or two may lack the place or the height."""

    def __init__(self, place: Floats) -> None:
        known, whole = np.isfinite(place[:, 0]), np.isfinite(place).all(axis=1)
        plan = np.where(known[:, None], place[:, :2] - place[whole, :2].mean(axis=0), 0.0)
        apart = np.hypot(*(np.subtract.outer(values, values) for values in plan.T))
        # a place that is not known is near no other
        apart[~known], apart[:, ~known] = np.inf, np.inf
        nearest = np.where(np.eye(len(plan), dtype=bool), np.inf, apart).min(axis=1)
        usual = max(float(np.median(nearest[known])), _APART)
        plane = np.column_stack([np.ones(len(plan)), plan])
        self._level = plane @ np.linalg.lstsq(plane[whole], place[whole, 2], rcond=None)[0]
        own = np.eye(len(plan))
        self._inverse = [
            np.linalg.inv(np.exp(-apart / (reach * usual)) + noise * own) for reach in _REACH for noise in _NOISE
        ]

    def likely(self, heights: Floats, out: Integers) -> Floats:
        """Return (c,) logarithms of the likelihood of (c, n), or (1, n), heights [m], each at the scales that suit it.

        ``out`` are (c, d) rows that are left out.
        """
        case = np.arange(len(out))[:, None]
        up = np.broadcast_to(heights - self._level, (len(out), len(self._level))).copy()
        up[case, out] = 0.0
        many = up.shape[1] - out.shape[1]
        best = np.full(len(out), -np.inf)
        for inverse in self._inverse:
            # without some rows, by the inverse of all: a Schur complement
            weighed, theirs = up @ inverse, inverse[out[:, :, None], out[:, None, :]]
            lost = weighed[case, out]
            square = (up * weighed).sum(axis=1) - (lost * np.linalg.solve(theirs, lost[..., None])[..., 0]).sum(axis=1)
            size = np.linalg.slogdet(theirs)[1] - np.linalg.slogdet(inverse)[1]
            best = np.maximum(best, -0.5 * many * np.log(np.maximum(square, 0.0) / many + _DIGIT**2) - 0.5 * size)
        return best
