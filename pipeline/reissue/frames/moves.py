"""Computes how far occupations and session shifts moved between two issues [m]."""

from collections.abc import Mapping

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.clock import milliseconds_of
from pipeline.geodesy.step_names import ISSUED, RAW
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import AxisWritten, Record
from pipeline.issue.row_types import CheckRow
from pipeline.reissue.fingerprint import FILE, SITE, Fingerprint
from pipeline.reissue.frames.frame_changes import by_step, frame_changes, now_by_step
from pipeline.solve.solve import Adjusted, shift_at_places
from pipeline.words import Role

#: Metres from which on a move is told.
MOVED = 0.0005
#: Metres within which a reading was read as before: coordinates and shifts are recorded to less.
_ALIKE = 0.005
#: By how much of a shift it differs over a session where it is applied on the grid.
_OF_SHIFT = 1e-3
#: Sessions that a sentence names.
_LISTED = 3


class Again(Struct, frozen=True):
    """The (k,) occupations of an earlier issue that a job has again: of the same point, time and mark.

    Args:
        before: each as the earlier issue has it.
        rows: its number among the occupations of the job.
        off: (k, 3) by how much it is issued farther east, north, up, metres; NaN where the earlier issue had none.
        same: which were read with the same numbers.
        other: which were read with other numbers; of those that are neither nobody can tell.
    """

    before: tuple[CheckRow, ...]
    rows: Integers
    off: Floats
    same: Flags
    other: Flags


class Moves(Struct, frozen=True):
    """What became of numbers that two issues have in common.

    Args:
        again: the occupations that both have.
        called: per index of a session what the earlier issue called it.
        jumps: per index of a session with the same ties on marks with the same register numbers, (3,) by how much its
            shift is another, metres east, north, up.
    """

    again: Again
    called: dict[int, str]
    jumps: dict[int, Floats]

    def of(self, adjusted: Adjusted, left_out: frozenset[int]) -> tuple[Floats, bool]:
        """Return (n, 3) the moves of occupations in common outside some sessions, and whether all were read as before.

        One that was read with other numbers moved for that too, and counts only where there is no other.
        """
        again = self.again
        session = adjusted.occupations.session[again.rows].tolist()
        inside = np.array([number not in left_out for number in session], bool)
        counts = inside & np.isfinite(again.off).all(axis=1)
        for some in (counts & again.same, counts & ~again.other, counts):
            if some.any():
                return again.off[some], bool(again.same[some].all())
        return np.empty((0, 3)), True

    def jumped(self, survey: Survey, adjusted: Adjusted, left_out: frozenset[int]) -> dict[str, Floats]:
        """Return (3,) the jumps of sessions by name, without those of some.

        A shift whose ties were read with other numbers jumped for that too, and counts only where there is no other.
        """
        rows, on_marks = self.again.rows[self.again.other], adjusted.occupations
        read_anew = set(on_marks.session[rows[on_marks.ties[rows]]].tolist())
        inside = [number for number in self.jumps if number not in left_out]
        some = [number for number in inside if number not in read_anew] or inside
        return {survey.windows[number].session.name: self.jumps[number] for number in some}


def moves(last: Record, survey: Survey, adjusted: Adjusted, now: Fingerprint) -> Moves:
    """Return what became of numbers that an adjusted job and an earlier issue have in common.

    Args:
        last: the record of the earlier issue.
        survey: the job.
        adjusted: the same, with its shifts, not judged yet.
        now: what it is made from.
    """
    again = _again(last, survey, adjusted, now)
    called = _called(last, survey, adjusted, now, again)
    return Moves(again, {**_by_name(last, survey), **called}, _jumps(last, survey, adjusted, called))


