"""Computes the effect of changed frames alone: old and new operations on the same coordinates [m].

Points move for corrected marks, other ties and other readings too, and none of that is the frame's doing. The earlier
issue has the numbers of the register, the coordinates they came to, and the shifts; of an old operation no more is
needed, not even its grid file.
"""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.reissue.fingerprint import SITE, Fingerprint
from pipeline.reissue.frames.moves import Moves, counts_of, same_marks
from pipeline.solve.control_marks import COORDINATES
from pipeline.solve.solve import Adjusted


class Effect(Struct, frozen=True):
    """What frames do by themselves, by index of a session, metres east, north, up; only where it can be told.

    Args:
        issued: (3,) by how much they move issued points, ties and all.
        shift: (3,) by how much the same ties on the same numbers of the register give another shift.
        same: the sessions with a tie on a mark whose register numbers are the same.
    """

    issued: dict[int, Floats]
    shift: dict[int, Floats]
    same: frozenset[int]


def frame_effect(base: Record, survey: Survey, adjusted: Adjusted, now: Fingerprint, found: Moves) -> Effect:
    """Return what the frames of a job do by themselves to what an earlier issue has.

    Of another localisation of the site nothing can be told: it is fitted to the register, and moves with that.

    Args:
        base: the record of the earlier issue.
        survey: the job.
        adjusted: the same, with its shifts, not judged yet.
        now: what it is made from.
        found: what moved between the two.
    """
    if base["identity"].get(SITE) != now.sums.get(SITE) or not len(found.again.rows):
        return Effect({}, {}, frozenset())
    again, on_marks = found.again, adjusted.occupations
    positions, numbers = _of_positions(base, survey, adjusted, found), _of_numbers(base, survey, adjusted, now, found)
    session, ties = on_marks.session[again.rows], on_marks.ties[again.rows]
    unmoved = on_marks.ties & np.isin(on_marks.marks, list(same_marks(base, now)))
    tied = set(on_marks.session[on_marks.ties].tolist())
    tied |= {window.index for window in survey.windows if window.session.setup is not None}
    issued, shift = {}, {}
    for window in survey.windows:
        own = session == window.index
        # a corrected reading is one among several: the typical one is the frame's
        by_numbers = _typical(numbers, own & ties, own, np.ones(len(own), bool))
        by_positions = _typical(positions, own & again.same, again.same, own & ~again.other, np.ones(len(own), bool))
        by_shift = _typical(numbers - positions, own & ties & again.same, own & again.same, again.same, ~again.other)
        net = by_numbers if window.index in tied else by_positions
        if net is not None:
            issued[window.index] = net
        if by_shift is not None:
            shift[window.index] = by_shift
    return Effect(issued, shift, frozenset(on_marks.session[unmoved].tolist()))


def _typical(values: Floats, *choices: Flags) -> Floats | None:
    """Return (3,) the middle of (k, 3) values, of the first (k,) choice that has any; None where none has."""
    known = np.isfinite(values).all(axis=1)
    for choice in choices:
        if (known & choice).any():
            return np.asarray(np.median(values[known & choice], axis=0))
    return None


def _of_positions(base: Record, survey: Survey, adjusted: Adjusted, found: Moves) -> Floats:
    """Return (k, 3) by how much raw positions with the shifts of before come to lie elsewhere, metres."""
    sessions = {one["session"]: (one["shift_x"], one["shift_y"], one["shift_z"]) for one in base["sessions"]}
    none = (None, None, None)
    again = found.again
    shift = np.array([sessions.get(one["session"], none) for one in again.before], float).reshape(-1, 3)
    there = np.column_stack(
        survey.operations.frames.to_issued.forward(*(adjusted.occupations.raw[again.rows] + shift).T)
    )
    was = np.array([[one["easting"], one["northing"], one["height"]] for one in again.before], float).reshape(-1, 3)
    return np.asarray(there - was * counts_of(base))


def _of_numbers(base: Record, survey: Survey, adjusted: Adjusted, now: Fingerprint, found: Moves) -> Floats:
    """Return (k, 3) by how much the numbers that marks had in the register come to lie elsewhere, metres."""
    known = dict(_known_by_old_numbers(base, survey, adjusted, now))
    before, nowhere = found.again.before, np.full(3, np.nan)
    here = np.array([known.get(one["mark"], nowhere) for one in before], float).reshape(-1, 3)
    was = [[one["known_easting"], one["known_northing"], one["known_height"]] for one in before]
    return np.asarray(here - np.array(was, float).reshape(-1, 3) * counts_of(base))


def _known_by_old_numbers(
    base: Record, survey: Survey, adjusted: Adjusted, now: Fingerprint
) -> Iterator[tuple[str, Floats]]:
    """Yield marks with (3,) where the numbers of before come to lie in the issued frame as it is now, metres."""
    register, operation = survey.register, survey.operations.register
    if register is None or operation is None:
        return
    then = {row["mark"]: row for row in base["register"]}
    same, to_issued = same_marks(base, now), survey.operations.frames.to_issued
    for number, name in enumerate(adjusted.reference.names):
        here, at = adjusted.reference.grid[number], register.find(name)
        if name in same:
            yield name, here
        elif name in then and at is not None:
            was: dict[str, object] = {**then[name]}
            is_ = np.array([register.first[at], register.second[at], register.third[at]])
            by = _differ([was.get(axis) for axis in COORDINATES[register.kind]], register.written[at], register.unit)
            old, new = (
                np.ravel(to_issued.forward(*operation.forward(*place.reshape(3, 1)))) for place in (is_ + by, is_)
            )
            yield name, here + old - new


def _differ(was: list[object], written: tuple[str, str, str], unit: tuple[float, float, float]) -> Floats:
    """Return (3,) by how much numbers of before differ from those written now, metres or degrees; NaN: nobody knows."""
    by = np.zeros(3)
    for axis, (old, new) in enumerate(zip(was, written, strict=True)):
        if old != new:
            try:
                by[axis] = (float(str(old).replace(",", ".")) - float(new.replace(",", "."))) * unit[axis]
            except ValueError:
                by[axis] = np.nan
    return by
