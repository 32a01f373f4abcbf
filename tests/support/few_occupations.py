"""A solved job of a few occupations as arrays, written by hand: one session or more, the working frame being the grid.

East, north, up are X, Y, Z here, so that every expectation is a sum. The shift of a session is the mean of its ties,
which is what least squares make of ties alike: a tie that is a metre larger takes the shift up by a metre through their
number.
"""

from collections.abc import Callable
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

import numpy as np

from pipeline.solve.differences import differences
from pipeline.solve.reading_precision import Precision
from pipeline.tolerance import Tolerance
from pipeline.words import Role

TOLERANCE = Tolerance(0.03, 0.05)


class Plain:
    """The grid is the working frame."""

    def forward(self, *axes: np.ndarray) -> tuple[np.ndarray, ...]:
        return tuple(np.asarray(axis, np.float64) for axis in axes)

    inverse = forward


def matrix_of(whitener: Callable[[np.ndarray], np.ndarray], rows: int) -> np.ndarray:
    """Return (3, n, n) as a matrix what is applied to (..., n, 3) differences, each component by itself."""
    unit = np.repeat(np.eye(rows)[:, :, None], 3, axis=2)
    return whitener(unit).transpose(2, 1, 0)


@dataclass(frozen=True)
class Occupied:
    """One occupation: its session, mark, role, and (3,) by which it is off its mark."""

    session: int
    mark: str
    role: Role
    off: tuple[float, float, float] = (0.0, 0.0, 0.0)


class MeanOfTies:
    """How the shifts follow the observations: each session's is the mean of its ties."""

    def __init__(self, sessions: np.ndarray) -> None:
        self.sessions = sessions

    def shifts(self, number: int, unit: np.ndarray, sessions: np.ndarray) -> np.ndarray:
        """Return (s, 3) growth for (3,) more in one observation."""
        own = self.sessions[number]
        return np.where(sessions[:, None] == own, unit / np.count_nonzero(self.sessions == own), 0.0)


def solved(marks: dict[str, tuple[float, float, float]], occupied: list[Occupied], sigma: float = 0.01) -> Any:
    """Return a solved job: the register's ``marks``, all held in 3D, and occupations in the order of their times."""
    names = tuple(marks)
    session = np.array([one.session for one in occupied], np.int64)
    roles = tuple(one.role for one in occupied)
    known = np.array([marks.get(one.mark, (np.nan,) * 3) for one in occupied])
    observed = np.nan_to_num(known) + np.array([one.off for one in occupied])
    ties = np.array([role is Role.TIE for role in roles])
    holds = np.repeat(np.array([[one.mark in marks] for one in occupied]), 2, axis=1)
    corrected = SimpleNamespace(easting=observed[:, 0], northing=observed[:, 1], height=observed[:, 2], places=observed)
    occupations = SimpleNamespace(
        session=session, time=np.arange(len(occupied)) * 60_000, marks=tuple(one.mark for one in occupied), roles=roles,
        corrected=corrected, known=known, compared=differences(observed, known, holds, TOLERANCE),
        temporary=~holds[:, 0], evidence=holds[:, 0], copied=np.zeros(len(occupied), bool),
        precision=Precision(np.full((len(occupied), 3), sigma)),
        observation=np.where(ties, np.cumsum(ties) - 1, -1),
    )  # fmt: skip
    tied = session[ties]
    shifts = SimpleNamespace(
        response=MeanOfTies(tied), observations=SimpleNamespace(rotation=np.tile(np.eye(3), (len(tied), 1, 1))),
        covariance=np.tile(np.eye(3) * 0.02**2, (int(session.max()) + 1, 1, 1)), control=(),
    )  # fmt: skip
    grid = np.array(list(marks.values()))
    reference = SimpleNamespace(
        names=names, grid=grid, xyz=grid, held=np.ones((len(names), 3), bool), sigma=np.full((len(names), 3), 0.005),
        lost=np.zeros((len(names), 2), bool),
    )  # fmt: skip
    return SimpleNamespace(
        occupations=occupations, shifts=shifts, reference=reference,
        tied=SimpleNamespace(occupied=[None] * len(tied), setups=(), marks=SimpleNamespace(names=names)),
    )  # fmt: skip
