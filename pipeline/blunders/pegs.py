"""Blunders at temporary marks: no register judges an occupation of a peg, but whatever hangs on it fails elsewhere.

A peg lies where ties put it. One that was read with a wrong pole height, or on another peg than it says, takes along
every session that hangs on the peg, and so does a base over it: of the session itself, or of the one before.
"""

from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Floats
from pipeline.blunders.other_marks import ROVER_TIE, again, point_name
from pipeline.blunders.pole_heights import wrong_poles, wrong_set_ups
from pipeline.blunders.scope import Scope
from pipeline.blunders.score import HEIGHT, PARTS, Hypothesis, Kind, OneShape
from pipeline.words import Role

#: Occupations of pegs, and other marks, beyond which they are too many to be gone through one by one.
_MOST = 200


def pegs(scope: Scope) -> Iterator[Hypothesis]:
    """Yield the hypotheses about the ties on pegs that a scope's sessions hang on, and about bases over marks."""
    solved, windows = scope.case.solved, scope.case.survey.windows
    sessions, found = _joined(scope)
    rows = _ties(scope, found)
    if len(rows) <= _MOST:
        for row in rows:
            yield from _tie(scope, row)
    setups = [session for session in sorted(sessions) if session in solved.tied.setups][:_MOST]
    for session in setups:
        setup = windows[session].session.setup
        if setup is None:
            continue
        yield from _over_another(scope, session, setup.mark)
        if session not in scope.sessions:
            where = f"over {setup.mark} in session {windows[session].session.name}"
            wrong = wrong_set_ups(scope, session, setup.antenna_height, where)
            yield from (one for one in wrong if _shows(one.shape))


def peg_ties(scope: Scope, session: int) -> list[int]:
    """Return a session's ties on pegs, rows of `OnMarks`; none where they are too many."""
    case = scope.case
    marks = {mark for mark in case.tied_marks(session) if mark not in case.number}
    rows = [row for row in _ties(scope, marks) if case.solved.occupations.session[row] == session]
    return rows if len(rows) <= _MOST else []


def _joined(scope: Scope) -> tuple[set[int], set[str]]:
    """Return the sessions that pegs join to a scope's, and these pegs."""
    case = scope.case
    by_session = {
        window.index: [mark for mark in case.tied_marks(window.index) if mark not in case.number]
        for window in case.survey.windows
    }
    sessions, found = set(scope.sessions), set[str]()
    while True:
        reached = {mark for session in sessions for mark in by_session[session]}
        more = {session for session, marks in by_session.items() if reached.intersection(marks)}
        if reached == found and more <= sessions:
            return sessions, found
        found, sessions = reached, sessions | more


def _ties(scope: Scope, marks: set[str]) -> list[int]:
    on_marks = scope.case.solved.occupations
    return [
        row
        for row, (role, mark) in enumerate(zip(on_marks.roles, on_marks.marks, strict=True))
        if role is Role.TIE and mark in marks and on_marks.observation[row] >= 0
    ]


def _places(scope: Scope) -> dict[str, Floats]:
    """Return (3,) where each mark lies, working frame: pegs as adjusted."""
    solved = scope.case.solved
    adjusted = dict(zip(solved.tied.marks.names, solved.shifts.marks, strict=True))
    found = adjusted | dict(zip(solved.reference.names, solved.reference.xyz, strict=True))
    return {name: xyz for name, xyz in found.items() if np.isfinite(xyz).all()}


def _tie(scope: Scope, row: int) -> Iterator[Hypothesis]:
    """Yield that a tie on a peg is off: by its pole, on another mark, or for no known reason."""
    influence = scope.influence
    peg, point = scope.case.solved.occupations.marks[row], point_name(scope, row)
    yield from (one for one in wrong_poles(scope, row) if _shows(one.shape))
    others, errors = _elsewhere(scope, peg)
    for other, shape in zip(others, influence.displaced([row], errors), strict=True):
        if _shows(shape):
            yield Hypothesis(Kind.OTHER_MARK, f"{point} was on {other}, not on {peg}", shape, decide=again(peg))
    shape, group = influence.any_displaced({row: 1.0}), OneShape()
    if _shows(shape):
        for free, what in PARTS:
            why = " (pole height?)" if free == HEIGHT else ""
            text = f"{point}, the tie on {peg}, is off{what} by {{size}}{why}"
            yield Hypothesis(Kind.POINT_UNEXPLAINED, text, shape, free, again(peg), group=group)


def _over_another(scope: Scope, session: int, mark: str) -> Iterator[Hypothesis]:
    """Yield that a base stood over another mark than the job says."""
    number = scope.case.solved.tied.setups.index(session)
    name = scope.case.survey.windows[session].session.name
    others, errors = _elsewhere(scope, mark)
    for other, shape in zip(others, scope.influence.set_up(number, errors), strict=True):
        if _shows(shape):
            text = f"the base of session {name} was over {other}, not over {mark}"
            yield Hypothesis(Kind.OTHER_MARK, text, shape, decide=ROVER_TIE)


def _elsewhere(scope: Scope, mark: str) -> tuple[list[str], Floats]:
    """Return the other marks, and (k, 3) by how much a position is off that was taken on one of them."""
    places = _places(scope)
    if mark not in places:
        return [], np.zeros((0, 3))
    others = [name for name in places if name != mark]
    errors = np.array([places[name] - places[mark] for name in others]).reshape(-1, 3)
    nearest = np.argsort(np.linalg.norm(errors, axis=1), kind="stable")[:_MOST]
    return [others[at] for at in nearest.tolist()], errors[nearest]


def _shows(shape: Floats) -> bool:
    """Tell whether a prediction is one: numbers, and not of nothing at all."""
    return bool(np.isfinite(shape).all() and (np.abs(shape) > 1e-9).any())
