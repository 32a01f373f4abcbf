"""`tiedown plan`: what a day that is only intended would give, and what one more tie or check would gain."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.fieldwork.field_job import FieldJob, find_field_job
from pipeline.fieldwork.forecast import ForeseenSession, Intended, forecast_sessions
from pipeline.fieldwork.gains import Gain, gains
from pipeline.fieldwork.mark_pairs import working
from pipeline.fieldwork.nearby_marks import Marks, with_blanks
from pipeline.job.model import Plan, PlannedSession
from pipeline.job.toml_text import listed as as_list
from pipeline.near import listed, nearest
from pipeline.problems import JobError, Problem, Problems, refusals_told
from pipeline.sealed import sealed_off

#: Names of marks in the lines of a plan to start from, and its corners from the middle of the marks, metres.
_SHOWN, _AROUND = 4, np.array([-300.0, 300.0])


class NoPlan(JobError):
    """The job file has no plan; ``lines`` are ones to start from."""

    def __init__(self, problem: Problem, lines: tuple[str, ...]) -> None:
        self.lines = lines
        super().__init__([problem])


class Foreseen(Struct, frozen=True):
    """A plan as foreseen.

    Args:
        look: the job, its marks and its work.
        marks: those of ``find_field_job`` with the planned pegs behind them.
        sessions: what each would give.
        ends: per session (k, 2) the places of its work, metres on the grid: its corners, then its middle.
        gains: what one more tie or check would gain, the most first.
        attention: in words, what leaves points untied or unproven, or a blunder unseen.
    """

    look: FieldJob
    marks: Marks
    sessions: tuple[ForeseenSession, ...]
    ends: tuple[Floats, ...]
    gains: tuple[Gain, ...]
    attention: tuple[str, ...]


@sealed_off()
@refusals_told()
def plan_job(path: Path) -> Foreseen:
    """Return what the plan of a job would give; nothing is read but the register and the newest issue's record.

    Raises `JobError` for a job without a plan, and for a plan that names what there is not.
    """
    found = find_field_job(path, planned=True)
    plan = found.loaded.job.plan
    if plan is None or not plan.session:
        raise _no_plan(found, plan)
    problems = Problems()
    marks = _with_pegs(found, plan, problems)
    ends = tuple(_ends(found, plan, session) for session in plan.session)
    sessions = _intended(found, plan, marks, ends, problems)
    problems.raise_if_any()
    job, operations = found.loaded.job, found.operations
    foreseen = forecast_sessions(sessions, marks, job, operations)
    tried = [at for at, off in enumerate(found.distance.tolist()) if off <= plan.within and marks.held[at].any()]
    gained = gains(foreseen, marks, tried, job, operations)
    return Foreseen(found, marks, foreseen, ends, gained, tuple(_attention(foreseen, marks)))


def _no_plan(found: FieldJob, plan: Plan | None) -> NoPlan:
    """Return what to say of a job without a plan, with lines to start from."""
    marks = found.marks
    names = [name for at, name in enumerate(marks.names) if marks.held[at].all()]
    middle = np.nanmean(marks.grid[:, :2], axis=0)
    east, north, _ = found.axes.written(middle[0] + _AROUND, middle[1] + _AROUND, 0.0)
    corners = [f"[{one:.1f}, {other:.1f}]" for one, other in zip(east.tolist(), north.tolist(), strict=True)]
    lines = [
        *([] if plan is not None else ["[plan]", f"area = [{', '.join(corners)}]", ""]),
        "[[plan.session]]",
        'name = "day 1"',
        f"ties = {as_list(names[:1])}",
        f"checks = {as_list(names[1:_SHOWN])}",
    ]
    what = "the job has no [plan]" if plan is None else "the [plan] has no session"
    where = found.loaded.where("plan") if plan is not None else (found.loaded.shown, 0)
    return NoPlan(Problem(*where, what, "state what is intended, for example with the lines below"), tuple(lines))


def _with_pegs(found: FieldJob, plan: Plan, problems: Problems) -> Marks:
    """Return the marks at hand with the planned pegs behind them."""
    marks, where = found.marks, found.loaded.where
    for number, peg in enumerate(plan.pegs):
        twice = [other.mark for other in plan.pegs[:number]]
        if peg.mark in (*marks.names, *twice):
            what = f'the peg "{peg.mark}" has the name of another mark'
            problems.add(*where("plan", "pegs", number, "mark"), what, "give it a name of its own")
    if problems.found or not plan.pegs:
        return marks
    made = with_blanks(marks, [peg.mark for peg in plan.pegs])
    first = len(marks.names)
    made.grid[first:, :2] = _metres(found, [peg.at for peg in plan.pegs])
    made.xyz[first:] = working(made.grid[first:, :2], marks, found.operations, _height(found, plan))
    geographic = found.operations.frames.to_geographic.forward(*made.xyz[first:].T)
    made.geographic[first:] = np.column_stack(geographic)
    return made


def _metres(found: FieldJob, spots: Sequence[tuple[float, float]]) -> Floats:
    """Return (n, 2) places of the job file in metres to the east and north."""
    written = np.array(spots, np.float64)
    east, north, _ = found.axes.metres(written[:, 0], written[:, 1], 0.0)
    return np.column_stack([east, north])


def _height(found: FieldJob, plan: Plan) -> float | None:
    return None if plan.height is None else float(found.axes.metres(0.0, 0.0, plan.height)[2])


def _ends(found: FieldJob, plan: Plan, session: PlannedSession) -> Floats:
    """Return (k, 2) the corners of a session's work and its middle; of two corners those of the rectangle."""
    given = _metres(found, session.area or plan.area)
    low, high = given.min(axis=0), given.max(axis=0)
    if len(given) == 2:
        given = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    return np.vstack([given, (low + high) / 2.0])


