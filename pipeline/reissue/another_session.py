"""Finds points that fall into another session than in an issue before, with the same raw numbers.

Their times are others now, or their base ids: the shift of that session was not theirs before, and what the
occupations prove of either says nothing of which is right. A clock that was put right moves occupations too, or all of
an export: of one without an occupation that is told, and no reason for doubt as long as it is at work there by itself.
A log of the sessions that was put right is no change of a reading. Where their names are others too, they are known by
their places, to the last digit: no two measurements agree so.
"""

from collections import Counter
from collections.abc import Collection

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.clock import milliseconds_of
from pipeline.duplicates.exact import Hashes
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.reissue.as_exported import SAME, unshifted
from pipeline.reissue.named_occupations import named_occupations
from pipeline.reissue.points_before import PointsBefore
from pipeline.reissue.renamed_sessions import renamed_sessions
from pipeline.reissue.reread import Reread, as_numbered, joined
from pipeline.replace import replace
from pipeline.sessions.attach import base_key
from pipeline.solve.correct import correct
from pipeline.solve.field_shifts import FieldReadings
from pipeline.solve.reading_precision import Precision
from pipeline.solve.solve import Adjusted
from pipeline.tolerance import plan_and_height
from pipeline.words import counted, plural

#: The part of an export's points that one step of time has to share to be its clock's.
_MOST = 0.8
#: Points under other names from which on no chance makes them agree to the last digit.
_SEVERAL = 3
_SECOND = 1000


class InAnotherSession(Struct, frozen=True):
    """Points of an export that have the shift of another session than in an issue before.

    Args:
        export: number of the export.
        before: what their session was called there.
        session: index of the one that they are in now.
        points: how many they are.
        plan: metres by which they moved for that at the most.
        height: likewise.
        retimed: whether their times are others.
        renamed: whether their names are.
        whole: whether all of the export went by one step of time, as where its clock was put right.
    """

    export: int
    before: str
    session: int
    points: int
    plan: float
    height: float
    retimed: bool
    renamed: bool = False
    whole: bool = False

    def told(self, issue: int, survey: Survey) -> str:
        """Return in words what became of them."""
        file, name = survey.exports[self.export].shown, survey.windows[self.session].session.name
        one = self.points == 1
        what = "under another name, " * self.renamed
        what += "with another time" if self.retimed else "with another base id"
        where = f"in session {name}" if name != self.before else "there where the field shift is another"
        untested = "no occupation went along, so that no check tests the change: find out which is right"
        if self.whole:
            untested = (
                "no occupation of this export went along, so that no check tests which of its two dates is right: find"
                " out whether its clock was put right"
            )
        return (
            f"{file}: {self.points:,} {plural(self.points, 'point')} that issue {issue:03d} had in session"
            f" {self.before} {'comes' if one else 'come'} again {what} and the same raw coordinates, and"
            f" {'is' if one else 'are'} {where} now, which moves {'it' if one else 'them'} by up to {self.plan:.3f} m"
            f" in plan and {self.height:.3f} m in height, while {untested}"
        )


class CameAgain(Struct, frozen=True):
    """Points of an export that come again in their session under other names and at other times."""

    export: int
    session: int
    points: int

    def told(self, issue: int, survey: Survey) -> str:
        """Return in words that they are no new measurements."""
        return (
            f"{survey.exports[self.export].shown}: {counted(self.points, 'point')} of session"
            f" {survey.windows[self.session].session.name} came again with the raw coordinates of issue {issue:03d} to"
            " the last digit, under other names and at other times, and no measurement repeats like that: these are"
            " the same readings, exported anew, and no check of them"
        )


