"""Warns of bases set up over marks that the register does not have: new ones, or misspelled."""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.intake.survey import Survey
from pipeline.near import misspelled
from pipeline.sessions.windows import SessionWindow
from pipeline.solve.solve import Solved


def peg_notes(survey: Survey, solved: Solved) -> list[str]:
    """Return in words what speaks for another mark than the one that a base is said to have stood over.

    A mark of the register within ``checks.radius`` of it is probably that mark. Where no shift says where the base
    stood, one within the limit of shifts of the position that it broadcast may be. A name that is nearly a mark's is
    told of a mark that nothing else stands on, however far away it lies. Such a mark may be one of an earlier session
    as well.
    """
    pegs = [one for one in survey.windows if one.session.setup and one.session.setup.mark not in solved.reference.names]
    if not pegs:
        return []
    stood = _stood(survey)
    return [line for window in pegs for line in _Peg(window, survey, solved, stood).told()]


def _stood(survey: Survey) -> dict[str, list[int]]:
    """Return by mark the sessions in which something stood on it, once for each tie and set-up."""
    found: dict[str, list[int]] = {}
    for window in survey.windows:
        if window.session.setup is not None:
            found.setdefault(window.session.setup.mark, []).append(window.index)
    for row, mark in survey.candidates.ties():
        found.setdefault(mark, []).append(int(survey.candidates.session[row]))
    return found


class _Peg(Struct, frozen=True):
    """A base over a mark that the register has not; ``stood`` as `_stood` gives it."""

    window: SessionWindow
    survey: Survey
    solved: Solved
    stood: dict[str, list[int]]

    def told(self) -> Iterator[str]:
        """Yield what speaks for another mark."""
        number, setup = self.window.index, self.window.session.setup
        assert setup is not None
        alone = len(self.stood[setup.mark]) == 1
        names, places = self._others(setup.mark, alone)
        if not names:
            return
        tied = bool(self.solved.shifts.fully_tied[number])
        there = self.survey.bases.mark[number] + (self.solved.shifts.shift[number] if tied else 0.0)
        at = np.ravel(self.survey.operations.frames.to_issued.forward(*there))[:2]
        apart = np.hypot(*(places - at).T)
        apart[~np.isfinite(apart)] = np.inf
        job, near = self.survey.job, int(np.argmin(apart))
        within = job.checks.radius if tied else job.shift.limit_horizontal
        says = f"session {self.window.session.name}: the base's mark {setup.mark} is not in the register"
        if apart[near] <= within:
            where = "" if tied else ", according to the position that the base broadcast,"
            sure = "probably that mark" if tied else "it may be that mark"
            fix = f'write mark = "{names[near]}" in its setup if so'
            yield f"{says} and{where} is {apart[near]:.3f} m from {names[near]}: {sure}; {fix}"
        elif alone and (meant := misspelled(setup.mark, names)):
            far = ", ".join(f"{name} {_distance(apart[names.index(name)])}" for name in meant)
            yield f"{says}: is {setup.mark} meant to be {' or '.join(meant)}? If not, it is a new mark ({far})"

    def _others(self, own: str, alone: bool) -> tuple[list[str], Floats]:
        """Return the marks that may be meant, and (k, 2) where each is on the grid, NaN where nobody knows.

        Those of the register; for a mark that nothing else stands on also the temporary ones of earlier sessions.
        """
        known, marks = self.solved.reference, self.solved.tied.marks
        rows = [
            row
            for row, name in enumerate(marks.names)
            if alone and name != own and name not in known.names and min(self.stood[name]) < self.window.index
        ]
        grid = np.column_stack(self.survey.operations.frames.to_issued.forward(*self.solved.shifts.marks[rows].T))
        return [*known.names, *(marks.names[row] for row in rows)], np.vstack([known.grid[:, :2], grid[:, :2]])


def _distance(metres: float) -> str:
    return f"is {metres:,.1f} m away" if np.isfinite(metres) else "is at an unknown position"
