"""Compares the heights of one session's readings with one another, with the marks and with the ground around."""

from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates.decimals import metres_of
from pipeline.intake.by_session import OfSession, Placed
from pipeline.intake.far_out import Findings, PositionLook, length_in_words, look_in_brackets
from pipeline.intake.ledger import CANDIDATE, PLACEHOLDER, ReadingRows
from pipeline.intake.like_heights import LikeHeights
from pipeline.intake.prepare import Prepared
from pipeline.plausible import (
    Fence,
    HeightJump,
    JumpLook,
    Levels,
    MarksApart,
    OffNeighbours,
    Steep,
    SteppedRun,
    height_jumps,
    height_looks,
    levels,
    marks_apart,
    off_neighbours,
    out_of_place,
    rises,
    steep,
    stepped_runs,
    zeros_by_chance,
)
from pipeline.read.columns import lengths_of
from pipeline.sessions.windows import SessionWindow

#: Metres from which on a height is no place's and is shortened.
_PRINTED = 1e7
#: One in so many readings at the most has a height of zero where that stands for none; and last digits, and metres,
#: next to zero within which one in so many others says that the ground is there.
_LEVEL, _NEXT_DIGITS, _NEXT, _BESIDE = 4, 5, 0.02, 10
#: Chance of heights of exactly zero up to which none of them is one, and up to which they are worth a word.
_NO_ZERO, _ODD_ZERO = 0.01, 0.2
#: Metres off its neighbours from which on a height is said to be.
_SAID = 0.5


class _Heights(Struct, frozen=True):
    """The readings of a session, (n,) or (n, 3) each: ``right`` where the position may be, ``beyond`` in metres.

    ``placeholder`` are heights that may stand for none, ``impossible`` those too far from the ordinary ones.
    """

    number: Integers
    places: Floats
    height: Floats
    mark: Flags
    placeholder: Flags
    right: Flags
    beyond: Floats
    impossible: Flags

    @classmethod
    def of(cls, mine: OfSession, found: PositionLook, limit: float) -> "_Heights":
        """Return those of a session whose positions were looked at; ``limit`` [m] is how far off a height may be."""
        pieces = list(mine)
        height = np.concatenate([piece.height for piece in pieces])
        flags = np.concatenate([piece.flags for piece in pieces])
        right, beyond = np.concatenate(found.near), found.against.heights.beyond(height)
        return cls(
            number=np.concatenate([piece.number for piece in pieces]),
            places=np.concatenate([piece.places for piece in pieces]),
            height=height,
            mark=(flags & CANDIDATE) != 0,
            placeholder=(flags & PLACEHOLDER) != 0,
            right=right,
            beyond=beyond,
            impossible=right & (np.abs(beyond) > limit),
        )


class _OffGround(Struct, frozen=True):
    """Of readings (n,): metres ``off`` their neighbours, which heights are ``false``, and which are ``odd``."""

    off: Floats
    false: Flags
    odd: Flags


