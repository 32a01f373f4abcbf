"""Finds points whose raw numbers are others than in an issue before, while every occupation stands as it was.

An export that comes again with other heights in part of its rows, or with the field's correction in a stretch of them,
gives other points, and each check agrees as before: what the marks prove of the rows on marks says nothing of a change
that these rows have not. A field shift that no occupation carries leaves its session unchecked for the same reason.
"""

from collections.abc import Collection, Iterator, Mapping
from contextlib import closing

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.clock import milliseconds_of
from pipeline.duplicates import mixed_with, text_hashes
from pipeline.duplicates.exact import Hashes
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.intake.positions import working_positions
from pipeline.intake.survey import Survey
from pipeline.issue.doubt_types import ChangedNumbers
from pipeline.issue.geopackage.earlier_rows import Lost, read_batches
from pipeline.issue.record_types import DoubtNoted, Record
from pipeline.problems import JobError
from pipeline.read.exports import Export
from pipeline.read.exports import read_batches as read_export
from pipeline.reissue.as_exported import COLUMNS, SAME, unshifted
from pipeline.reissue.doubted_sessions import still_doubted
from pipeline.reissue.earlier import Last, another_frame
from pipeline.reissue.history import History
from pipeline.tables import TIME, milliseconds
from pipeline.tolerance import plan_and_height
from pipeline.words import Doubt, Role, Verdict, plural

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


def changed_readings(history: History, survey: Survey) -> tuple[tuple[Doubtful, ...], tuple[str, ...]]:
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
            changes = _changes(base, survey, concerned)
        except Lost:
            # without the issue of the other numbers nobody knows whether they are back
            found += [
                Doubtful(Doubt(one["kind"]), origin["what"], still_doubted(one, newest.record, survey), origin=origin)
                for one, origin in open_changes(newest.record, "readings", (Doubt.BASE,))
                if origin["since"] == issue
            ]
            continue
        for change in changes:
            said = _said(change, base.record, survey)
            if change.systematic and change.moved <= SAME and _was_sound(change, base.record, survey):
                origin = ChangedNumbers(of="readings", since=issue, what=said)
                found.append(Doubtful(Doubt.BASE, said, (change.session,), origin=origin))
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


def _was_sound(change: _Change, base: Record, survey: Survey) -> bool:
    """Say whether an issue had nothing against a session: what failed or was in doubt there may have been put right."""
    name = survey.windows[change.session].session.name
    verdicts = {one["session"]: one["verdict"] for one in base["sessions"]}
    doubted = any(name in one["sessions"] and not one["confirmed"] for one in base["doubts"])
    return not doubted and verdicts.get(name) != Verdict.FAILED


def _changes(base: Last, survey: Survey, sessions: Collection[int]) -> list[_Change]:
    """Return what became of the points of sessions in exports that an issue did not have as they are. Raises `Lost`."""
    had = {entry["sha256"] for entry in base.record["inputs"]}
    shifted = {one.session for one in survey.prepared.field_windows}
    sessions = {number for number in sessions if number not in shifted}
    exports = [number for number, export in enumerate(survey.exports) if export.sha256 not in had]
    if not sessions or not exports or another_frame(base.record, survey.target) is not None:
        return []
    moved = _occupations_moved(base.record, survey)
    sessions = {number for number in sessions if any(session == number for session, _ in moved)}
    if not sessions:
        return []
    before, found = _Before.of(base, survey), list[_Change]()
    for number in exports:
        for session, by, points in _compared(before, survey, number, sessions):
            of_session = [metres for (of, _), metres in moved.items() if of == session]
            change = _Change(session, number, by, points, moved.get((session, number), max(of_session)))
            if len(by) and not change.tested:
                found.append(change)
    return found


