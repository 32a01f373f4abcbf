"""Finds points whose raw numbers are others than in an issue before, while every occupation stands as it was.

An export that comes again with other heights in part of its rows, or with the field's correction in a stretch of them,
gives other points, and each check agrees as before: what the marks prove of the rows on marks says nothing of a change
that these rows have not. A field shift that no occupation carries leaves its session unchecked for the same reason.
"""

from collections.abc import Collection, Iterator, Mapping

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.intake.survey import Survey
from pipeline.issue.doubt_types import ChangedNumbers
from pipeline.issue.geopackage.earlier_rows import Lost
from pipeline.issue.record_types import DoubtNoted, Record
from pipeline.notices.unmarked_together import Together, unmarked_together
from pipeline.problems import JobError
from pipeline.reissue.another_session import CameAgain, InAnotherSession, Moves, SessionLog
from pipeline.reissue.as_exported import SAME, unshifted
from pipeline.reissue.doubted_sessions import still_doubted
from pipeline.reissue.earlier import Last, another_frame
from pipeline.reissue.history import History
from pipeline.reissue.named_occupations import named_occupations
from pipeline.reissue.points_before import PlacesBefore, PointsBefore, carried_in, put_back
from pipeline.reissue.reread import Reread, as_numbered, reread
from pipeline.solve.field_shifts import FieldReadings, FieldShifts
from pipeline.solve.solve import Adjusted
from pipeline.tolerance import plan_and_height
from pipeline.words import Doubt, Verdict, plural

#: Points from which on one vector is no correction of single readings.
_SEVERAL = 5
#: Metres within which vectors are one in each axis: coordinates may be written to the centimetre, and one vector of
#: space turns by a millimetre in ten kilometres for each ten metres of it.
_ONE = 0.01
#: The part of the points that changed which has to share it.
_MOST = 0.8
#: By how many times more than occupations that changed as well points must do so by one vector.
_MUCH = 10.0
_SECOND = 1000


class _Moved(Struct, frozen=True):
    """By how many metres occupations of a session in an export have other raw numbers at the most.

    Args:
        free: without what the field applied.
        exported: as they stand in the exports.
    """

    free: float = 0.0
    exported: float = 0.0


class _Change(Struct, frozen=True):
    """What became of the points that a session has of one export.

    Args:
        session: index of the session.
        export: number of the export.
        by: (n, 3) by how much those that changed beyond the tolerance are farther east, north, up, metres.
        points: how many of them both have.
        moved: metres by which an occupation of them changed at the most.
    """

    session: int
    export: int
    by: Floats
    points: int
    moved: float

    @property
    def vector(self) -> Floats | None:
        """Return the vector that most of them share, None where they share none."""
        middle = np.median(self.by, axis=0)
        alike = np.abs(self.by - middle).max(axis=1) <= _ONE
        return middle if len(self.by) > 1 and alike.mean() >= _MOST else None

    @property
    def tested(self) -> bool:
        """Say whether the occupations changed as well, so that the readings were processed again with them."""
        if self.moved <= SAME:
            return False
        vector = self.vector
        return vector is None or float(np.linalg.norm(vector)) <= _MUCH * self.moved

    @property
    def systematic(self) -> bool:
        """Say whether they changed by one vector, or all of them did: nobody corrects so many one by one."""
        return len(self.by) >= _SEVERAL and (self.vector is not None or len(self.by) == self.points)


def changed_readings(
    history: History, survey: Survey, adjusted: Adjusted
) -> tuple[tuple[Doubtful, ...], tuple[str, ...]]:
    """Return doubts for sessions of which points have other raw numbers that no check tests, and notes in words.

    The sessions that the newest issue has in doubt for this are compared with the issue that had the other numbers, all
    others with the newest. The exports that changed, and the points of that issue, are read once more.
    """
    if (newest := history.newest) is None:
        return (), ()
    every, found, notes = frozenset(window.index for window in survey.windows), list[Doubtful](), list[str]()
    asked = dict[int, set[int]]()
    for doubt, origin in open_changes(newest.record, "readings", (Doubt.BASE,)):
        reached = still_doubted(doubt, newest.record, survey)
        sessions: Collection[int] = every if reached is None else reached
        asked.setdefault(origin["since"], set()).update(sessions)
    others = every.difference(*asked.values())
    comparisons: list[tuple[int, Collection[int]]] = [(newest.record["issue"], others), *asked.items()]
    for issue, concerned in comparisons:
        try:
            base = history.issue(issue)
            if base is None:
                raise Lost(f"issue {issue} is gone")
            # what comes back out of a session that is asked of an issue before is no news
            changes, came, again = _changes(
                base, survey, adjusted, concerned, every - others if concerned is others else ()
            )
        except Lost:
            # without the issue of the other numbers nobody knows whether they are back
            found += [
                Doubtful(Doubt(one["kind"]), origin["what"], still_doubted(one, newest.record, survey), origin=origin)
                for one, origin in open_changes(newest.record, "readings", (Doubt.BASE,))
                if origin["since"] == issue
            ]
            continue
        beside = unmarked_together(survey, adjusted.occupations) if any(one.whole for one in came) else []
        told = [
            *((_said(one, base.record, survey), one.session, _is_doubted(one, base.record, survey)) for one in changes),
            *((one.told(issue, survey), one.session, _is_untested(one, base.record, beside)) for one in came),
        ]
        notes += (one.told(issue, survey) for one in again)
        for said, session, doubted in told:
            if doubted:
                origin = ChangedNumbers(of="readings", since=issue, what=said)
                found.append(Doubtful(Doubt.BASE, said, (session,), origin=origin))
            else:
                notes.append(said)
    return confirmed_by(survey.job, found), tuple(notes)


