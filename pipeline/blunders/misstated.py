"""The hypotheses that a field shift which the job states was applied otherwise: never, twice, when, by how much.

Or that it was typed otherwise: with a sign changed, or east and north exchanged.
"""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.blunders.scope import Case, Scope
from pipeline.blunders.score import HEIGHT, PARTS, Hypothesis, Kind, OneShape
from pipeline.clock import stamp
from pipeline.geodesy.frames import enu_rotation
from pipeline.solve.field_shifts import FieldReadings, TakenOut

#: `Group.times` of a shift that was applied with the opposite sign.
_OPPOSITE = -2
_DECIDE = "the field record of what was applied"


class Group(Struct, frozen=True):
    """Occupations that may carry a stated field shift otherwise than stated.

    Args:
        rows: those of `OnMarks`, by time.
        times: how often the shift is in them beyond what is taken out: -1 where they do not carry it, -2 where they
            carry its opposite, else 1.
        sentence: who they are and what they do.
    """

    rows: tuple[int, ...]
    times: int
    sentence: str


class Retyped(Struct, frozen=True):
    """A stated field shift as it would have to be stated, if it was typed wrongly.

    Args:
        one: as it is stated.
        vector: (3,) as it was applied, as `TakenOut` has it: X, Y, Z, or in the grid model on the grid.
    """

    one: TakenOut
    vector: Floats


def misstated(scope: Scope, session: int, own: Integers) -> Iterator[tuple[Hypothesis, Retyped | None]]:
    """Yield the hypotheses about the field shifts that a session states, with what to state where that is known."""
    for one in scope.case.solved.field.of(session):
        carried, earlier, later = _rows(scope.case, one, own)
        groups = list(_groups(scope.case, one, own))
        if not groups:
            continue
        every = [*earlier, *carried, *later]
        vector = one.geocentric + (_geocentric(scope, every[0], one.grid) if one.grid.any() else 0.0)
        alone = np.concatenate([scope.influence.displaced([row], vector[None]) for row in every])
        sums = np.concatenate([np.zeros_like(alone[:1]), np.cumsum(alone, axis=0)])
        place = {row: number for number, row in enumerate(every)}
        for group in groups:
            shape = group.times * (sums[place[group.rows[-1]] + 1] - sums[place[group.rows[0]]])
            other = Retyped(one, -(one.geocentric + one.grid)) if group.times == _OPPOSITE else None
            yield Hypothesis(Kind.FIELD_SHIFT, group.sentence, shape, decide=_DECIDE), other
        if carried:
            yield from _typed_otherwise(scope, one, carried)
            yield from ((hypothesis, None) for hypothesis in _by_more(scope, one, carried, len(own)))


class StatedGroups(Struct, frozen=True):
    """What a session states of field shifts, as groups of its occupations that may carry them otherwise."""

    tolerance: float
    groups: tuple[tuple[TakenOut, Group], ...]

    @classmethod
    def of(cls, case: Case, session: int, own: Integers) -> "StatedGroups":
        """Return that of a session with its occupations, ``own`` (k,)."""
        stated = case.solved.field.of(session)
        found = tuple((one, group) for one in stated for group in _groups(case, one, own))
        return cls(2.0 * case.tolerance.vertical, found)

    def accounts_for(self, carrying: Integers, vector: Floats) -> bool:
        """Whether occupations that carry a (3,) geocentric vector which nobody states are a group of a stated one."""
        rows = tuple(carrying.tolist())
        return any(group.rows == rows and self._alike(vector, one, group.times) for one, group in self.groups)

    def _alike(self, vector: Floats, one: TakenOut, times: int) -> bool:
        """Whether a vector is a stated one so many times; of one stated in the grid the length decides."""
        if one.grid.any():
            return abs(float(np.linalg.norm(vector) - np.linalg.norm(one.grid))) <= self.tolerance
        return float(np.linalg.norm(vector - times * one.geocentric)) <= self.tolerance


