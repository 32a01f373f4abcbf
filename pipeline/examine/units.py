"""Doubts about units: a register or an export in another foot than its CRS counts in, or in feet instead of metres."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from pipeline.arrays import Floats
from pipeline.control import Register
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.mark_heights import Above
from pipeline.examine.unit_slips import another_foot, feet_for_metres
from pipeline.geodesy.epochs import decimal_year
from pipeline.geodesy.frames import geocentric_to_local
from pipeline.geodesy.operations import Operation, OperationError
from pipeline.geodesy.units import METRES, lengths
from pipeline.intake.survey import Survey
from pipeline.words import Doubt

_FEET = ("foot", "us-survey-foot")
#: Names that one sentence lists.
_NAMED = 3


@dataclass(frozen=True)
class _Counted:
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


def unit_doubts(survey: Survey, register: Register, above: Above) -> list[Doubtful]:
    """Return the doubts about the units of the register and of each block, from the marks over the readings on them."""
    if survey.operations.register is None:
        return []
    found: list[Doubtful] = []
    read = (register.first[above.mark], register.second[above.mark], np.nan_to_num(register.third[above.mark]))
    xyz = np.column_stack(survey.operations.register.forward(*read))
    for counted, sessions in _every(survey, register):
        looks = _looks(counted, survey, xyz, above, sessions)
        for what in dict.fromkeys(looks.values()):
            of = tuple(session for session, one in looks.items() if one == what)
            names = ", ".join(survey.windows[session].session.name for session in of[:_NAMED])
            more = f" and {len(of) - _NAMED} more" if len(of) > _NAMED else ""
            text = f"session{'s' if len(of) > 1 else ''} {names}{more}: {what}; see {counted.look}"
            every = len(of) == len(survey.windows)
            found.append(Doubtful(Doubt.UNITS, text, None if every else of, *counted.at))
    return found


def _every(survey: Survey, register: Register) -> Iterator[tuple[_Counted, list[int]]]:
    """Yield the register and each block with the sessions that it says anything of."""
    control, where = survey.job.control, survey.prepared.loaded.recorded_at
    year = float(decimal_year([survey.first_pass.newest or 0])[0])
    if control is not None and survey.operations.register is not None:
        plan = register.unit[0] if register.kind == "projected" else 0.0
        look = "crs, height and units of [control]"
        sessions = list(range(len(survey.windows)))
        at = where("control", "crs")
        by = survey.operations.register
        yield _Counted("the register's", look, by, plan, register.unit[2], 1, year, at), sessions
    for number, block in enumerate(survey.job.points):
        only = survey.first_pass.blocks[:, number] & (survey.first_pass.blocks.sum(axis=1) == 1)
        try:
            unit = lengths(block.crs or "", block.units)
        except OperationError:
            continue  # told where the block is read
        way, plan = survey.operations.frames.to_working[number], 0.0 if unit.degrees else unit.plan
        look = f"crs and units of [[points]] number {number + 1}"
        at = where("points", number, "crs")
        counted = _Counted("the export's", look, way, plan, unit.up, -1, year, at)
        yield counted, np.flatnonzero(only).tolist()


def _looks(counted: _Counted, survey: Survey, xyz: Floats, above: Above, sessions: list[int]) -> dict[int, str]:
    """Return in words what the numbers look like in each session, where that is not what they should."""
    others = [METRES[word] for word in _FEET if _is_foot(counted.plan) and not _same(METRES[word], counted.plan)]
    plans = [(other, _moved(counted, survey, xyz, other / counted.plan, 1.0)) for other in others]
    meant = METRES["metre"] if _is_foot(counted.up) else METRES["foot"]
    up = _moved(counted, survey, xyz, 1.0, meant / counted.up)[:, 2]
    found = {}
    for session in sessions:
        rows = above.session == session
        off = above.off[rows]
        for other, moved in plans:
            if another_foot(off[:, :2], moved[rows, :2]):
                east, north = np.nanmedian(off[:, :2], axis=0)
                found[session] = (
                    f"the marks lie {east:+.1f} m east and {north:+.1f} m north of the raw readings on them, much as"
                    f" they would if {counted.whose} eastings and northings were in {_called(other)}, not in"
                    f" {_called(counted.plan)}"
                )
        if feet_for_metres(off[:, 2], up[rows]):
            found[session] = (
                f"the marks lie {np.nanmedian(off[:, 2]):+.1f} m above the raw readings on them, much as they would if"
                f" {counted.whose} heights were in {_called(meant)}, not in {_called(counted.up)}"
            )
    return found


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