def _keys(names: pa.Array, times: Integers) -> Hashes:
    return mixed_with(text_hashes(names), times // _SECOND)


def _occupations_moved(base: Record, survey: Survey) -> Mapping[tuple[int, int], float]:
    """Return by how many metres occupations have other raw numbers at the most, by their session and export now."""
    candidates = survey.candidates
    keys = zip(candidates.names, (candidates.time // _SECOND).tolist(), strict=True)
    at = {key: row for row, key in enumerate(keys)}
    exports, found = candidates.table.column("export").to_pylist(), dict[tuple[int, int], float]()
    for one in base["checks"]:
        if one["role"] == Role.NOTED or one["point"] is None or one["observed"] is None:
            continue
        row = at.get((one["point"], milliseconds_of(one["observed"]) // _SECOND))
        if row is None:
            continue
        place = np.array([[one["easting"], one["northing"], one["height"]]], float)
        by = float(np.linalg.norm(candidates.raw[row] - unshifted(base, one["session"], place, survey)[0]))
        if np.isfinite(by):
            key = int(candidates.session[row]), exports[row]
            found[key] = max(found.get(key, 0.0), by)
    return found


class _Before(Struct, frozen=True):
    """The (n,) points of an issue, by ascending ``key``: each with its session there, and as the grid writes it."""

    base: Record
    key: Hashes
    session: Integers
    names: list[str]
    written: Floats

    @classmethod
    def of(cls, base: Last, survey: Survey) -> "_Before":
        """Read them, without those of which two have one name and time, and those that carried a field shift."""
        carried = {one["session"] for one in base.record["field_shifts"]}
        names = [one["session"] for one in base.record["sessions"] if one["session"] not in carried]
        means = _of_means(base)
        parts = list[tuple[Hashes, Integers, Floats]]()
        with closing(read_batches(base.package, "points", COLUMNS)) as batches:
            for batch in batches:
                session = pa.compute.index_in(batch.column("session").cast(pa.string()), pa.array(names, pa.string()))
                numbers = np.asarray(pa.compute.fill_null(session, -1), np.int64)
                times = np.asarray(batch.column("observed").cast(TIME).cast(pa.int64()).fill_null(-1), np.int64)
                named, of = batch.column("name").cast(pa.string()), (numbers >= 0) & (times >= 0)
                if len(means):
                    of &= ~np.isin(text_hashes(named), means)
                written = np.column_stack([np.asarray(batch.column(axis), float) for axis in COLUMNS[-3:]])
                parts.append((_keys(named, times)[of], numbers[of], written[of]))
        if not parts:
            return cls(base.record, np.zeros(0, np.uint64), np.zeros(0, np.int64), names, np.zeros((0, 3)))
        key, session_of, written = (np.concatenate(column) for column in zip(*parts, strict=True))
        order = np.argsort(key, kind="stable")
        order = order[_alone(key[order])]
        return cls(base.record, key[order], session_of[order], names, written[order])

    def find(self, key: Hashes) -> tuple[Integers, Integers]:
        """Return which of (m,) keys are of points, and which points these are."""
        if not len(self.key):
            return np.zeros(0, np.int64), np.zeros(0, np.int64)
        at = np.minimum(np.searchsorted(self.key, key), len(self.key) - 1)
        rows = np.flatnonzero(self.key[at] == key)
        return rows, at[rows]

    def raw(self, points: Integers, survey: Survey) -> Floats:
        """Return (k, 3) where points lay in their exports, in the working frame."""
        found = np.full((len(points), 3), np.nan)
        for number in np.unique(self.session[points]).tolist():
            rows = self.session[points] == number
            found[rows] = unshifted(self.base, self.names[number], self.written[points[rows]], survey)
        return found


def _alone(ordered: Hashes) -> Flags:
    """Return (n,) which of ascending keys differ from those next to them."""
    alone, differs = np.ones(len(ordered), bool), ordered[1:] != ordered[:-1]
    alone[1:] &= differs
    alone[:-1] &= differs
    return alone


def _of_means(base: Last) -> Hashes:
    """Return hashes of the names of points that may be means, which lie where no reading does."""
    if not base.record["repeats"]["means"]:
        return np.zeros(0, np.uint64)
    with closing(read_batches(base.package, "repeats", ("name",))) as batches:
        return np.concatenate(
            [np.zeros(0, np.uint64), *(text_hashes(one.column("name").cast(pa.string())) for one in batches)]
        )


def _compared(
    before: _Before, survey: Survey, number: int, sessions: Collection[int]
) -> Iterator[tuple[int, Floats, int]]:
    """Yield per session of an export by how much points changed beyond the tolerance, and how many there are."""
    by, points = {session: list[Floats]() for session in sessions}, dict.fromkeys(sessions, 0)
    checks = survey.job.checks
    allowed = np.array([checks.horizontal, checks.vertical])
    try:
        for session, apart in _apart(before, survey, survey.exports[number]):
            for one in set(session.tolist()) & set(sessions):
                rows = session == one
                points[one] += int(rows.sum())
                far = (np.abs(plan_and_height(apart[rows])) > allowed).any(axis=1)
                by[one].append(apart[rows][far])
    except JobError:  # a file that changed meanwhile is told where the points are made
        return
    for one in sorted(sessions):
        yield one, np.concatenate([np.zeros((0, 3)), *by[one]]), points[one]


def _apart(before: _Before, survey: Survey, export: Export) -> Iterator[tuple[Integers, Floats]]:
    """Yield session, and metres farther east, north, up, of the sound readings of an export that were points."""
    frames = survey.operations.frames
    for batch in read_export(export):
        sifted = survey.sieve.sift(batch, None, export.points.columns.solution is not None)
        sound = np.flatnonzero((sifted.session >= 0) & (sifted.held == 0))
        part = batch.take(pa.array(sound))
        rows, points = before.find(_keys(part.column("name").cast(pa.string()), milliseconds(part)))
        if not len(rows):
            continue
        session = np.asarray(sifted.session[sound[rows]], np.int64)
        epochs = survey.operations.epochs[session, export.block]
        now = working_positions(part.take(pa.array(rows)), frames.to_working[export.block], epochs)
        was = before.raw(points, survey)
        apart = np.zeros((len(rows), 3))
        far = np.flatnonzero(np.linalg.norm(now - was, axis=1) > SAME)  # NaN is not: nobody knows where it lay
        if len(far):
            forward = frames.to_issued.forward
            apart[far] = np.column_stack(forward(*now[far].T)) - np.column_stack(forward(*was[far].T))
        known = np.isfinite(apart).all(axis=1) & np.isfinite(was).all(axis=1)
        yield session[known], apart[known]


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