def _rows(case: Case, one: TakenOut, own: Integers) -> tuple[list[int], list[int], list[int]]:
    """Return by time a session's occupations that carry a field shift as stated, those before and those after.

    Of the latter two only those of its receiver which carry no other; what it was worked out from is raw.
    """
    table, times = case.solved.occupations.table, case.solved.occupations.time
    readings = FieldReadings.of(table)
    carried, other = one.carried(readings), np.zeros(len(times), bool)
    for stated in case.solved.field.of(one.window.session):
        other |= stated.carried(readings)
    mine: Flags = one.window.of_receiver(readings.export, readings.base)
    rows = own[np.argsort(times[own], kind="stable")]
    free = rows[mine[rows] & ~other[rows]]
    since = _given(case, one)
    early = free[(times[free] < one.window.start) & (times[free] > since)]
    return rows[carried[rows]].tolist(), early.tolist(), free[times[free] >= one.window.until].tolist()


def _given(case: Case, one: TakenOut) -> int:
    """Return UTC milliseconds of the reading that a field shift was worked out from, else of its session's start."""
    start = case.survey.windows[one.window.session].start_ms - 1
    return max(start, int(case.survey.candidates.time[one.used.row])) if one.used is not None else start


def _which(case: Case, one: TakenOut) -> str:
    """Return how a field shift is called: beside others of its session by its beginning, or by its place among them."""
    begins = [other.window.start for other in case.solved.field.of(one.window.session)]
    if len(begins) == 1:
        return "the field shift"
    number = f" (number {one.window.position + 1} of its session)" if begins.count(one.window.start) > 1 else ""
    return f"the field shift from {stamp(one.window.start)} UTC{number}"


def _groups(case: Case, one: TakenOut, own: Integers) -> Iterator[Group]:
    carried, earlier, later = _rows(case, one, own)
    which = _which(case, one)
    names, times = case.solved.occupations.table.column("name").to_pylist(), case.solved.occupations.time.tolist()

    def between(since: int, until: int) -> str:
        return f"between {stamp(since)} and {stamp(until)} UTC"

    if carried:
        yield Group(tuple(carried), -1, f"the export does not carry {which}")
        yield Group(tuple(carried), 1, f"the export carries {which} twice")
        sign = "was subtracted in the field" if one.used is not None else "is stated with the wrong sign"
        yield Group(tuple(carried), _OPPOSITE, f"{which} {sign}: the export carries its opposite")
    for row in carried if len(carried) > 1 else []:
        yield Group((row,), 1, f"{names[row]} carries {which} twice")
        if row not in (carried[0], carried[-1]):
            yield Group((row,), -1, f"{names[row]} does not carry {which}")
    for place in range(1, len(carried)):
        first, second = carried[:place], carried[place:]
        when = between(times[first[-1]], times[second[0]])
        who = f"{names[first[0]]} does" if place == 1 else f"the readings up to {names[first[-1]]} do"
        yield Group(tuple(first), -1, f"{who} not carry {which}: it was switched on {when}")
        who = f"{names[second[0]]} does" if len(second) == 1 else f"the readings from {names[second[0]]} on do"
        yield Group(tuple(second), -1, f"{who} not carry {which}: it was switched off {when}")
    before = [_given(case, one), *(times[row] for row in earlier)]
    for place, row in enumerate(earlier):
        who = f"{names[row]} carries" if place == len(earlier) - 1 else f"the readings from {names[row]} on carry"
        said = f"{who} {which} already: it was switched on {between(before[place], times[row])}"
        yield Group(tuple(earlier[place:]), 1, f"{said}, before its from")
    for place, row in enumerate(later):
        who = f"{names[row]} still carries" if place == 0 else f"the readings up to {names[row]} still carry"
        off = f"between {stamp(times[row])} and {stamp(times[later[place + 1]])} UTC" if row != later[-1] else "later"
        yield Group(tuple(later[: place + 1]), 1, f"{who} {which}: it was switched off {off}, after its until")


