"""What differences are worth together, without the matrix: each has an error of its own, and groups have one in common.

Rows of one session share the error of its shift, rows of one mark that of its coordinates. As a matrix that takes the
cube of the rows' number to work with, for every session that is read; as groups it takes about the number itself.
"""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.limits import LEAST


class InCommon(Struct, frozen=True):
    """An error that all rows of a group have in common.

    Args:
        group: (n,) the group of each row, -1 for none.
        sigma: (g, 3) standard uncertainty of each group's error.
    """

    group: Integers
    sigma: Floats


class Covariance(Struct, frozen=True):
    """The covariance of (n, 3) differences, whose three components have nothing to do with one another.

    Args:
        own: (n, 3) standard uncertainty of what is each row's alone.
        sessions: what rows of one session have in common; groups may be many.
        marks: what rows of one mark have in common; the work grows with the square of the groups.
    """

    own: Floats
    sessions: InCommon | None = None
    marks: InCommon | None = None


class Whitener:
    """Turns differences into independent ones of unit variance: W with W'W the inverse covariance of what is known.

    It is I - U c U' of what one error in common after the other does to rows already white without it, where U has
    orthonormal columns and c = 1 - 1 / sqrt(1 + variance), in which no digits are lost however large that variance is.
    """

    def __init__(self, covariance: Covariance, known: Flags) -> None:
        """Take apart the covariance of the components that are ``known`` (n, 3)."""
        self._weight = np.where(known, 1.0 / np.maximum(covariance.own, LEAST), 0.0)
        self._order: Integers = np.zeros(0, np.int64)
        if covariance.sessions is not None:
            self._group(covariance.sessions)
        self._axes: tuple[tuple[Floats, Floats], ...] = ()
        if covariance.marks is not None:
            self._axes = self._decompose(covariance.marks)

    def __call__(self, values: Floats) -> Floats:
        """Return (..., n, 3) white values of (..., n, 3) metres; zero for what is not known."""
        white = self._within_sessions(values * self._weight)
        for axis, (directions, taken) in enumerate(self._axes):
            component = white[..., axis]
            component -= (component @ directions * taken) @ directions.T
        return white

    def _group(self, common: InCommon) -> None:
        """Note the rows of each session, one session after the other, and what their common error takes off."""
        self._order = np.flatnonzero(common.group >= 0)
        self._order = self._order[np.argsort(common.group[self._order], kind="stable")]
        groups, self._start, counts = np.unique(common.group[self._order], return_index=True, return_counts=True)
        self._count = counts
        weight = self._weight[self._order]
        length = np.sqrt(np.add.reduceat(weight**2, self._start)) if len(groups) else np.zeros((0, 3))
        direction = np.divide(weight, np.repeat(length, counts, axis=0), out=np.zeros_like(weight), where=weight > 0)
        self._direction = direction
        self._taken = 1.0 - 1.0 / np.hypot(1.0, common.sigma[groups] * length)

    def _within_sessions(self, values: Floats) -> Floats:
        """Take the part of each session's common error off (..., n, 3) values, which are changed."""
        if len(self._order):
            own = values[..., self._order, :]
            along = np.add.reduceat(own * self._direction, self._start, axis=-2) * self._taken
            values[..., self._order, :] = own - self._direction * np.repeat(along, self._count, axis=-2)
        return values

    def _decompose(self, common: InCommon) -> tuple[tuple[Floats, Floats], ...]:
        """Return for each component the directions (n, r) of the marks' errors, and (r,) what they take off."""
        groups, place = np.unique(common.group, return_inverse=True)
        columns = np.zeros((len(groups), len(place), 3))
        columns[place, np.arange(len(place))] = np.where(groups[place] >= 0, 1.0, 0.0)[:, None]
        columns = self._within_sessions(columns * common.sigma[groups][:, None, :] * self._weight)
        found = []
        for axis in range(3):
            directions, spread, _ = np.linalg.svd(columns[..., axis].T, full_matrices=False)
            found.append((np.ascontiguousarray(directions), 1.0 - 1.0 / np.hypot(1.0, spread)))
        return tuple(found)
