"""The job-wide adjustment of sessions and marks: shifts, corrections, their covariances and the tests.

Unknowns are a geocentric shift d per session and a correction x to the approximate coordinate of each mark. Each is
worked out in local directions (those of the first observation that touches it), so that position and height have
columns of their own, and is given in X, Y, Z.

**Nothing that is untied disturbs what is tied.** Each group of sessions and marks that lacks position or height (see
`connected`) gets one *placing* row for it: the component of one of its sessions, or else marks, is 0 with a standard
uncertainty of `PLACING`, ten metres, the size that shifts have in practice. The row only places the group. It is kept
loose because several marks of known position, their verticals not parallel, do say something about the height: a
firm row would press an unknown height of 8 m into the position at 1.25 mm for every kilometre. Placing rows count
neither as observations with residuals nor, taken with the unknown that each places, in the degrees of freedom.
"""

import numpy as np
from msgspec import Struct

from pipeline.adjust.connected import Ties, best_eliminated, find_ties
from pipeline.adjust.inverse import FEW
from pipeline.adjust.normal import Equations, Factored
from pipeline.adjust.observations import Observations, check, weights
from pipeline.adjust.statistics import (
    POWER,
    SIGNIFICANCE,
    ChiSquare,
    chi_square,
    critical_value,
    non_centrality,
    reliability,
)
from pipeline.arrays import Flags, Floats, Integers

#: Metres, standard uncertainty of a placing row: common practice, shifts of up to about ten metres.
PLACING = 10.0
#: The chance that the global test, two-sided, finds fault with observations as good as stated.
_GLOBAL = 0.05


class Adjustment(Struct, frozen=True):
    """What the adjustment gives. Metres and square metres; covariances are a priori, not scaled by the residuals.

    ``shifts`` (S, 3), ``shift_covariance`` (S, 3, 3), ``marks`` (M, 3) and ``mark_covariance`` (M, 3, 3) are in X, Y,
    Z: NaN where nothing is tied. Where only position or only height is, they are finite, the other component placed
    to ten metres: `local_marks` gives the components of marks apart. ``between`` (n, 3, 3) is the covariance,
    in X, Y, Z, of the shift and the mark that an observation touches, zero where it touches one only; an observation
    with no component present changes nothing, and so asks for that of any two.
    ``residuals`` (n, 3): local, adjusted minus observed; ``redundancy``, ``standardised`` and ``detectable`` (n, 3):
    see `statistics`; NaN for absent components. A standardised residual beyond ``critical`` deserves a look; nothing
    is rejected. ``variance_factor`` (v' P v by degrees of freedom) and ``chi_square`` are None without redundancy.
    ``response`` tells what a change of one observation would do to the shifts; it holds the inversion, whose memory
    grows with the square of the sessions or marks that are not eliminated.
    """

    shifts: Floats
    shift_covariance: Floats
    marks: Floats
    mark_covariance: Floats
    between: Floats
    ties: Ties
    residuals: Floats
    redundancy: Floats
    standardised: Floats
    detectable: Floats
    critical: float
    degrees_of_freedom: int
    variance_factor: float | None
    chi_square: ChiSquare | None
    response: "Response"

    def local_marks(self, rotation: Floats) -> tuple[Floats, Floats]:
        """Return corrections (M, 3) and covariances (M, 3, 3) in the directions ``rotation``, NaN where untied."""
        tied = self.ties.mark_position, self.ties.mark_height
        return _local(self.marks, self.mark_covariance, rotation, *tied)


def adjust(observations: Observations, sessions: int, marks: int) -> Adjustment:
    """Adjust all observations of a job together; one tie in one session is the smallest case of it.

    Raises `ValueError` for arrays that do not fit together, values that are not finite, and covariances that are not
    positive definite.
    """
    check(observations, sessions, marks)
    ties = find_ties(observations.session, observations.mark, observations.present, sessions, marks)
    frames = _frames(observations, sessions, marks)
    observed = _equations(observations, frames, sessions)
    placing = _placing(ties)
    factored = Factored(
        _joined(observed, placing),
        sessions + marks,
        _eliminated(observations, sessions, marks),
    )
    solution = factored.solution()
    count = len(observations.session)
    tests = reliability(
        solution.residuals[:count],
        observed.weight,
        solution.fitted[:count],
        non_centrality(SIGNIFICANCE, POWER),
    )
    freedom = int(observations.present.sum() + np.count_nonzero(placing.weight)) - 3 * (sessions + marks)
    values, covariance = _geocentric(solution.parameters, solution.covariance, frames, ties.position | ties.height)
    return Adjustment(
        shifts=values[:sessions],
        shift_covariance=covariance[:sessions],
        marks=values[sessions:],
        mark_covariance=covariance[sessions:],
        between=_between(solution.between[:count], observed.unknown, frames),
        ties=ties,
        residuals=np.where(observations.present, solution.residuals[:count], np.nan),
        redundancy=tests.redundancy,
        standardised=tests.standardised,
        detectable=tests.detectable,
        critical=critical_value(SIGNIFICANCE),
        degrees_of_freedom=freedom,
        variance_factor=solution.square_sum / freedom if freedom else None,
        chi_square=chi_square(solution.square_sum, freedom, _GLOBAL) if freedom else None,
        response=Response(factored, frames, ties.session_position | ties.session_height, count),
    )


