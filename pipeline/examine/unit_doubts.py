"""Doubts the units of a register or export: another foot than its CRS uses, or feet instead of metres."""

import math
from collections.abc import Iterator, Mapping

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.control import Register
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.mark_heights import Above, middle
from pipeline.examine.systematic import ALIKE
from pipeline.examine.unit_slips import (
    another_foot,
    by_heights,
    differ,
    feet_for_metres,
    high_for_feet,
    may_be_another_foot,
)
from pipeline.geodesy.epochs import decimal_year
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.frames import geocentric_to_local
from pipeline.geodesy.transform import Operation
from pipeline.geodesy.units import METRES, lengths
from pipeline.intake.base_values import merged
from pipeline.intake.survey import Survey
from pipeline.near import and_more
from pipeline.words import Doubt, plural

_FEET = ("foot", "us-survey-foot")
#: Names that one sentence lists.
_NAMED = 3


class _Counted(Struct, frozen=True):
    """What counts in a unit: whose it is, the keys to look at, its way to the working frame, and its units [m].

    ``plan`` is 0 for degrees. ``sign`` is +1 for the register, whose numbers put marks where they are, -1 for readings;
    ``year`` is the time at which a way that depends on it is gone; ``at`` is file and line.
    """

    whose: str
    look: str
    way: Operation
    plan: float
    up: float
    sign: int
    year: float
    at: tuple[str, int]


def unit_doubts(
    survey: Survey, register: Register, above: Above, rivals: Mapping[int, float]
) -> tuple[list[Doubtful], set[int]]:
    """Return the doubts about the units of the register and of each block, from the marks over the readings on them.

    ``rivals`` are sessions whose heights another height system explains, with the metres that it leaves. That is told
    alone, as the commoner mistake, unless marks of different heights tell the unit, or heights are to be in feet and
    metres leave less. Returned too are those of them that the unit explains better.
    """
    if survey.operations.register is None:
        return [], set()
    found: list[Doubtful] = []
    better: set[int] = set()
    xyz = _marks(survey.operations.register, register, above)
    for counted, sessions in _every(survey, register):
        looks, in_height = _looks(counted, survey, xyz, above, sessions)
        for session, (what, left) in in_height.items():
            if session not in rivals or left < rivals[session]:
                looks[session] = what
                better |= {session} & rivals.keys()
        for what in dict.fromkeys(looks.values()):
            of = tuple(session for session, one in looks.items() if one == what)
            names = ", ".join(survey.windows[session].session.name for session in of[:_NAMED])
            more = and_more(len(of) - _NAMED)
            text = f"{plural(len(of), 'session')} {names}{more}: {what}; check {counted.look}"
            every = len(of) == len(survey.windows)
            found.append(Doubtful(Doubt.UNITS, text, None if every else of, *counted.at))
    return found, better