def open_changes(
    newest: Record, of: str, kinds: Collection[Doubt] | None = None
) -> Iterator[tuple[DoubtNoted, ChangedNumbers]]:
    """Yield the doubts of an issue, none confirmed, for other numbers of readings or the register, with their origins.

    ``of`` is which of the two, ``kinds`` which of their kinds, None for all.
    """
    for doubt in newest["doubts"]:
        origin = doubt["origin"]
        if origin is None or doubt["confirmed"] or (kinds is not None and doubt["kind"] not in kinds):
            continue
        if (origin["of"] == "readings" or origin["of"] == "register") and origin["of"] == of:
            yield doubt, origin


def _is_doubted(one: _Change, base: Record, survey: Survey) -> bool:
    name = survey.windows[one.session].session.name
    return one.systematic and one.moved <= SAME and _was_sound(name, base)


def _is_untested(one: InAnotherSession, base: Record, beside: Collection[Together]) -> bool:
    """Say whether several points of a sound session went; all of an export only where another is at work by now."""
    several = one.points >= _SEVERAL and _was_sound(one.before, base)
    return several and (not one.whole or any(one.session == of.session and one.export in of.exports for of in beside))


def _was_sound(name: str, base: Record) -> bool:
    """Say whether an issue had nothing against a session: what failed or was in doubt there may have been put right."""
    verdicts = {one["session"]: one["verdict"] for one in base["sessions"]}
    doubted = any(name in one["sessions"] and not one["confirmed"] for one in base["doubts"])
    return not doubted and verdicts.get(name) != Verdict.FAILED


def _changes(
    base: Last, survey: Survey, adjusted: Adjusted, sessions: Collection[int], others: Collection[int]
) -> tuple[list[_Change], list[InAnotherSession], list[CameAgain]]:
    """Return what became of the points of sessions in exports that an issue did not have as they are.

    Likewise which of them came there with the numbers that they had in another session, but for the ``others``, and
    which came again in their own under other names and at other times. Raises `Lost`.
    """
    had = {entry["sha256"] for entry in base.record["inputs"]}
    exports = [number for number, export in enumerate(survey.exports) if export.sha256 not in had]
    if not sessions or not exports or another_frame(base.record, survey.target) is not None:
        return [], [], []
    moved = _occupations_moved(base.record, survey, adjusted.field)
    before, found, came = PointsBefore.of(base, survey), list[_Change](), list[InAnotherSession]()
    places, log, renamed = PlacesBefore(before, survey), SessionLog.of(before, survey), list[CameAgain]()
    for number in exports:
        wanted = {session: of for session, of in _by_session(moved, number).items() if session in sessions}
        compared, moves = _Compared(before, survey, wanted), Moves(before, survey, log)
        try:
            for seen in reread(before, places, survey, adjusted.field, number):
                compared.add(seen)
                moves.add(seen)
        except JobError:  # a file that changed meanwhile is told where the points are made
            continue
        away, again = moves.told(adjusted, others)
        came += (one for one in away if one.session in sessions)
        renamed += (one for one in again if one.session in sessions)
        for session, by, points in compared.sessions():
            change = _Change(session, number, by, points, compared.moved[session].free)
            if len(by) and not change.tested:
                found.append(change)
    return found, came, renamed


def _by_session(moved: Mapping[tuple[int, int], _Moved], export: int) -> dict[int, _Moved]:
    """Return by how much occupations of each session changed: those of an export, or, where it has none, of all."""
    found = {session: one for (session, of), one in moved.items() if of == export}
    for session in {session for session, _ in moved}.difference(found):
        every = [one for (of, _), one in moved.items() if of == session]
        found[session] = _Moved(max(one.free for one in every), max(one.exported for one in every))
    return found