def _again(last: Record, survey: Survey, adjusted: Adjusted, now: Fingerprint) -> Again:
    on_marks = adjusted.occupations
    points = on_marks.table.column("name").to_pylist()
    keys = zip(points, on_marks.time.tolist(), on_marks.marks, strict=True)
    at = {key: row for row, key in enumerate(keys)}
    found = [
        (one, at[key])
        for one in last["checks"]
        if one["role"] != Role.NOTED and (key := (one["point"], time_of(one["observed"]), one["mark"])) in at
    ]
    before, rows = tuple(one for one, _ in found), np.array([row for _, row in found], np.int64)
    here = on_marks.corrected.places[rows]
    was = np.array([[one["easting"], one["northing"], one["height"]] for one in before], float).reshape(-1, 3)
    was *= counts_of(last)
    if not _meant_alike(last, survey, now):
        same = _of_same_files(last, survey, adjusted, now)[rows]
        return Again(before, rows, here - was, same, np.zeros(len(rows), bool))
    by_numbers = _raw_apart(last, survey, adjusted, before, rows, was)
    known = np.isfinite(by_numbers)
    return Again(before, rows, here - was, known & (by_numbers <= 0), known & (by_numbers > 0))


def _meant_alike(last: Record, survey: Survey, now: Fingerprint) -> bool:
    """Tell whether coordinates and raw positions are meant in the frames of before, so that they can be compared."""
    then, here = by_step(last), now_by_step(survey)
    framed = all(last["target"][key] == survey.target[key] for key in ("grid", "height", "epoch"))
    site = last["identity"].get(SITE) == now.sums.get(SITE)
    return framed and site and all(then.get(step) == here.get(step) for step in (ISSUED, RAW))


def _raw_apart(
    last: Record, survey: Survey, adjusted: Adjusted, before: tuple[CheckRow, ...], rows: Integers, was: Floats
) -> Floats:
    """Return (k,) by how far more than `_ALIKE` raw positions lie from those of before, metres; NaN for none before.

    A raw position of now with the shift of then is where the earlier issue has it, if it is that of then.
    """
    sessions = {one["session"]: (one["shift_x"], one["shift_y"], one["shift_z"]) for one in last["sessions"]}
    none = (None, None, None)
    shift = np.array([sessions.get(one["session"], none) for one in before], float).reshape(-1, 3)
    there = np.column_stack(survey.operations.frames.to_issued.forward(*(adjusted.occupations.raw[rows] + shift).T))
    may = np.full(len(rows), _ALIKE)
    if last["shift_model"]["model"] == "grid":
        may += _OF_SHIFT * np.linalg.norm(shift, axis=1)
    return np.asarray(np.linalg.norm(there - was, axis=1) - may)


def _of_same_files(last: Record, survey: Survey, adjusted: Adjusted, now: Fingerprint) -> Flags:
    """Return (n,) which occupations come out of a file that is the same, and read as before but for its frame."""
    others = bool(frame_changes(last, survey, now.sums).field)
    same = []
    for export in survey.exports:
        as_read = last["reach"]["files"].get(export.shown) == now.reach["files"].get(export.shown)
        content = f"{FILE}{export.shown}"
        same.append(as_read or (others and last["identity"].get(content) == now.sums.get(content)))
    return np.array(same, bool)[np.asarray(adjusted.occupations.table.column("export"), np.int64)]


def counts_of(last: Record) -> Floats:
    """Return (3,) the metres to the east, north and upwards in one count of coordinates as an issue has them."""
    axes = last["target"]["axes"]
    return np.array([_count(axes["easting"]), _count(axes["northing"]), _count(axes["height"])])


def _count(written: AxisWritten) -> float:
    """Return the metres to the east, north or upwards in one count of a coordinate as an issue has it."""
    backwards = written["direction"] in ("west", "south", "down")
    return float(-written["metres"] if backwards else written["metres"])


def time_of(observed: str | None) -> int | None:
    """Return the UTC milliseconds of a time in a record."""
    return None if observed is None else milliseconds_of(observed)