class SessionHeights:
    """Looks at the heights of sessions' readings, and keeps what is no one reading's.

    Args:
        rows: every reading of the job.
        prepared: the job.
        heights: which of the readings have heights that count from one level.

    ``steep`` and ``levels`` are, by session, readings that stand off others; ``apart`` those on no mark that lie off
    those on marks; ``leaps`` runs that jump and come back; ``stepped`` those that do so on flat ground, in order of
    time, with the first and last time; ``off_near`` those that are off the points around them, in order of time. Each
    has the number of its first reading or those of all.
    """

    def __init__(self, rows: ReadingRows, prepared: Prepared, heights: LikeHeights) -> None:
        self._rows, self._alike, self._quality = rows, heights, prepared.loaded.job.quality
        self._units = np.array([lengths_of(export.points).up for export in prepared.exports])
        self._off_ground = np.zeros(0, np.int64)
        self._beside = _side_by_side(prepared.windows)
        self.steep: dict[int, tuple[int, Steep]] = {}
        self.levels: list[tuple[int, Integers, Levels]] = []
        self.apart: list[tuple[int, int, MarksApart]] = []
        self.leaps: list[tuple[int, int, HeightJump]] = []
        self.stepped: list[tuple[int, Integers, Integers, SteppedRun]] = []
        self.off_near: list[tuple[int, Integers, OffNeighbours]] = []

    def look_at_each(self, found: PositionLook, mine: OfSession, ordinary: bool, session: int) -> None:
        """Add what is to be said of the heights; ``ordinary`` says whether readings on no mark are told as well."""
        around, quality = found.against.heights, self._quality
        quiet = around.level and not mine.placeholders
        if quiet and np.max(found.beyond) <= quality.doubtful_height_difference:
            return
        them = _Heights.of(mine, found, quality.max_height_difference)
        ground = self._off_neighbours(them, around)
        no_zero, odd_zero = self._false_zeros(them, ground, around)
        self._look_for_cliffs(them, ground, session)
        told_of = ~them.mark & ordinary
        certain = them.impossible | ground.false | no_zero
        some = np.flatnonzero(certain | (ground.odd & told_of) | (odd_zero & told_of))
        _tell(found.findings, them, ground, around, some, certain)

    def look_at_ground(self, found: PositionLook, mine: OfSession, session: int) -> None:
        """Add what the heights of a session's way from point to point say together; its readings are one piece."""
        self._height_jumps(found, mine, session)
        self._levels(found, mine, session)
        self._apart(found, mine, session)
        self._stepped(found, mine, session)

    def _off_neighbours(self, them: _Heights, around: Fence) -> _OffGround:
        """Return how far heights are off those around them, but for impossible ones."""
        n = len(them.number)
        off, false, odd = np.zeros(n), np.zeros(n, bool), np.zeros(n, bool)
        rest = np.flatnonzero(them.right & ~them.impossible)
        if len(rest):
            doubtful = self._quality.doubtful_height_difference
            off[rest], false[rest], odd[rest] = out_of_place(
                them.places[rest], them.height[rest], them.placeholder[rest], around, doubtful
            )
        return _OffGround(off, false, odd)

    def _false_zeros(self, them: _Heights, ground: _OffGround, around: Fence) -> tuple[Flags, Flags]:
        """Return which (n,) heights of zero stand for none, and which of them are at least worth a word."""
        zero = them.right & ~them.impossible & ~ground.false & them.placeholder & (them.height == 0.0)
        chance = self._zeros(them.number[zero], them.height[them.right & np.isfinite(them.height)], around)
        return zero & (chance <= _NO_ZERO), zero & (chance <= _ODD_ZERO)

    def _look_for_cliffs(self, them: _Heights, ground: _OffGround, session: int) -> None:
        """Note readings that stand so far off others hard by that no ground is so steep."""
        may_be = them.right & ~them.impossible & ~ground.false & ~them.placeholder
        sound = np.flatnonzero(may_be & np.isfinite(them.height))
        for alike in self._alike.of_system(them.number[sound]):
            here = sound[alike]
            if (cliff := steep(them.places[here], them.height[here])) is not None:
                self.steep[session] = int(them.number[here[cliff.rows[0]]]), cliff
                self._off_ground = np.append(self._off_ground, them.number[here[cliff.rows]])

    def _zeros(self, numbers: Integers, heights: Floats, around: Fence) -> float:
        """Return the chance that all of these readings have a height of zero, among those of their session.

        Where many have it, or others lie next to it, the ground is level there.
        """
        if not len(numbers) or len(numbers) * _LEVEL > len(heights):
            return 1.0
        digit = float(metres_of(self._rows.observed(numbers).up).max())
        beside = (heights != 0.0) & (np.abs(heights) <= max(_NEXT_DIGITS * digit, _NEXT))
        if np.count_nonzero(beside) * _BESIDE >= len(heights):
            return 1.0
        return zeros_by_chance(len(numbers), len(heights), digit, around)

    def _height_jumps(self, found: PositionLook, mine: OfSession, session: int) -> None:
        """Add runs of heights that jump and come back, unless they are of things of their own or told otherwise."""
        for piece, near in zip(mine, found.near, strict=True):  # few enough to be one
            if not rises(piece.height):
                continue
            known = near & np.isfinite(piece.height) & ((piece.flags & PLACEHOLDER) == 0)
            number, flags, rows = piece.number[known], piece.flags[known], self._rows
            group = rows.export(number).astype(np.int64)
            marks = (flags & CANDIDATE) != 0
            told = height_jumps(piece.places[known], piece.height[known], self._units[group], group, marks)
            for jump in told:
                run = number[jump.rows]
                codes, others = rows.codes(run), np.delete(number, jump.rows)
                if not ((codes == 0) | np.isin(codes, rows.codes(others))).any():
                    continue
                if jump.looks is JumpLook.DIGIT:
                    found.findings.height_jumps.append((run.tolist(), jump.by))
                elif not (np.isin(run, self._off_ground).any() or found.findings.tells(run)):
                    self.leaps.append((session, int(run[0]), jump))

    def _levels(self, found: PositionLook, mine: OfSession, session: int) -> None:
        """Note readings that lie on two levels, among those whose heights count from one; a tower's are no level."""
        for piece, here in self._from_one_level(found, mine, session):
            two = levels(piece.places[here], piece.height[here])
            if two is not None:
                self.levels.append((session, piece.number[here], two))
            if two is not None and len(self._off_ground):
                tower = np.isin(piece.number[here], self._off_ground)
                rest = here[~tower]
                if tower[two.rows].all() and (two := levels(piece.places[rest], piece.height[rest])) is not None:
                    self.levels.append((session, piece.number[rest], two))

    def _apart(self, found: PositionLook, mine: OfSession, session: int) -> None:
        """Note that all readings on no mark lie far above or below those on marks whose heights count from one."""
        for piece, here in self._from_one_level(found, mine, session):
            marks = (piece.flags[here] & CANDIDATE) != 0
            if (off := marks_apart(piece.places[here], piece.height[here], marks)) is not None:
                self.apart.append((session, int(piece.number[here[~marks][0]]), off))

    def _stepped(self, found: PositionLook, mine: OfSession, session: int) -> None:
        """Note runs that step up or down and back, or are off those around, but for things with codes of their own."""
        for piece, here in self._from_one_level(found, mine, session):
            number, marks = piece.number[here], (piece.flags[here] & CANDIDATE) != 0
            group = self._rows.export(number).astype(np.int64)
            (time,) = self._rows.columns.take(number, "time")
            order = np.lexsort((time, group))
            places, height = piece.places[here][order], piece.height[here][order]
            for run in stepped_runs(places, height, group[order], marks[order], session in self._beside):
                rows = order[run.rows]
                if self._is_no_thing(number[rows], number[~marks]):
                    self.stepped.append((session, number[rows], time[rows[[0, -1]]], run))
            for off in off_neighbours(places, height, group[order], marks[order]):
                rows = order[off.rows]
                if self._is_no_thing(number[rows], number[~marks]):
                    self.off_near.append((session, number[rows], off))

    def _is_no_thing(self, run: Integers, points: Integers) -> bool:
        """Tell whether readings of a run, (k,) numbers, have no code or one that other ``points`` (n,) have as well."""
        codes = self._rows.codes(np.sort(run))
        return bool(((codes == 0) | np.isin(codes, self._rows.codes(np.setdiff1d(points, run)))).any())

    def _from_one_level(self, found: PositionLook, mine: OfSession, session: int) -> Iterator[tuple[Placed, Integers]]:
        """Yield the readings and, in them, the places (k,) of those with sound heights that count from one level."""
        for piece, near in zip(mine, found.near, strict=True):  # few enough to be one
            sound = np.flatnonzero(near & np.isfinite(piece.height) & ((piece.flags & PLACEHOLDER) == 0))
            for alike in self._alike.alike(session, piece.number[sound]):
                yield piece, sound[alike]