#: How the three numbers of a vector are mistyped one at a time, as the rows of a matrix that gives what was meant.
_SLIPS = {
    "the sign of its east is": np.diag([-1.0, 1.0, 1.0]),
    "the sign of its north is": np.diag([1.0, -1.0, 1.0]),
    "the sign of its up is": np.diag([1.0, 1.0, -1.0]),
    "the signs of its east and north are": np.diag([-1.0, -1.0, 1.0]),
    "its east and north are swapped, which is": np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]),
}


def _typed_otherwise(scope: Scope, one: TakenOut, carried: list[int]) -> Iterator[tuple[Hypothesis, Retyped | None]]:
    """Yield that a stated vector was mistyped in its signs, or east for north."""
    stated = one.window.stated
    if one.used is not None:
        return
    typed = np.array([stated.east, stated.north, stated.up], np.float64)
    for said, meant in _SLIPS.items():
        if np.allclose(other := meant @ typed, typed) or np.allclose(other, -typed):
            continue
        if stated.model == "grid":
            signs = scope.case.survey.axes.signs()
            vector = other * signs
            more = _geocentric(scope, carried[0], vector) - _geocentric(scope, carried[0], typed * signs)
        else:
            # a vector stands as it was turned into space: east, north and up at one place
            turned = turn_of(scope.case, one)
            vector = turned.T @ other
            more = vector - one.geocentric
        shape = scope.influence.displaced(carried, more[None])[0]
        text = f"in {_which(scope.case, one)} {said} wrong: it was applied as {_numbers(other)}"
        yield Hypothesis(Kind.FIELD_SHIFT, text, shape, decide=_DECIDE), Retyped(one, vector)


def turn_of(case: Case, one: TakenOut) -> Floats:
    """Return (3, 3) what turns a stated vector's X, Y, Z into its east, north, up."""
    to_geographic = case.survey.operations.frames.to_geographic
    longitude, latitude, _ = to_geographic.forward(*vector_place(case, one.window.session))
    return np.asarray(enu_rotation(float(longitude), float(latitude)), np.float64)


def vector_place(case: Case, session: int) -> Floats:
    """Return (3,) where the east, north and up of a session's field shift are meant: as `field_shifts` takes them."""
    ties = case.survey.windows[session].session.ties
    marks = dict(zip(case.solved.tied.marks.names, case.solved.tied.marks.xyz, strict=True))
    return np.asarray(marks[ties[0].mark] if ties else case.solved.places[session])


def _numbers(vector: Floats) -> str:
    return ", ".join(f"{axis} {value:+.3f}" for axis, value in zip(("east", "north", "up"), vector, strict=True))


def _by_more(scope: Scope, one: TakenOut, carried: list[int], count: int) -> Iterator[Hypothesis]:
    """Yield that the field applied other numbers. Of a height alone a pole is as likely; common practice, no source."""
    shape, group = scope.influence.any_displaced(dict.fromkeys(carried, 1.0)), OneShape()
    stated = one.window.stated
    which, why, typed = _which(scope.case, one), "check what the equipment recorded", stated.tie is None
    if stated.tie is not None:
        which = f"{which} by {stated.tie} on {stated.mark}"
        typed = stated.easting is not None or stated.longitude is not None
        why = f"{stated.mark} had other coordinates in the field" + (
            " than its field_shift says" if typed else " (typed wrongly, or before a revision of the register)"
        )
    for free, what in PARTS:
        text = f"{which} is not what the field applied: applied minus stated{what} is {{size}}; {why}"
        guesses = float(count) if free == HEIGHT and not typed else 1.0
        yield Hypothesis(Kind.MISSTATED, text, shape, free, _DECIDE, guesses=guesses, group=group)


def _geocentric(scope: Scope, row: int, grid: Floats) -> Floats:
    """Return (3,) the geocentric vector of (3,) metres of easting, northing and height at an occupation."""
    found, to_issued = scope.case.solved.occupations.corrected, scope.case.survey.operations.frames.to_issued
    here = np.array([found.easting[row], found.northing[row], found.height[row]])
    there = np.column_stack(to_issued.inverse(*np.vstack([here, here + grid]).T))
    return np.asarray(there[1] - there[0])