def _intended(
    found: FieldJob, plan: Plan, marks: Marks, ends: Sequence[Floats], problems: Problems
) -> tuple[Intended, ...]:
    number = {name: at for at, name in enumerate(marks.names)}
    height, made = _height(found, plan), []
    for at, session in enumerate(plan.session):
        _check_session(found, plan, at, number, problems)
        if any(name not in number for name in (*session.ties, *session.checks, session.setup or marks.names[0])):
            continue
        middle = ends[at][-1:] if session.base is None else _metres(found, [session.base])
        base = working(middle, found.marks, found.operations, height)[0]
        over = None if session.setup is None else number[session.setup]
        made.append(
            Intended(
                session.name,
                base if over is None else marks.xyz[over],
                over,
                tuple(number[name] for name in session.ties),
                tuple(number[name] for name in session.checks),
                working(ends[at], found.marks, found.operations, height),
            )
        )
    return tuple(made)


def _check_session(found: FieldJob, plan: Plan, at: int, known: dict[str, int], problems: Problems) -> None:
    """Note what a planned session names that there is not, and what contradicts itself."""
    session, where = plan.session[at], found.loaded.where
    uses = [("ties", name) for name in session.ties] + [("checks", name) for name in session.checks]
    uses += [("setup", session.setup)] if session.setup is not None else []
    for key, name in dict.fromkeys(uses):
        if name not in known:
            near = nearest(name, known)
            fix = f"did you mean {' or '.join(near)}? " if near else ""
            what = f'the plan names the mark "{name}", which is neither in the register nor a peg of the plan'
            there = f"{fix}at hand are {listed(known)}; a mark to be set goes into pegs"
            problems.add(*where("plan", "session", at, key), what, there)
    pegs = {peg.mark for peg in plan.pegs}
    tying = {*session.ties, *([session.setup] if session.setup is not None else [])}
    for name in dict.fromkeys(session.checks):
        if name in pegs:
            what = f'a check on the peg "{name}" proves nothing: its coordinates are not known'
            problems.add(*where("plan", "session", at, "checks"), what, "check on a mark of the register")
        elif name in tying:
            what = f'"{name}" ties the session {session.name}, so a check on it is not independent'
            problems.add(*where("plan", "session", at, "checks"), what, "check on another mark")
    if session.base is not None and session.setup is not None:
        what = f"the base of session {session.name} is planned both at a place and over a mark"
        problems.add(*where("plan", "session", at, "setup"), what, "keep one of them")
    if session.name in [other.name for other in plan.session[:at]]:
        what = f"there is a planned session '{session.name}' already"
        problems.add(*where("plan", "session", at, "name"), what, "give each a name of its own")


def _attention(sessions: Sequence[ForeseenSession], marks: Marks) -> list[str]:
    """Return what leaves points untied or unproven, or a blunder in a tie unseen."""
    told = []
    for session in sessions:
        name = session.intended.name
        lacks = [word for word, tied in zip(("position", "height"), session.tied, strict=True) if not tied]
        if lacks:
            told.append(f"session {name} would not be tied in {' and '.join(lacks)}")
            continue
        shown = [one.shown for one in session.checks]
        unproven = [
            word
            for word, axis in (("position", "horizontal"), ("height", "vertical"))
            if all(np.isnan(getattr(one, axis)) for one in shown)
        ]
        if unproven:
            told.append(f"session {name} would be unchecked in {' and '.join(unproven)}")
        for tie in session.ties:
            unseen = [
                word
                for word, value, axis in (("plan", tie.shown.horizontal, 0), ("height", tie.shown.vertical, 2))
                if np.isnan(value) and not unproven
            ]
            if unseen:
                kind = "set-up" if tie.setup else "tie"
                told.append(f"session {name}: nothing would show a blunder in the {kind} on {marks.names[tie.mark]}")
    return told
