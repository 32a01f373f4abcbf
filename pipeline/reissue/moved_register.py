"""Finds a register whose marks all moved by one vector since an issue, and whether two datums are apart by that.

A register that comes again in the old datum's numbers moves every mark alike, in height one of another levelling
network. Ties take that up in the shift in full, and every check agrees, as where ``control.crs`` is another with the
same numbers.
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.control.register_rows import POSITION
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.intake.control_frame import control_used
from pipeline.intake.survey import Survey
from pipeline.issue.doubt_types import ChangedNumbers
from pipeline.issue.record_types import Record, RegisterMark
from pipeline.reissue.changed_readings import open_changes
from pipeline.reissue.history import History
from pipeline.sphere import RADIUS
from pipeline.words import Doubt, Holds, Verdict, counted

#: Marks from which on a vector is one of the register, not of a mark.
_SEVERAL = 2
#: Metres within which vectors are one: datums are apart by the same to within this over the marks of a job.
_ONE = 0.05
#: Metres within which steps in height are one, likewise. Ours, no source.
_ONE_STEP = 0.02
#: The part of a vector that the accuracy of the way between two datums may be, so that it tells anything.
_PART = 0.1


class _Moved(Struct, frozen=True):
    """The (n, 2) coordinates of the marks that two issues use, metres or degrees, and what makes metres of them."""

    was: Floats
    now: Floats
    to_metres: Floats

    @property
    def vector(self) -> Floats:
        """Return (2,) metres to the east and the north by which they moved."""
        return np.asarray(np.median((self.now - self.was) * self.to_metres, axis=0))

    def lies_at(self, places: Floats, within: float) -> bool:
        """Say whether all of them lay at (n, 2) places, to within metres."""
        return bool(np.hypot(*((places - self.was) * self.to_metres).T).max() <= within)


def moved_register(
    history: History, survey: Survey, rows: Sequence[RegisterMark]
) -> tuple[tuple[Doubtful, ...], tuple[str, ...]]:
    """Return a doubt where all marks moved as from one datum to another, and else a note that all moved alike.

    Args:
        history: the issues before.
        survey: the job.
        rows: the register's rows that the job uses.
    """
    if history.newest is None:
        return (), ()
    newest, doubts, notes = history.newest.record, list[Doubtful](), list[str]()
    noted = {origin["since"]: origin for _, origin in open_changes(newest, "register")}
    for issue in (newest["issue"], *noted):
        base = history.record(issue)
        if base is None:
            doubts.append(_doubt(noted[issue], survey))
        elif (moved := _moved(base, survey, rows)) is not None:
            other = _other_datum(moved, survey)
            said = _said(moved, other, issue)
            if other is not None and _was_sound(base):
                doubts.append(_doubt(ChangedNumbers(of="register", since=issue, what=said), survey))
            else:
                notes.append(said)
        if base is not None and issue == newest["issue"] and (risen := _risen(base, survey, rows)) is not None:
            notes.append(_said_of_heights(*risen, issue))
    return confirmed_by(survey.job, doubts), tuple(notes)


def _doubt(origin: ChangedNumbers, survey: Survey) -> Doubtful:
    return Doubtful(Doubt.DATUM, origin["what"], None, *survey.recorded_at("control", "crs"), origin=origin)


def _was_sound(base: Record) -> bool:
    """Say whether an issue had nothing against its datum: another register may be the cure."""
    doubted = any(one["kind"] == Doubt.DATUM and not one["confirmed"] for one in base["doubts"])
    return not doubted and base["verdict"] != Verdict.FAILED


def _moved(base: Record, survey: Survey, rows: Sequence[RegisterMark]) -> _Moved | None:
    """Return the marks that an issue and a job use, where all moved by one vector beyond the tolerance of checks."""
    register = survey.register
    if register is None or base["control"] != control_used(survey.job):
        return None
    axes, before = POSITION[register.kind], {row["mark"]: dict(row) for row in base["register"]}
    was, now = list[tuple[float, ...]](), list[tuple[float, ...]]()
    try:
        for row in rows:
            if (then := before.get(row["mark"])) is not None:
                was.append(tuple(number_written(then[axis]) for axis in axes))
                now.append(tuple(number_written(dict(row)[axis]) for axis in axes))
    except (KeyError, ValueError):  # not held, or written in another way
        return None
    if len(was) < _SEVERAL:
        return None
    one, other = (np.array(numbers) * np.asarray(register.unit, float)[:2] for numbers in (was, now))
    to_metres = np.ones(2)
    if register.kind == "geographic":
        to_metres = np.radians(RADIUS) * np.array([np.cos(np.radians(other[:, 1].mean())), 1.0])
    moved = _Moved(one, other, to_metres)
    far = float(np.hypot(*moved.vector)) > survey.job.checks.horizontal
    return moved if far and moved.lies_at(other - moved.vector / to_metres, _ONE) else None


def number_written(written: object) -> float:
    """Return a coordinate as the register writes it, with a point or a comma; raises `ValueError` for another text."""
    return float(str(written).replace(",", "."))


def _risen(base: Record, survey: Survey, rows: Sequence[RegisterMark]) -> tuple[int, float] | None:
    """Return how many heights an issue and a job use, and the one step [m] by which all moved; None where none is.

    It is none within the vertical tolerance of checks.
    """
    register = survey.register
    if register is None or base["control"] != control_used(survey.job):
        return None
    before = {row["mark"]: row for row in base["register"]}
    used = [(before[row["mark"]], row) for row in rows if row["mark"] in before]
    held = [pair for pair in used if all(row["holds"] != Holds.POSITION and row["height"] for row in pair)]
    try:
        steps = [
            (number_written(now["height"]) - number_written(was["height"])) * register.unit[2] for was, now in held
        ]
    except ValueError:  # written in another way
        return None
    step = float(np.median(steps)) if len(steps) >= _SEVERAL else 0.0
    one = abs(step) > survey.job.checks.vertical and float(np.abs(np.array(steps) - step).max()) <= _ONE_STEP
    return (len(steps), step) if one else None


def _said_of_heights(marks: int, step: float, issue: int) -> str:
    return (
        f"since issue {issue:03d} the heights of the {counted(marks, 'mark')} that the job uses moved by one step in"
        f" the register ({step:+.3f} m): ties absorb that completely and checks still agree; make sure that the new"
        " heights are right and still in the height datum of [control] height"
    )


def _other_datum(moved: _Moved, survey: Survey) -> str | None:
    """Return the datum in which the numbers of now say the places of before; None where there is none."""
    from pipeline.geodesy.misread_coordinates import other_datums

    control = survey.job.control
    if control is None:
        return None
    length = float(np.hypot(*moved.vector))
    each = [other_datums(control.crs, survey.operations.area, *place) for place in moved.now.tolist()]
    for one in each[0]:
        meant = [(other.first, other.second) for found in each for other in found if other.name == one.name]
        within = min(max(_ONE, min(one.accuracy, _PART * length)), 0.3 * length)  # a step of nothing explains nothing
        if one.accuracy <= max(_ONE, length) and len(meant) == len(each) and moved.lies_at(np.array(meant), within):
            return one.name
    return None


def _said(moved: _Moved, other: str | None, issue: int) -> str:
    """Return in words that all marks moved alike, and as which datums are apart."""
    east, north = np.round(moved.vector, 3) + 0.0  # no minus zero
    what = (
        f"since issue {issue:03d} the {counted(len(moved.now), 'mark')} that the job uses moved by one vector in the"
        f" register (east {east:+.3f}, north {north:+.3f} m)"
    )
    if other is None:
        return (
            f"{what}: ties absorb that completely and checks still agree; make sure that the new coordinates are right"
        )
    return (
        f"{what}, as if its numbers were in {other} now: ties absorb a wrong datum completely and checks still agree;"
        " check whether [control] crs is still that of the register"
    )
