"""Ties, base set-ups and control become observations; one adjustment gives every session its shift.

Working frame: geocentric X, Y, Z of the target grid's datum, metres. Checks never come here.
"""

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from msgspec import Struct

from pipeline.adjust import Adjustment, Observations, Response, Ties, adjust, find_ties
from pipeline.arrays import Flags, Floats, Integers
from pipeline.geodesy.frames import enu_rotation
from pipeline.geodesy.uncertainty import add_covariance
from pipeline.replace import replace
from pipeline.solve.reading_precision import Precision

#: Decimals of a metre that are kept of what is adjusted. A processor may add in another order from one process to the
#: next, by where numbers lie in memory; the last bits would differ, and with them the files of an issue made again.
_DECIMALS = 9


class NetworkMarks(Struct, frozen=True):
    """The marks that take part: of the register, and temporary ones, which hold nothing.

    Args:
        names: M names.
        xyz: (M, 3) register coordinates in the working frame; an approximation where the register has none.
        longitude: (M,) degrees, for the local east, north and up.
        latitude: (M,) degrees.
        held: (M, 3) whether east, north and up are held at the register's coordinates.
        sigma: (M, 3) standard uncertainty of the register's east, north and up; only read where held.
    """

    names: tuple[str, ...]
    xyz: Floats
    longitude: Floats
    latitude: Floats
    held: Flags
    sigma: Floats


class ReceiversOverMarks(Struct, frozen=True):
    """Receivers over marks: rovers on their poles, or bases on their tripods. One row each.

    Args:
        session: (n,) index of the session.
        mark: (n,) index of the mark.
        xyz: (n, 3) raw position of the mark, working frame.
        precision: how certain the observations are, centring included.
    """

    session: Integers
    mark: Integers
    xyz: Floats
    precision: Precision


class StatedShifts(Struct, frozen=True):
    """Shifts that the job file states instead of deriving them (``shift = "none"`` states zero).

    Args:
        session: (n,) index of the session.
        shift: (n, 3) east, north, up.
        sigma: (n, 3) standard uncertainty east, north, up.
        longitude: (n,) degrees, the place at which east, north and up are meant.
        latitude: (n,) degrees.
    """

    session: Integers
    shift: Floats
    sigma: Floats
    longitude: Floats
    latitude: Floats


@dataclass(frozen=True)
class Shifts:
    """What the adjustment gives.

    Args:
        shift: (S, 3) X, Y, Z per session; NaN where the session is not tied in position and in height.
        covariance: (S, 3, 3) X, Y, Z, register uncertainty included.
        tied: (S, 2) whether the session is tied in position, in height.
        marks: (M, 3) adjusted coordinates of the marks.
        adjustment: residuals and statistics; its observations are the ties, then the set-ups, then the control,
            then the stated shifts.
        control: (c,) index of the mark of each control observation.
        observations: what was adjusted.
        by_control: (S,) whether the session would be tied in position and height without any stated shift.
    """

    shift: Floats
    covariance: Floats
    tied: Flags
    marks: Floats
    adjustment: Adjustment
    control: Integers
    by_control: Flags
    observations: Observations

    @property
    def response(self) -> Response:
        """What a change of one of the observations would do to the shifts."""
        return self.adjustment.response

    def between(self, session: Integers, mark: Integers) -> Floats:
        """Return (k, 3, 3) the covariance, X, Y, Z, of the shifts of sessions (k,) and the coordinates of marks (k,).

        Of two that an observation joins it is known; for others that hang together everything is adjusted again.
        """
        found = np.zeros((len(session), 3, 3))
        joined = self._joined
        ties, count = self.adjustment.ties, len(self.shift)
        together = [group[session] == group[count + mark] for group in (ties.position_group, ties.height_group)]
        asked = []
        for row in np.flatnonzero(together[0] | together[1]).tolist():
            number = joined.get((int(session[row]), int(mark[row])))
            if number is None:
                asked.append(row)
            else:
                found[row] = self.adjustment.between[number]
        if asked:
            found[asked] = _between(self.observations, session[asked], mark[asked], count, len(self.marks))
        return found

    def common(self, first: Integers, second: Integers) -> Floats:
        """Return (k, 3, 3) the covariance, X, Y, Z, of the shifts of sessions ``first`` (k,) with ``second``'s."""
        if not len(first):
            return np.zeros((0, 3, 3))
        pairs, which = np.unique(np.column_stack([first, second]), axis=0, return_inverse=True)
        found = np.empty((len(pairs), 3, 3))
        same = pairs[:, 0] == pairs[:, 1]
        found[same] = self.covariance[pairs[same, 0]]
        found[~same] = self.response.between_sessions(*pairs[~same].T) if (~same).any() else 0.0
        return np.asarray(found[which.ravel()])

    def apart(self, first: Integers, second: Integers) -> Floats:
        """Return (k, 3, 3) the covariance, X, Y, Z, of the difference of two sessions' shifts; zero within one."""
        common = self.common(first, second)
        total = self.covariance[first] + self.covariance[second] - common - common.transpose(0, 2, 1)
        return np.where((first == second)[:, None, None], 0.0, total)

    @cached_property
    def _joined(self) -> dict[tuple[int, int], int]:
        """The number of an observation of each session and mark that have one."""
        pairs = zip(self.observations.session.tolist(), self.observations.mark.tolist(), strict=True)
        return {pair: number for number, pair in enumerate(pairs)}

    @property
    def fully_tied(self) -> Flags:
        """Return (S,) which sessions are tied in position and in height."""
        return self.tied[:, 0] & self.tied[:, 1]