class Moves:
    """The readings of an export that are points of an issue, in another session or at another time."""

    def __init__(self, before: PointsBefore, survey: Survey, log: "SessionLog") -> None:
        """Compare with the points of an issue; ``log`` says what became of its sessions."""
        self._before, self._survey, self._log = before, survey, log
        self._gone, self._at_their_time = np.ones(len(before.key), bool), 0
        self._parts = list[Reread]()

    def add(self, seen: Reread) -> None:
        """Take up some readings of the export: all that are in their session at their time are only counted."""
        known = seen.point >= 0
        self._gone[seen.point[known]] = False
        self._at_their_time += int(known.sum())
        stayed = known.copy()
        stayed[known] = self._log.now[self._before.session[seen.point[known]]] == seen.readings.session[known]
        if not stayed.all():
            self._parts.append(seen.some(np.flatnonzero(~stayed)))

    def told(self, adjusted: Adjusted, left_out: Collection[int]) -> tuple[list[InAnotherSession], list[CameAgain]]:
        """Return the points that moved for that without an occupation, and those that came again where they were.

        Args:
            adjusted: the job with its shifts, not judged yet.
            left_out: sessions out of which no point is told.
        """
        if not self._parts:
            return [], []
        before, survey, log = self._before, self._survey, self._log
        seen = _known_again(before, joined(self._parts), np.flatnonzero(self._gone))
        if not len(seen.point):
            return [], []
        free, same = as_numbered(before, seen, survey)
        carried = np.asarray(np.linalg.norm(seen.free - free, axis=1) > SAME)
        same = same | ~carried
        then, now = before.session[seen.point], seen.readings.session
        step = np.round((seen.readings.time - before.time[seen.point]) / _SECOND).astype(np.int64)
        left = log.now[then] != now
        renamed = before.named[seen.point] != seen.named
        again = _again(seen.some(np.flatnonzero(same & renamed & ~left & ~carried & (step != 0))))
        told = same & (left | carried) & (log.now[then] >= 0) & ~np.isin(log.now[then], list(left_out))
        told &= (step != 0) | (left & log.stands[then] & log.stands_now[now])
        if not told.any():
            return [], again
        went = _Went.of(before, survey, adjusted, log, int(seen.readings.export[0]))
        retimed = Counter(step[same & (step != 0)].tolist())
        points = self._at_their_time + retimed.total()
        clock = [one for one, count in retimed.items() if count >= _MOST * points and not went.stayed]
        told &= ~np.isin(step, list(went.steps))
        told &= np.array([pair not in went.sessions for pair in zip(then.tolist(), now.tolist(), strict=True)], bool)
        some = np.flatnonzero(told)
        kinds = np.column_stack([step != 0, renamed, np.isin(step, clock)])[some]
        return _counted(before, seen.some(some), kinds, survey, adjusted), again


def _again(seen: Reread) -> list[CameAgain]:
    """Return readings that were points of their session under other names, several of each session."""
    sessions, counts = np.unique(seen.readings.session, return_counts=True)
    each = zip(sessions.tolist(), counts.tolist(), strict=True)
    return [CameAgain(int(seen.readings.export[0]), session, count) for session, count in each if count >= _SEVERAL]


def _counted(
    before: PointsBefore, seen: Reread, how: Flags, survey: Survey, adjusted: Adjusted
) -> list[InAnotherSession]:
    """Return those that moved beyond the tolerance, by their sessions before and now.

    ``how`` is (n, 3) whether the times of each are others, its name, and whether all of the export went so.
    """
    checks, session = survey.job.checks, seen.readings.session
    none = Precision(np.zeros((len(session), 3)))
    places = correct(survey.operations, seen.free, session, none, adjusted.applied).places
    was = np.column_stack(survey.axes.metres(*before.written[seen.point].T))
    by = np.abs(plan_and_height(places - was))
    far = (by > np.array([checks.horizontal, checks.vertical])).any(axis=1)
    kinds = np.column_stack([before.session[seen.point], session, how])[far]
    found = []
    for kind in np.unique(kinds, axis=0).tolist():
        then, now, retimed, renamed, whole = kind
        plan, height = by[far][(kinds == kind).all(axis=1)].T
        found.append(
            InAnotherSession(
                export=int(seen.readings.export[0]),
                before=before.names[then],
                session=now,
                points=len(plan),
                plan=float(plan.max()),
                height=float(height.max()),
                retimed=bool(retimed),
                renamed=bool(renamed),
                whole=bool(whole),
            )
        )
    return found


