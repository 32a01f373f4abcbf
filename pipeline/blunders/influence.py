"""How a blunder in one observation, or in one mark's register coordinates, shows in the differences of occupations.

Everything is linear but the map: an error of metres turned by the grid's convergence, or one of kilometres bent over
the earth's curve, comes to lie outside any tolerance. So errors are geocentric vectors, what they do to the shifts
comes from the adjustment, and what that does to easting, northing and height from the job's own operation.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.geodesy.transform import Operation
from pipeline.solve.solve import Solved
from pipeline.words import Role


class Restated(Struct, frozen=True):
    """What the register says of a mark and what it may have been meant to say, (3,) each.

    ``written`` and ``meant`` are in the issued frame, ``written_xyz`` and ``meant_xyz`` the same in the working frame.
    """

    mark: str
    written: Floats
    meant: Floats
    written_xyz: Floats
    meant_xyz: Floats


@dataclass(frozen=True)
class Influence:
    """Answers for some sessions. Every answer has a row per occupation and then one per session, for its shift.

    Args:
        solved: the job as adjusted.
        to_issued: working frame to grid and height datum.
        sessions: (s,) indices of the sessions in question.
        rows: (n,) the occupations whose differences are predicted, of any session.
        rotation: (3, 3) geocentric to east, north, up at the sessions.
        scale: (3,) by which a shift's part of an answer is multiplied, so that a shift at its limit counts like a
            difference at its tolerance.
    """

    solved: Solved
    to_issued: Operation
    sessions: tuple[int, ...]
    rows: Integers
    rotation: Floats
    scale: Floats

    def typed(
        self, mark: str, written: Floats, meant: Floats, written_xyz: Floats, meant_xyz: Floats,
        rows: Integers | None = None,
    ) -> Floats:  # fmt: skip
        """Return (k, n + s, 3) differences if the register says (3,) ``written`` for (k, 3) ``meant``.

        Both in the issued frame and, for what a tie on the mark does, in the working frame. With ``rows`` (m,), places
        among the answer's rows, only these are worked out, as (k, m, 3).
        """
        rows = np.arange(len(self._session)) if rows is None else rows
        error = written_xyz - meant_xyz
        control = self._control(mark)
        if control is None or not np.isfinite(written_xyz).all():
            shape = np.zeros((len(meant), len(rows), 3))
        else:
            # control is observed as approximation minus register: a larger register coordinate is a smaller one
            shape = self._moved(self._taken_up(control, -error, rows), rows)
        on = np.append(self._on(mark), np.zeros(len(self.sessions), bool))[rows]
        shape += np.where(on[:, None], (meant - written)[:, None, :], 0.0)
        return shape

    def restated(self, marks: Sequence[Restated], rows: Integers | None = None) -> Floats:
        """Return (n + s, 3) differences if the register says of some marks all at once what it was not meant to.

        As `typed` is for one of them; errors of hundreds of metres do not simply add up, so that they are put together
        before they are brought to the grid.
        """
        rows = np.arange(len(self._session)) if rows is None else rows
        moved, on_them = np.zeros((1, len(rows), 3)), np.zeros((len(rows), 3))
        for one in marks:
            control = self._control(one.mark)
            if control is not None and np.isfinite(one.written_xyz).all():
                moved += self._taken_up(control, (one.meant_xyz - one.written_xyz)[None], rows)
            on = np.append(self._on(one.mark), np.zeros(len(self.sessions), bool))[rows]
            on_them += np.where(on[:, None], one.meant - one.written, 0.0)
        return np.asarray(self._moved(moved, rows)[0] + on_them)

    def displaced(self, rows: Sequence[int], errors: Floats) -> Floats:
        """Return (k, n + s, 3) differences if occupations, rows of `OnMarks`, are all off by one of (k, 3) vectors.

        Geocentric metres; a tie takes the shift of its session with it.
        """
        on_marks = self.solved.occupations
        moved = np.zeros((len(errors), len(self._session), 3))
        for row in rows:
            moved[:, : len(self.rows)][:, self.rows == row] += errors[:, None, :]
            if on_marks.roles[row] is Role.TIE:
                # a tie is observed as mark minus raw position: a larger raw position is a smaller observation
                moved += self._taken_up(int(on_marks.observation[row]), -errors)
        return self._moved(moved)

    def each_displaced(self, rows: Sequence[int], errors: Floats) -> Floats:
        """Return (n + s, 3) differences if occupations, (m,) rows of `OnMarks`, are each off by its own of (m, 3)."""
        on_marks = self.solved.occupations
        moved = np.zeros((1, len(self._session), 3))
        for row, error in zip(rows, errors, strict=True):
            moved[0, : len(self.rows)][self.rows == row] += error
            if on_marks.roles[row] is Role.TIE:
                moved += self._taken_up(int(on_marks.observation[row]), -error[None])
        return np.asarray(self._moved(moved)[0])

    def elsewhere(self, row: int, grid: Floats) -> Floats:
        """Return (k, n + s, 3) differences if a check, a row of `OnMarks`, is off its mark by (k, 3) metres of grid."""
        shape = np.zeros((len(grid), len(self._session), 3))
        shape[:, : len(self.rows)][:, self.rows == row] = grid[:, None, :]
        return shape

    def shift_if_displaced(self, row: int, errors: Floats) -> Floats:
        """Return (k, 3) the part of `displaced` that is the shift of a tie's own session, one of those in question."""
        on_marks = self.solved.occupations
        taken_up = self._response(int(on_marks.observation[row]))[
            len(self.rows) + self.sessions.index(int(on_marks.session[row]))
        ]
        return np.asarray(-errors @ taken_up.T @ self.rotation.T * self.scale)

    def set_up(self, number: int, errors: Floats) -> Floats:
        """Return (k, n + s, 3) differences if a base's position over its mark is off by one of (k, 3) vectors.

        ``number`` is that of the set-up; geocentric metres.
        """
        first = len(self.solved.tied.occupied) - len(self.solved.tied.setups)
        return self._moved(self._taken_up(first + number, -errors))

    def any_set_up(self, number: int) -> Floats:
        """Return (n + s, 3) how strongly an unknown error of a set-up's position over its mark shows, each component.

        ``number`` as `set_up` has it.
        """
        return -self._share(len(self.solved.tied.occupied) - len(self.solved.tied.setups) + number)

    def stated_number(self, session: int) -> int | None:
        """Return the number of the observation that is the stated shift of a session, None where it states none."""
        observations = self.solved.shifts.observations
        found = np.flatnonzero((observations.session == session) & (observations.mark < 0))
        return int(found[0]) if len(found) else None

    def stated(self, number: int, errors: Floats) -> Floats:
        """Return (k, n + s, 3) differences if a stated shift is off by one of (k, 3) vectors, geocentric metres.

        ``number`` as `stated_number` has it.
        """
        return self._moved(self._taken_up(number, errors))

    def any_stated(self, number: int) -> Floats:
        """Return (n + s, 3) how strongly an unknown error of a stated shift shows in each component."""
        return self._share(number)

    def any_typed(self, mark: str) -> Floats:
        """Return (n + s, 3) how strongly an unknown error of a mark's register coordinates shows in each component."""
        shape = np.zeros((len(self._session), 3))
        shape[: len(self.rows)][self._on(mark)] = -1.0
        control = self._control(mark)
        return shape if control is None else shape - self._share(control)

    def any_displaced(self, chosen: Mapping[int, float]) -> Floats:
        """Return (n + s, 3) how strongly an unknown error shows that occupations have so many times, each component."""
        shape = np.zeros((len(self._session), 3))
        for row, factor in chosen.items():
            shape[: len(self.rows)][self.rows == row] += factor
            if self.solved.occupations.roles[row] is Role.TIE:
                shape -= factor * self._share(int(self.solved.occupations.observation[row]))
        return shape

    def _moved(self, geocentric: Floats, rows: Integers | None = None) -> Floats:
        """Return (k, n + s, 3) what displacements do to the grid's differences, and to the shifts at their scale.

        Of ``rows`` (m,) alone where they are given, as `typed` has them: (k, m, 3) of both.
        """
        rows = np.arange(len(self._session)) if rows is None else rows
        occupied = rows < len(self.rows)
        shown = np.zeros_like(geocentric)
        which, column = np.nonzero(geocentric.any(axis=2) & occupied)
        row = rows[column]
        before = self._positions[row] - geocentric[which, column]
        shown[which, column] = self._observed[row] - np.column_stack(self.to_issued.forward(*before.T))
        shown[:, ~occupied] = geocentric[:, ~occupied] @ self.rotation.T * self.scale
        return shown

    def _taken_up(self, number: int, change: Floats, rows: Integers | None = None) -> Floats:
        """Return (k, n + s, 3) by how much the shift of each row's session grows if an observation is (k, 3) larger."""
        response = self._response(number)
        return np.asarray(np.einsum("sij,kj->ksi", response if rows is None else response[rows], change))

    def _share(self, number: int) -> Floats:
        """Return (n + s, 3) what part of a larger observation the shift takes up in each component, at its scale."""
        turned = self.rotation @ self._response(number) @ self.rotation.T
        share = np.array(np.diagonal(turned, axis1=1, axis2=2))
        share[len(self.rows) :] *= self.scale
        return share

    def _response(self, number: int) -> Floats:
        """Return (n + s, 3, 3) the growth of each row's shift for a metre more along X, Y, Z; zero where untied."""
        if number not in self._known:
            sessions, place = np.unique(self._session, return_inverse=True)
            response = self.solved.shifts.response
            columns = [response.shifts(number, unit, sessions) for unit in np.eye(3)]
            matrix = np.stack(columns, axis=2) @ self.solved.shifts.observations.rotation[number]
            self._known[number] = np.nan_to_num(matrix)[place]
        return self._known[number]

    def _control(self, mark: str) -> int | None:
        """Return the number of the observation that holds a mark at its register coordinates, if there is one."""
        number = self._controls.get(mark)
        return None if number is None else len(self.solved.tied.occupied) + number

    def _on(self, mark: str) -> Flags:
        return np.array([self.solved.occupations.marks[row] == mark for row in self.rows], bool)

    @cached_property
    def _controls(self) -> dict[str, int]:
        names = self.solved.tied.marks.names
        return {names[number]: place for place, number in enumerate(self.solved.shifts.control)}

    @cached_property
    def _session(self) -> Integers:
        """(n + s,) the session of each row of an answer."""
        return np.append(self.solved.occupations.session[self.rows], np.array(self.sessions, np.int64))

    @cached_property
    def _observed(self) -> Floats:
        return self.solved.occupations.corrected.places[self.rows]

    @cached_property
    def outermost(self) -> Integers:
        """(k,) places of the rows that lie furthest west, east, south and north."""
        plan = self._observed[:, :2]
        return np.unique(np.concatenate([plan.argmin(axis=0), plan.argmax(axis=0)]))

    @cached_property
    def _positions(self) -> Floats:
        return np.column_stack(self.to_issued.inverse(*self._observed.T))

    @cached_property
    def _known(self) -> dict[int, Floats]:
        return {}