def stated_unit_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt for each export that states another unit above its header than the job file does."""
    found = []
    for log, export in zip(survey.first_pass.files, survey.exports, strict=True):
        if export.other_unit is not None:
            line, what = export.other_unit
            sessions = tuple(np.flatnonzero(log.sessions).tolist())
            found.append(Doubtful(Doubt.UNITS, f"{what}, as the job file states", sessions, export.shown, line))
    return found


def foot_notes(survey: Survey, register: Register, above: Above) -> Iterator[str]:
    """Yield in words where eastings and northings may be in the other foot, and a base alone may be off by as much."""
    if survey.operations.register is None:
        return
    xyz = _marks(survey.operations.register, register, above)
    for counted, sessions in _every(survey, register):
        if not (others := _other_feet(counted)):
            continue
        plans = [_moved(counted, survey, xyz, other / counted.plan, 1.0)[:, :2] for other in others]
        of = _middles(above, plans, np.zeros(len(xyz)), sessions)
        for other, plan in zip(others, of.plan, strict=True):
            off = of.off[of.once]
            if may_be_another_foot(off[:, :2], plan[of.once]) and not another_foot(off[:, :2], plan[of.once]):
                file, line = counted.at
                yield (
                    f"{file}:{line}: {_in_plan(counted, off, other)}. A base that averaged its own position may be off"
                    f" by as much, and nothing here tells which it is: make sure of {counted.look}"
                )


def _marks(way: Operation, register: Register, above: Above) -> Floats:
    """Return (n, 3) the marks in the working frame."""
    read = (register.first[above.mark], register.second[above.mark], np.nan_to_num(register.third[above.mark]))
    return np.column_stack(way.forward(*read))


def _other_feet(counted: _Counted) -> list[float]:
    """Return the metres of the other foot, where eastings and northings count in one."""
    return [METRES[word] for word in _FEET if _is_foot(counted.plan) and not _same(METRES[word], counted.plan)]


def _every(survey: Survey, register: Register) -> Iterator[tuple[_Counted, list[int]]]:
    """Yield the register and each block with the sessions that it says anything of."""
    control, where = survey.job.control, survey.prepared.loaded.recorded_at
    year = float(decimal_year([survey.first_pass.newest or 0])[0])
    if control is not None and survey.operations.register is not None:
        plan = abs(register.unit[0]) if register.kind == "projected" else 0.0
        look = "crs, height and units of [control]"
        sessions = list(range(len(survey.windows)))
        at = where("control", "crs")
        by = survey.operations.register
        yield (
            _Counted(
                whose="the register's", look=look, way=by, plan=plan, up=abs(register.unit[2]), sign=1, year=year, at=at
            ),
            sessions,
        )
    for number, block in enumerate(survey.job.points):
        only = survey.first_pass.blocks[:, number] & (survey.first_pass.blocks.sum(axis=1) == 1)
        try:
            unit = lengths(block.crs or "", block.units)
        except OperationError:
            continue  # told where the block is read
        way, plan = survey.operations.frames.to_working[number], 0.0 if unit.degrees else unit.plan
        look = f"crs and units of [[points]] number {number + 1}"
        at = where("points", number, "crs")
        counted = _Counted(whose="the export's", look=look, way=way, plan=plan, up=unit.up, sign=-1, year=year, at=at)
        yield counted, np.flatnonzero(only).tolist()


class _Middles(Struct, frozen=True):
    """The middle of each session's marks over the readings on them, (k,) sessions; the first of each base's error.

    ``off`` is (k, 3) metres east, north, up, ``plan`` (k, 2) what it would be in each other unit of eastings and
    northings, ``rest`` (k,) what would be left in height in the other unit of heights.
    """

    session: tuple[int, ...]
    once: list[int]
    off: Floats
    plan: list[Floats]
    rest: Floats


def _looks(
    counted: _Counted, survey: Survey, xyz: Floats, above: Above, sessions: list[int]
) -> tuple[dict[int, str], dict[int, tuple[str, float]]]:
    """Return in words what the numbers look like in each session, where that is not what they should: plan and height.

    With the latter come the metres that the other unit leaves: 0 where marks of different heights tell it, infinite
    where nothing but chance would have it in feet.
    All sessions together tell it of each, those too that no mark says anything of; else a session tells it of itself.
    """
    others = _other_feet(counted)
    heights = _Heights.of(counted, survey, xyz, above)
    plans = [_moved(counted, survey, xyz, other / counted.plan, 1.0)[:, :2] for other in others]
    of = _middles(above, plans, heights.rest, sessions)
    return _looks_in_plan(counted, others, of, sessions), _looks_in_height(counted, heights, of, sessions)


def _looks_in_plan(counted: _Counted, others: list[float], of: _Middles, sessions: list[int]) -> dict[int, str]:
    """Return by session where eastings and northings look as if they were in one of the ``others`` [m].

    The register is the same for all sessions: one of them alone tells nothing of its eastings and northings.
    """
    found: dict[int, str] = {}
    for other, plan in zip(others, of.plan, strict=True):
        alone = [row for row in range(len(of.session)) if another_foot(of.off[row : row + 1, :2], plan[row : row + 1])]
        if another_foot(of.off[of.once, :2], plan[of.once]):
            found |= dict.fromkeys(sessions, _in_plan(counted, of.off[of.once], other))
        elif counted.sign < 0:
            found |= {of.session[row]: _in_plan(counted, of.off[row : row + 1], other) for row in alone}
    return found


class _Heights(Struct, frozen=True):
    """Heights of (n,) marks over the readings on them [m], and what another unit makes of that.

    Args:
        session: (n,) session of the readings.
        off: (n,) as they were read.
        made: (n,) what the other unit alone would make of marks and readings that fit.
        rest: (n,) what is left where it was the other unit.
        meant: metres of that unit.
    """

    session: Integers
    off: Floats
    made: Floats
    rest: Floats
    meant: float

    @classmethod
    def of(cls, counted: _Counted, survey: Survey, xyz: Floats, above: Above) -> "_Heights":
        """Return heights counted in feet as if meant in metres, and all others as if in feet."""
        meant = METRES["metre"] if _is_foot(counted.up) else METRES["foot"]
        made = _moved(counted, survey, xyz, 1.0, meant / counted.up)[:, 2]
        rest = above.off[:, 2] - made
        if counted.sign < 0:
            rest *= meant / counted.up  # the base's error was read in the other unit too
        return cls(above.session, above.off[:, 2], made, rest, meant)

    def among(self, which: Flags) -> "_Heights":
        """Return those of ``which`` (n,) marks."""
        return _Heights(self.session[which], self.off[which], self.made[which], self.rest[which], self.meant)


def _looks_in_height(
    counted: _Counted, heights: _Heights, of: _Middles, sessions: list[int]
) -> dict[int, tuple[str, float]]:
    """Return by session where heights look as if they were in the other unit, and the metres that this leaves."""
    by_session = {session: heights.among(heights.session == session) for session in sessions}
    in_feet = _is_foot(counted.up)
    here = heights.among(np.isin(heights.session, sessions))
    denied = by_heights(here.off, here.made, here.session) is False
    if high_for_feet(of.off[of.once, 2], of.rest[of.once]) and not denied:
        left = abs(float(np.nanmedian(of.rest[of.once]))) if in_feet else np.inf
        what = _in_height(counted, of.off[of.once], heights.meant)
        return {session: (what, 0.0 if _told(own) else left) for session, own in by_session.items()}
    high: dict[int, tuple[str, float]] = {}
    for row, session in enumerate(of.session):
        own = by_session[session]
        if feet_for_metres(own.off, own.rest, own.made):
            left = abs(float(of.rest[row])) if in_feet else np.inf
            what = _in_height(counted, of.off[row : row + 1], heights.meant)
            high[session] = (what, 0.0 if differ(own.off) else left)
    return high


def _told(heights: _Heights) -> bool:
    """Tell whether marks with different heights would be left all alike in the other unit."""
    return differ(heights.off) and feet_for_metres(heights.off, heights.rest, heights.made)


def _middles(above: Above, plans: list[Floats], rest: Floats, sessions: list[int]) -> _Middles:
    """Return what each of these sessions says that has a mark with a position or height."""
    every = np.column_stack([above.off, *plans, rest])
    own = {session: every[above.session == session] for session in sessions}
    middles = np.array([middle(values) for values in own.values() if len(values)]).reshape(-1, every.shape[1])
    off, other = middles[:, :3], middles[:, 3:-1]
    once = [group[0] for group in merged(np.nan_to_num(off), ALIKE[1])]
    said = tuple(session for session, values in own.items() if len(values))
    return _Middles(said, once, off, [other[:, at : at + 2] for at in range(0, 2 * len(plans), 2)], middles[:, -1])


def _in_plan(counted: _Counted, off: Floats, other: float) -> str:
    east, north = np.nanmedian(off[:, :2], axis=0)
    return (
        f"the marks are {east:+.1f} m east and {north:+.1f} m north of the raw readings on them, about what you get if"
        f" {counted.whose} eastings and northings are in {_called(other)}, not in {_called(counted.plan)}"
    )


def _in_height(counted: _Counted, off: Floats, meant: float) -> str:
    return (
        f"the marks are {np.nanmedian(off[:, 2]):+.1f} m above the raw readings on them, about what you get if"
        f" {counted.whose} heights are in {_called(meant)}, not in {_called(counted.up)}"
    )


def _moved(counted: _Counted, survey: Survey, xyz: Floats, plan: float, up: float) -> Floats:
    """Return (n, 3) metres east, north, up that marks are off if their numbers mean so many times what was read."""
    if counted.sign < 0:  # a mark is where its reading is meant to be, and the reading as taken lies elsewhere
        plan, up = 1.0 / plan, 1.0 / up
    year = np.full(len(xyz), counted.year)
    x, y, z = xyz.T
    first, second, third = counted.way.inverse(x, y, z, year)
    moved = xyz - np.column_stack(counted.way.forward(first * plan, second * plan, third * up, year))
    longitude, latitude, _ = survey.operations.frames.to_geographic.forward(*xyz.T)
    return np.asarray(geocentric_to_local(moved, longitude, latitude)).reshape(-1, 3)


def _is_foot(metres: float) -> bool:
    return any(_same(metres, METRES[word]) for word in _FEET)


def _same(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=1e-7)


def _called(metres: float) -> str:
    names = {"metre": "metres", "foot": "international feet", "us-survey-foot": "US survey feet"}
    return next((names[word] for word, size in METRES.items() if _same(size, metres)), "the unit of its CRS")