def derive_shifts(
    sessions: int, marks: NetworkMarks, ties: ReceiversOverMarks, setups: ReceiversOverMarks, stated: StatedShifts
) -> Shifts:
    """Adjust the whole job at once and return a shift per session with its covariance.

    Equation numbers of the model, per observation: rover or base on a mark ``X_raw + d - x = v``, control
    ``x - x_register = v``, stated shift ``d = stated + v``; each in the local east, north, up of its place, so that a
    component which is not held has no row.
    """
    control = np.flatnonzero(marks.held.any(axis=1))
    observations = _observed(marks, _stack(ties, setups), control, stated)
    found = adjust(observations, sessions, len(marks.names))
    found = replace(found, shifts=np.round(found.shifts, _DECIMALS), marks=np.round(found.marks, _DECIMALS))
    alone = _without_stated(observations, len(stated.session), sessions, len(marks.names)) or found.ties
    tied = np.column_stack([found.ties.session_position, found.ties.session_height])
    whole = tied[:, 0] & tied[:, 1]
    return Shifts(
        shift=np.where(whole[:, None], found.shifts, np.nan),
        covariance=np.where(whole[:, None, None], found.shift_covariance, np.nan),
        tied=tied,
        marks=marks.xyz + found.marks,
        adjustment=found,
        control=control,
        by_control=alone.session_position & alone.session_height,
        observations=observations,
    )


def _observed(
    marks: NetworkMarks, on_marks: ReceiversOverMarks, control: Integers, stated: StatedShifts
) -> Observations:
    """Return the observations in the order of the model: on marks, (k,) control by the register, stated shifts."""
    rotation = enu_rotation(marks.longitude, marks.latitude)
    rows = len(on_marks.mark)
    turn = np.concatenate(
        [rotation[on_marks.mark], rotation[control], enu_rotation(stated.longitude, stated.latitude)]
    ).reshape(-1, 3, 3)
    reduced = np.einsum("nij,nj->ni", rotation[on_marks.mark], marks.xyz[on_marks.mark] - on_marks.xyz)
    sigma = np.concatenate([on_marks.precision.sigma, np.where(marks.held, marks.sigma, 1.0)[control], stated.sigma])
    covariance = sigma[:, :, None] ** 2 * np.eye(3)
    add_covariance(covariance[:rows], np.zeros((rows, 3)), on_marks.precision.correlated)
    nobody = np.full(len(control), -1)
    return Observations(
        session=np.concatenate([on_marks.session, nobody, stated.session]),
        mark=np.concatenate([on_marks.mark, control, np.full(len(stated.session), -1)]),
        rotation=turn,
        observed=np.concatenate([reduced, np.zeros((len(control), 3)), stated.shift]),
        covariance=covariance,
        present=np.concatenate(
            [np.ones((rows, 3), bool), marks.held[control], np.ones((len(stated.session), 3), bool)]
        ),
    )


def _without_stated(observations: Observations, stated: int, sessions: int, marks: int) -> Ties | None:
    """Return what would be tied without the stated shifts, which come last; None where there are none."""
    if not stated:
        return None
    last = len(observations.session) - stated
    return find_ties(
        observations.session[:last], observations.mark[:last], observations.present[:last], sessions, marks
    )


def _between(observations: Observations, session: Integers, mark: Integers, sessions: int, marks: int) -> Floats:
    """Adjust with one more observation of each pair, of which nothing is present, and return (k, 3, 3) covariances."""
    count = len(session)
    asking = Observations(
        session=np.concatenate([observations.session, session]),
        mark=np.concatenate([observations.mark, mark]),
        rotation=np.concatenate([observations.rotation, np.tile(np.eye(3), (count, 1, 1))]),
        observed=np.concatenate([observations.observed, np.zeros((count, 3))]),
        covariance=np.concatenate([observations.covariance, np.tile(np.eye(3), (count, 1, 1))]),
        present=np.concatenate([observations.present, np.zeros((count, 3), bool)]),
    )
    return adjust(asking, sessions, marks).between[-count:]


def _stack(first: ReceiversOverMarks, second: ReceiversOverMarks) -> ReceiversOverMarks:
    return ReceiversOverMarks(
        np.concatenate([first.session, second.session]),
        np.concatenate([first.mark, second.mark]),
        np.concatenate([first.xyz, second.xyz]),
        Precision(
            np.concatenate([first.precision.sigma, second.precision.sigma]),
            np.concatenate([first.precision.pairs(), second.precision.pairs()]),
        ),
    )