def _side_by_side(windows: Sequence[SessionWindow]) -> frozenset[int]:
    """Return the sessions during which another runs, whose base a rover may have had."""
    latest, number, found = -1, -1, set()
    for window in sorted(windows, key=lambda window: window.start_ms):
        if window.start_ms < latest:
            found |= {number, window.index}
        if window.end_ms > latest:
            latest, number = window.end_ms, window.index
    return frozenset(found)


def _tell(
    findings: Findings, them: _Heights, ground: _OffGround, around: Fence, some: Integers, certain: Flags
) -> None:
    """Say of ``some`` (k,) readings what is wrong with their heights: held where it is (n,) ``certain``."""
    looks = np.zeros(len(them.number), np.uint8)
    looks[some] = height_looks(them.height[some], around, them.placeholder[some])
    for row in some.tolist():
        by, height = ground.off[row] or them.beyond[row], them.height[row]
        where = f"{length_in_words(abs(by))} {'above' if by > 0 else 'below'} its neighbours"
        written = f"{height:.3f}" if abs(height) < _PRINTED else f"{height:g}"
        told = f"has a height of {written} m, {where if abs(by) >= _SAID else 'to the last digit'}"
        into = findings.held if certain[row] else findings.doubtful
        into[int(them.number[row])] = told + look_in_brackets(looks[row])