class Response:
    """What a change of one observation would do to the shifts: the adjustment's inversion answers for every one."""

    def __init__(self, factored: Factored, frames: Floats, tied: Flags, count: int) -> None:
        """Take the normal equations of ``count`` observations, the unknowns' local directions, and which sessions (S,)
        are tied in anything.
        """
        self._factored, self._frames, self._tied, self._count = factored, frames, tied, count

    def shifts(self, number: int, change: Floats, sessions: Integers) -> Floats:
        """Return (k, 3) X, Y, Z by which shifts grow if observation ``number`` is (3,) metres larger, local.

        ``sessions`` (k,) are those asked for. NaN for a session that nothing ties.
        """
        local = self._factored.change(number, change)[sessions]
        back = np.where(self._tied[sessions, None, None], self._frames[sessions], np.nan).transpose(0, 2, 1)
        return np.asarray((back @ local[:, :, None])[..., 0])

    def gain(self, session: int) -> Floats:
        """Return (n, 3, 3) by how much a shift grows, X, Y, Z, with each observation's components, local."""
        return np.asarray(self._frames[session].T @ self._factored.gain(session)[: self._count])

    def between_sessions(self, first: Integers, second: Integers) -> Floats:
        """Return (k, 3, 3) the covariance, X, Y, Z, of the shifts of ``first`` (k,) with those of ``second`` (k,)."""
        found = np.zeros((len(first), 3, 3))
        for session in np.unique(first).tolist():
            here = np.flatnonzero(first == session)
            local = self._factored.covariance(session)[second[here]]
            found[here] = self._frames[second[here]].transpose(0, 2, 1) @ local @ self._frames[session]
        return found.transpose(0, 2, 1)


def _eliminated(observations: Observations, sessions: int, marks: int) -> Flags:
    """Return (S + M,) which unknowns to eliminate first: of few the sessions or the marks, whichever are more."""
    if sessions + marks <= FEW:
        return np.repeat([sessions >= marks, sessions < marks], [sessions, marks])
    return best_eliminated(observations.session, observations.mark, sessions, marks)


def _frames(observations: Observations, sessions: int, marks: int) -> Floats:
    """Return local directions (S + M, 3, 3) for each unknown: those of the first observation that touches it."""
    frames = np.tile(np.eye(3), (sessions + marks, 1, 1))
    for nodes in (observations.session, np.where(observations.mark >= 0, observations.mark + sessions, -1)):
        touched, first = np.unique(nodes, return_index=True)
        frames[touched[touched >= 0]] = observations.rotation[first[touched >= 0]]
    return frames


def _equations(observations: Observations, frames: Floats, sessions: int) -> Equations:
    """The observations as equations in the unknowns' own local directions."""
    unknown = np.column_stack(
        [observations.session, np.where(observations.mark >= 0, observations.mark + sessions, -1)]
    )
    turned = observations.rotation[:, None] @ frames[unknown].transpose(0, 1, 3, 2)
    return Equations(
        unknown=unknown,
        design=turned * np.array([1.0, -1.0])[:, None, None],
        observed=np.where(observations.present, observations.observed, 0.0),
        weight=weights(observations),
    )


def _placing(ties: Ties) -> Equations:
    """The placing rows: one node each with the components that are placed there, the node's own directions."""
    weight = np.zeros((len(ties.position), 3))
    weight[_first_of_untied(ties.position, ties.position_group), :2] = PLACING**-2
    weight[_first_of_untied(ties.height, ties.height_group), 2] = PLACING**-2
    nodes = np.flatnonzero(weight.any(axis=1))
    return Equations(
        unknown=np.column_stack([nodes, np.full(len(nodes), -1)]),
        design=np.tile(np.stack([np.eye(3), np.zeros((3, 3))]), (len(nodes), 1, 1, 1)),
        observed=np.zeros((len(nodes), 3)),
        weight=weight[nodes][:, :, None] * np.eye(3),
    )


def _first_of_untied(tied: Flags, group: Integers) -> Integers:
    """The first node of every untied group: a session if it has one, as sessions are numbered first."""
    nodes = np.flatnonzero(~tied)
    first: Integers = nodes[np.unique(group[nodes], return_index=True)[1]]
    return first


def _joined(first: Equations, second: Equations) -> Equations:
    return Equations(
        unknown=np.concatenate([first.unknown, second.unknown]),
        design=np.concatenate([first.design, second.design]),
        observed=np.concatenate([first.observed, second.observed]),
        weight=np.concatenate([first.weight, second.weight]),
    )


def _geocentric(values: Floats, covariance: Floats, frames: Floats, tied: Flags) -> tuple[Floats, Floats]:
    """Turn values (u, 3) and covariances (u, 3, 3) from local directions to X, Y, Z; NaN where not tied at all."""
    back = np.where(tied[:, None, None], frames, np.nan).transpose(0, 2, 1)
    turned = back @ covariance @ back.transpose(0, 2, 1)
    return (back @ values[:, :, None])[..., 0], (turned + turned.transpose(0, 2, 1)) / 2.0


def _between(local: Floats, unknown: Integers, frames: Floats) -> Floats:
    """Turn covariances (n, 3, 3) of the two unknowns of each observation from their local directions to X, Y, Z."""
    first, second = frames[unknown[:, 0]], frames[unknown[:, 1]]
    return np.asarray(first.transpose(0, 2, 1) @ local @ second)


def _local(
    values: Floats, covariance: Floats, rotation: Floats, position: Flags, height: Flags
) -> tuple[Floats, Floats]:
    """Turn values and covariances from X, Y, Z to local directions; NaN in the components that are not tied."""
    tied = np.column_stack([position, position, height])
    turned = (rotation @ values[:, :, None])[..., 0]
    spread = rotation @ covariance @ rotation.transpose(0, 2, 1)
    both = tied[:, :, None] & tied[:, None, :]
    return np.where(tied, turned, np.nan), np.where(both, spread, np.nan)