def _called(last: Record, survey: Survey, adjusted: Adjusted, now: Fingerprint, again: Again) -> dict[int, str]:
    """Return the earlier names of sessions, by index, with a same tie on a mark whose register numbers are the same.

    A session is known again by any such tie of it, whatever it is called now, or by the base over such a mark.
    """
    same, found = same_marks(last, now), dict[int, str]()
    on_marks = adjusted.occupations
    for row, one in sorted(zip(again.rows.tolist(), again.before, strict=True), key=lambda pair: pair[0]):
        if on_marks.roles[row] is Role.TIE and one["role"] == Role.TIE and one["mark"] in same:
            found.setdefault(int(on_marks.session[row]), one["session"])
    earlier = {row["session"]: row for row in last["sessions"]}
    for window in survey.windows:
        setup, stood = window.session.setup, earlier.get(window.session.name)
        over = stood["setup"] if stood is not None else None
        if setup is not None and over is not None and over["mark"] == setup.mark and setup.mark in same:
            found.setdefault(window.index, window.session.name)
    return found


def _by_name(last: Record, survey: Survey) -> dict[int, str]:
    earlier = {row["session"] for row in last["sessions"]}
    return {window.index: window.session.name for window in survey.windows if window.session.name in earlier}


def _jumps(last: Record, survey: Survey, adjusted: Adjusted, called: Mapping[int, str]) -> dict[int, Floats]:
    """Return by how much shifts differ from those of before."""
    earlier = {row["session"]: row for row in last["sessions"]}
    shifts, _ = shift_at_places(survey, adjusted)
    found = {}
    for number, name in called.items():
        before = earlier[name]
        was = [before["shift_east"], before["shift_north"], before["shift_up"]]
        if None not in was and np.isfinite(shifts[number]).all():
            found[number] = shifts[number] - np.array(was, float)
    return found


def same_marks(last: Record, now: Fingerprint) -> set[str]:
    """Return the marks whose coordinates are written in the register as they were."""
    then = {row["mark"]: _numbers(row) for row in last["register"]}
    return {row["mark"] for row in now.register if then.get(row["mark"]) == _numbers(row)}


def _numbers(row: Mapping[str, object]) -> tuple[object, ...]:
    return tuple(row.get(key) for key in ("easting", "northing", "longitude", "latitude", "height", "holds"))


def heights_told(height: Floats, as_before: bool) -> str:
    """Return in words by how much (n,) heights moved, metres; ``as_before``: of readings that are the same."""
    low, high, mean = float(height.min()), float(height.max()), float(height.mean())
    if max(abs(low), abs(high)) < MOVED:
        return "no height moved" if as_before else "no occupation of a mark moved in height"
    between = f" ({low:+.3f} to {high:+.3f})" if high - low > MOVED else ""
    if as_before:
        return f"the heights of all points moved by about {mean:+.3f} m{between}"
    return f"occupations of marks moved by about {mean:+.3f} m in height{between}, with corrections made to readings"


def alike_moves(one: Floats, other: Floats) -> bool:
    """Tell whether (n, 3) and (m, 3) moves are the same but for a few that moved for a cause of their own, metres."""
    if not len(one) or not len(other):
        return len(one) == len(other)
    return bool((np.abs(np.median(one, axis=0) - np.median(other, axis=0)) <= _ALIKE).all())


def farthest(moved: Floats) -> float:
    """Return the farthest of (n, 3) moves in plan, metres."""
    return float(np.hypot(moved[:, 0], moved[:, 1]).max())


def beyond(jumps: Mapping[str, Floats], survey: Survey) -> Flags:
    """Return (2,) whether some session's shift is another by more than the tolerance in position, in height."""
    checks, off = survey.job.checks, np.array(list(jumps.values())).reshape(-1, 3)
    plan, up = np.hypot(off[:, 0], off[:, 1]) > checks.horizontal, np.abs(off[:, 2]) > checks.vertical
    return np.array([plan.any(), up.any()])


def jumps_told(jumps: Mapping[str, Floats], jumped: Flags) -> str:
    """Return in words by how much shifts are others; ``jumped``, (2,), whether that matters in position, in height."""
    told = [
        f"{name} by {east:+.3f} east, {north:+.3f} north, {up:+.3f} up"
        if jumped[0]
        else f"{name} by {up:+.3f} m in height"
        for name, (east, north, up) in list(jumps.items())[:_LISTED]
    ]
    more = f" and {len(jumps) - _LISTED} more" if len(jumps) > _LISTED else ""
    return f"the same ties with the same register coordinates give a different shift (session {', '.join(told)}{more})"