def _occupations_moved(base: Record, survey: Survey, field: FieldShifts) -> Mapping[tuple[int, int], _Moved]:
    """Return by how much occupations changed, by their session and export now; ``field`` is what is taken out now."""
    candidates, to_issued = survey.candidates, survey.operations.frames.to_issued
    times = zip(candidates.names, (candidates.time // _SECOND).tolist(), strict=True)
    at = {key: row for row, key in enumerate(times)}
    readings = FieldReadings.of(candidates.table)
    free, names = field.take_out(candidates.raw, readings, to_issued), [one["session"] for one in base["sessions"]]
    carried, found = carried_in(base, names, survey), dict[tuple[int, int], _Moved]()
    for named in named_occupations(base):
        row, one = at.get((named.name, named.time // _SECOND)), named.row
        if row is None:
            continue
        place = np.array([[one["easting"], one["northing"], one["height"]]], float)
        was = unshifted(base, one["session"], place, survey)
        session = np.array([names.index(one["session"])])
        time, export = readings.time[[row]], readings.export[[row]]
        then = FieldReadings(session, time, export, readings.base[row : row + 1])
        by = float(np.linalg.norm(free[row] - was[0]))
        exported = float(np.linalg.norm(candidates.raw[row] - put_back(carried, was, then, survey)[0]))
        if np.isfinite(by):
            key = int(candidates.session[row]), int(readings.export[row])
            most = found.get(key, _Moved())
            found[key] = _Moved(max(most.free, by), max(most.exported, exported))
    return found


class _Compared:
    """By how much points of an export changed, session by session."""

    def __init__(self, before: PointsBefore, survey: Survey, moved: Mapping[int, _Moved]) -> None:
        """Compare with the points of an issue; ``moved`` is by how much occupations of each session changed."""
        self._before, self._survey, self.moved = before, survey, moved
        self._stood = [number for number, of in moved.items() if of.exported <= SAME]
        self._by: dict[int, list[Floats]] = {session: [] for session in moved}
        self._points = dict.fromkeys(moved, 0)

    def add(self, seen: Reread) -> None:
        """Compare some readings of the export."""
        checks = self._survey.job.checks
        allowed = np.array([checks.horizontal, checks.vertical])
        known = (seen.point >= 0) & np.isin(seen.readings.session, list(self.moved))
        session, apart = self._apart(seen.some(np.flatnonzero(known)))
        for one in set(session.tolist()):
            rows = session == one
            self._points[one] += int(rows.sum())
            far = (np.abs(plan_and_height(apart[rows])) > allowed).any(axis=1)
            self._by[one].append(apart[rows][far])

    def sessions(self) -> Iterator[tuple[int, Floats, int]]:
        """Yield each session, by how much points changed beyond the tolerance, and how many there are."""
        for one in sorted(self.moved):
            yield one, np.concatenate([np.zeros((0, 3)), *self._by[one]]), self._points[one]

    def _apart(self, seen: Reread) -> tuple[Integers, Floats]:
        """Return sessions of readings that were points, and (n, 3) metres farther east, north, up, less field shifts.

        Where the numbers of points and occupations stand, and the job only says otherwise when a field shift was
        carried, no reading changed.
        """
        session, forward = seen.readings.session, self._survey.operations.frames.to_issued.forward
        was, same = as_numbered(self._before, seen, self._survey)
        apart = np.zeros((len(session), 3))
        stands = same & np.isin(session, self._stood)
        # NaN is not far: nobody knows where it lay
        far = np.flatnonzero(~stands & np.asarray(np.linalg.norm(seen.free - was, axis=1) > SAME))
        if len(far):
            apart[far] = np.column_stack(forward(*seen.free[far].T)) - np.column_stack(forward(*was[far].T))
        known = np.isfinite(apart).all(axis=1) & np.isfinite(was).all(axis=1)
        return session[known], apart[known]


def _said(change: _Change, base: Record, survey: Survey) -> str:
    """Return in words what changed, and that no occupation did."""
    export, name = survey.exports[change.export].shown, survey.windows[change.session].session.name
    count, vector = len(change.by), change.vector
    far = plan_and_height(change.by)
    if vector is not None:
        east, north, up = np.round(vector, 3) + 0.0  # no minus zero
        how = f"by one vector (east {east:+.3f}, north {north:+.3f}, up {up:+.3f} m)"
    else:
        how = f"by up to {far[:, 0].max():.3f} m in plan and {np.abs(far[:, 1]).max():.3f} m in height"
    of = f"all {count:,}" if count == change.points else f"{count:,} of {change.points:,}"
    return (
        f"{export}: {of} {plural(change.points, 'point')} of session {name} that issue {base['issue']:03d}"
        f" had too {'has' if count == 1 else 'have'} other raw coordinates now, {how}, while the occupations stand as"
        f" they were, so that no check tests the change: find out why the export differs (pole heights, a shift that"
        f" the field software applied, cells that slipped)"
    )
