"""How an error of one occupation, or of one mark's register coordinates, shows in the differences of a session."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from pipeline.geodesy.frames import enu_rotation, turn
from pipeline.words import Role
from pipeline.work.judge import OnMarks
from pipeline.work.settle import Settled

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Influence:
    """Answers for one session, from what an observation that is a metre larger east, north and up does to the shifts.

    The adjustment is linear, and east, north and up hardly mix, so three numbers per session say it all: what part of
    an error the session's shift takes up. With a single tie that is the whole of it.

    Args:
        settled: the job as adjusted.
        session: index of the session in question.
        rows: (n,) the occupations whose differences are predicted, of any session.
        rotation: (3, 3) east, north, up at the session.
        scale: (3,) by which the session's own shift is multiplied in the last row of every answer, after the (n,)
            occupations, so that a shift at its limit counts like a difference at its tolerance.
    """

    settled: Settled
    session: int
    rows: NDArray[np.int64]
    rotation: Floats
    scale: Floats

    @property
    def _on_marks(self) -> OnMarks:
        return self.settled.occupations

    def of_register(self, mark: str, error: Floats) -> Floats:
        """Return (n + 1, 3) differences if the register's coordinates of a mark are typed (3,) metres too large."""
        return self._of_mark(mark) * error

    def _of_mark(self, mark: str) -> Floats:
        """Return (n + 1, 3) differences for a metre in each of a mark's register coordinates, worked out once."""
        if mark not in self._by_mark:
            shape = np.zeros((len(self.rows) + 1, 3))
            shape[:-1][[self._on_marks.marks[row] == mark for row in self.rows]] = -1.0
            names = self.settled.tied.marks.names
            controls = [names[number] for number in self.settled.shifts.control]
            if mark in controls:
                # control is observed as approximation minus register: a larger register coordinate is a smaller one
                shape -= self._taken_up(len(self.settled.tied.occupied) + controls.index(mark))
            self._by_mark[mark] = shape
        return self._by_mark[mark]

    def of_rows(self, chosen: Mapping[int, Floats]) -> Floats:
        """Return (n + 1, 3) differences if occupations, by their row in `OnMarks`, are each off by (3,) metres."""
        shape = np.zeros((len(self.rows) + 1, 3))
        for row, error in chosen.items():
            shape[:-1][self.rows == row] += error
            if self._on_marks.roles[row] is Role.TIE:
                # a tie is observed as mark minus raw position: a larger raw position is a smaller observation
                shape -= self._taken_up(int(self._on_marks.observation[row])) * error
        return shape

    def of_setup(self, number: int, error: Floats) -> Floats:
        """Return (n + 1, 3) differences if the raw position of a base set-up, by number, is (3,) metres too large."""
        first = len(self.settled.tied.occupied) - len(self.settled.tied.setups)
        return -self._taken_up(first + number) * error

    def _taken_up(self, number: int) -> Floats:
        """Return (n + 1, 3) what a metre more in one observation adds to the shift of each row's session."""
        if number not in self._known:
            sessions = np.append(self._on_marks.session[self.rows], self.session)
            shifts = self.settled.shifts.response.shifts(number, np.ones(3), sessions)
            self._known[number] = np.nan_to_num(turn(shifts, self.rotation))
            self._known[number][-1] *= self.scale
        return self._known[number]

    @cached_property
    def _by_mark(self) -> dict[str, Floats]:
        return {}

    @cached_property
    def _known(self) -> dict[int, Floats]:
        return {}


def rotation_at(settled: Settled, row: int) -> Floats:
    """Return (3, 3) east, north, up at an occupation."""
    found = settled.occupations.corrected
    return np.asarray(enu_rotation(found.longitude[row], found.latitude[row])).reshape(3, 3)
