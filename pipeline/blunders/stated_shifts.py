"""The hypotheses that a session's shift, which the job file states, is not what was meant: signs, order, unit, size."""

from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Floats, Integers
from pipeline.blunders.scope import Scope
from pipeline.blunders.score import PARTS, Hypothesis, Kind, OneShape
from pipeline.geodesy.units import FOOT
from pipeline.job.model import GivenShift
from pipeline.sessions.toml_lines import shift_text
from pipeline.words import counted, plural

_EXCHANGED = np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
#: How the three numbers of a shift are mistyped, as the rows of a matrix that gives what was meant.
_SLIPS = {
    "has its sign reversed": -np.eye(3),
    "has its east and north swapped": _EXCHANGED,
    "has its east and north swapped and its sign reversed": -_EXCHANGED,
    "has the wrong sign of its up": np.diag([1.0, 1.0, -1.0]),
    "has the wrong sign of its east": np.diag([-1.0, 1.0, 1.0]),
    "has the wrong sign of its north": np.diag([1.0, -1.0, 1.0]),
    "has the wrong signs of its east and north": np.diag([-1.0, -1.0, 1.0]),
    "is in feet but was read as metres": FOOT * np.eye(3),
    "is in metres but was read as feet": np.eye(3) / FOOT,
}
_DECIDE = "where the stated shift comes from; a mark of the register as a tie, with shift left out"
#: What part of a stated shift's error ties have to leave for it to be read from what they leave. Ours, no source.
_SHOWN = 0.05
#: How much less likely it is that a session without a shift needs one. Common practice, no source.
_NONE = 10.0


def stated_shifts(scope: Scope, session: int, own: Integers) -> Iterator[Hypothesis]:
    """Yield the hypotheses about the shift that the job file states for a session with its occupations.

    What was meant takes the place of what is stated in the part of a prediction that is the session's shift, so that it
    has to be a likely one.
    """
    case = scope.case
    given, number = case.survey.windows[session].session.shift, scope.influence.stated_number(session)
    if given == "derive" or number is None or not len(own):
        return
    typed, turn = np.zeros(3), case.rotation(session)
    if isinstance(given, GivenShift):
        typed = np.array([given.east, given.north, given.up], np.float64)
        yield from _slips(scope, session, number, given, typed)
    if not case.reached[own].all():
        return
    shape, group = scope.influence.any_stated(number), OneShape()
    # what a metre too much to the east, north and up makes of a difference on the grid, in whose directions sizes are
    at = int(np.flatnonzero(scope.influence.rows == own[0])[0])
    in_grid = scope.influence.stated(number, turn)[:, at].T
    if not np.isfinite(in_grid).all() or not shape[at].min() > _SHOWN:
        return

    def sentence_for(size: Floats) -> str:
        off = np.linalg.solve(in_grid, shape[at] * size)
        east, north, up = off + 0.0
        by = f"({east:+.3f}, {north:+.3f}, {up:+.3f}) m east, north, up"
        if isinstance(given, GivenShift):
            meant = _write(scope, given, typed - off)
            return f"the stated shift of session {_name(scope, session)} is off by {by}: {meant}"
        which = counted(len(own), "occupation of a mark", "occupations of marks")
        return (
            f'session {_name(scope, session)} has shift = "none", but its {which} {plural(len(own), "is", "are all")}'
            f" off by {by}: the position that its base broadcast seems to be off by so much; leave out"
            ' shift = "none" and tie the session to a mark, or correct that position and export the readings again'
        )

    for free, what in PARTS:
        text = f"the stated shift of session {_name(scope, session)} is off{what} by {{size}}"
        guesses = 1.0 if isinstance(given, GivenShift) else _NONE
        yield Hypothesis(
            Kind.SHIFT_UNEXPLAINED, text, shape, free, _DECIDE, guesses=guesses, sentence_for=sentence_for, group=group
        )


def _slips(scope: Scope, session: int, number: int, given: GivenShift, typed: Floats) -> Iterator[Hypothesis]:
    """Yield that the numbers were mistyped in one of the usual ways; of two that mean the same the first."""
    name, seen = _name(scope, session), [typed]
    for said, meant in _SLIPS.items():
        other = meant @ typed
        if any(np.allclose(other, one, rtol=0.0, atol=1e-6) for one in seen):
            continue
        seen.append(other)
        error = scope.case.rotation(session).T @ (typed - other)
        shape = scope.influence.stated(number, error[None])[0]
        if np.isfinite(shape).all():
            text = f"the stated shift of session {name} {said}: {_write(scope, given, other)}"
            yield Hypothesis(Kind.STATED_SHIFT, text, shape, decide=_DECIDE)


def _name(scope: Scope, session: int) -> str:
    return scope.case.survey.windows[session].session.name


def _write(scope: Scope, given: GivenShift, meant: Floats) -> str:
    """Return what to write in place of a shift: in the job file, or in the table of sessions."""
    east, north, up = (round(float(value), 4) + 0.0 for value in meant)
    sessions = scope.case.survey.job.sessions
    if sessions is not None:
        cells = f"shift_east {east!r}, shift_north {north!r} and shift_up {up!r}"
        return f"write {cells} in its row of {sessions.file.name}, if that is what was meant"
    text = shift_text(given.model_copy(update={"east": east, "north": north, "up": up}))
    return f"write {text}, if that is what was meant"