def _known_again(before: PointsBefore, seen: Reread, gone: Integers) -> Reread:
    """Return the readings that are points, those by place or name alone too of which the point is gone at its time."""
    point = seen.point.copy()
    rows = np.flatnonzero((point < 0) & np.isin(seen.lying, gone))
    _, first, count = np.unique(seen.lying[rows], return_index=True, return_counts=True)
    alone = rows[first[count == 1]]
    point[alone] = seen.lying[alone]
    gone = gone[~np.isin(gone, point)]
    left = np.flatnonzero(point < 0)
    (names, rows), (others, points) = _once(seen.named[left]), _once(before.named[gone])
    _, one, other = np.intersect1d(names, others, assume_unique=True, return_indices=True)
    point[left[rows[one]]] = gone[points[other]]
    return replace(seen, point=point).some(np.flatnonzero(point >= 0))


def _once(named: Hashes) -> tuple[Hashes, Integers]:
    """Return the hashes that come once, and where."""
    hashes, at, count = np.unique(named, return_index=True, return_counts=True)
    return hashes[count == 1], at[count == 1]


class SessionLog(Struct, frozen=True):
    """The sessions of an issue (B,) as the job has them, and those of the job (S,).

    Args:
        now: (B,) the index that each has now, -1 where it is gone or was logged anew under another name.
        stands: (B,) whether its times and its base id are what they were.
        stands_now: (S,) likewise of each session of now.
    """

    now: Integers
    stands: Flags
    stands_now: Flags

    @classmethod
    def of(cls, before: PointsBefore, survey: Survey) -> "SessionLog":
        """Compare them."""
        called = renamed_sessions(before.base, survey.windows)
        index = {called.get(window.session.name, window.session.name): window.index for window in survey.windows}
        now = np.array([index.get(name, -1) for name in before.names], np.int64)
        stands, stands_now = np.zeros(len(now), bool), np.zeros(len(survey.windows), bool)
        for number, row in enumerate(before.base["sessions"]):
            if now[number] >= 0:
                window = survey.windows[int(now[number])]
                then = milliseconds_of(row["start"]), milliseconds_of(row["end"]), base_key(row["base"])
                stands[number] = then == (window.start_ms, window.end_ms, base_key(window.base))
                stands_now[int(now[number])] = stands[number]
        return cls(now, stands, stands_now)


class _Went(Struct, frozen=True):
    """How occupations of an export went: by which steps of time [s], and out of which session into which.

    ``stayed`` tells whether some are at their time: the clock was right.
    """

    steps: frozenset[int]
    stayed: bool
    sessions: frozenset[tuple[int, int]]

    @classmethod
    def of(cls, before: PointsBefore, survey: Survey, adjusted: Adjusted, log: SessionLog, export: int) -> "_Went":
        """Look for the occupations of an issue by their names and raw positions."""
        candidates, readings = survey.candidates, FieldReadings.of(survey.candidates.table)
        free = adjusted.field.take_out(candidates.raw, readings, survey.operations.frames.to_issued)
        at = dict[str, list[int]]()
        for row in np.flatnonzero(readings.export == export).tolist():
            at.setdefault(candidates.names[row] or "", []).append(row)
        steps, sessions = set[int](), set[tuple[int, int]]()
        for one, place, time in _occupations(before.base):
            rows = at.get(one[1], [])
            if rows:
                raw = unshifted(before.base, one[0], place, survey)
                for row in rows:
                    if np.linalg.norm(free[row] - raw[0]) <= SAME:
                        steps.add(round((int(candidates.time[row]) - time) / _SECOND))
                        then = before.names.index(one[0])
                        if log.now[then] != candidates.session[row]:
                            sessions.add((then, int(candidates.session[row])))
        return cls(frozenset(steps - {0}), 0 in steps, frozenset(sessions))


def _occupations(base: Record) -> list[tuple[tuple[str, str], Floats, int]]:
    """Return session and name, (1, 3) place as the grid writes it, and time of what an issue had on marks."""
    return [
        (
            (one.row["session"], one.name),
            np.array([[one.row["easting"], one.row["northing"], one.row["height"]]], float),
            one.time,
        )
        for one in named_occupations(base)
    ]
