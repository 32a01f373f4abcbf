"""What sessions that are only intended would give: the run's own adjustment, before there is an observation.

Uncertainties and detectable blunders follow from who occupies which mark and how well each observation is made; what
is observed does not enter. So the intended ties and set-ups go through `solve.shift.derive_shifts` with every reading
where its mark is, and what comes out is what a run would say: of points by `solve.correct.correct`, of checks by
`solve.covariance`.

A check is an observation that takes no part in the adjustment. Its difference has the covariance C; the smallest
blunder that its two-sided test at 1 in 1000 finds with a power of 80 % is delta0 times the standard uncertainty of the
difference, delta0 = 4.13 (Baarda, 1968; `adjust.statistics`): in plan in the direction in which it is known worst. The
same comes out of the adjustment as the detectable error of a tie in the place of the check.
"""

from collections.abc import Container, Sequence

import numpy as np
from msgspec import Struct

from pipeline.adjust import FIRM
from pipeline.adjust.statistics import POWER, SIGNIFICANCE, critical_value, non_centrality
from pipeline.arrays import Floats, Integers
from pipeline.fieldwork.nearby_marks import Marks
from pipeline.geodesy.frames import enu_rotation, rotate_covariance
from pipeline.geodesy.uncertainty import error_ellipse, horizontal_95, vertical_95
from pipeline.intake.operations import Operations
from pipeline.job.model import Job
from pipeline.solve import covariance as difference
from pipeline.solve.correct import SessionShifts, correct
from pipeline.solve.reading_precision import Precision, scale_of, with_centring, with_distance
from pipeline.solve.shift import NetworkMarks, ReceiversOverMarks, Shifts, StatedShifts, derive_shifts


class Intended(Struct, frozen=True):
    """A session that is intended: its base (3,) in the working frame, numbers of marks, and places of its work.

    ``over`` is the mark that the base stands over, None for none; ``ends`` (k, 3) are places of the working frame at
    which the uncertainty of points is asked for.
    """

    name: str
    base: Floats
    over: int | None
    ties: tuple[int, ...]
    checks: tuple[int, ...]
    ends: Floats


class Blunder(Struct, frozen=True):
    """The smallest blunder that would show, metres in plan and in height; NaN where none would."""

    horizontal: float
    vertical: float

    def better(self, other: "Blunder") -> "Blunder":
        """Return the smaller of two, each in plan and in height."""
        pairs = ((self.horizontal, other.horizontal), (self.vertical, other.vertical))
        return Blunder(*(float(np.fmin(*pair)) for pair in pairs))

    def finite(self) -> "Blunder":
        """Return the same with NaN for what is endless."""
        return Blunder(*(value if np.isfinite(value) else float("nan") for value in (self.horizontal, self.vertical)))


#: Nothing shows a blunder.
UNSEEN = Blunder(float("nan"), float("nan"))


class ForeseenTie(Struct, frozen=True):
    """A tie or a set-up as foreseen: the smallest blunder in it that would show.

    ``own`` is what the adjustment would show by the other ties, ``by_checks`` what checks would.
    """

    mark: int
    setup: bool
    own: Blunder
    by_checks: Blunder

    @property
    def shown(self) -> Blunder:
        """Return what would show by either."""
        return self.own.better(self.by_checks)


class Check(Struct, frozen=True):
    """A check as foreseen: how well its difference is known (95 %), and the smallest blunder that it would show.

    ``fails`` is what, with the same power, would go beyond the job's tolerances, however well the check is known.
    """

    mark: int
    hu95: float
    vu95: float
    shown: Blunder
    fails: Blunder


class ForeseenSession(Struct, frozen=True):
    """A session as foreseen; (k,) figures at its ends, NaN where it is not tied."""

    intended: Intended
    tied: tuple[bool, bool]
    distance: Floats
    hu95: Floats
    vu95: Floats
    ties: tuple[ForeseenTie, ...]
    checks: tuple[Check, ...]


def forecast_sessions(
    sessions: Sequence[Intended], marks: Marks, job: Job, operations: Operations, ties: Container[int] | None = None
) -> tuple[ForeseenSession, ...]:
    """Return what each session would give.

    ``ties`` are the numbers of the sessions in whose ties blunders are looked for, None for all; others show no ties.
    """
    wanted = range(len(sessions)) if ties is None else ties
    return _Network(sessions, marks, job, operations).foreseen(wanted)


class _Occupations(Struct, frozen=True):
    """Who occupies what: (n,) sessions, marks, and (n, 3) standard uncertainty east, north, up, centring included."""

    session: Integers
    mark: Integers
    sigma: Floats


class _Network:
    """The intended sessions adjusted together."""

    def __init__(self, sessions: Sequence[Intended], marks: Marks, job: Job, operations: Operations) -> None:
        self.sessions, self.marks, self.job, self.operations = tuple(sessions), marks, job, operations
        self.bases = np.array([one.base for one in sessions], np.float64).reshape(-1, 3)
        self.ties = self._occupations([one.ties for one in sessions])
        self.checks = self._occupations([one.checks for one in sessions])
        over = [(number, one.over) for number, one in enumerate(sessions) if one.over is not None]
        self.setups = _Occupations(
            np.array([number for number, _ in over], np.int64),
            np.array([mark for _, mark in over], np.int64),
            np.full((len(over), 3), max(job.quality.centring, FIRM)),
        )
        self.used = np.unique(np.concatenate([self.ties.mark, self.setups.mark])).astype(np.int64)
        self.shifts = self._derived()
        self.turn = enu_rotation(*marks.geographic[self.checks.mark, :2].T)
        self.local = self._differences()

    def _occupations(self, of_sessions: Sequence[Sequence[int]]) -> _Occupations:
        session = np.repeat(np.arange(len(of_sessions)), [len(one) for one in of_sessions])
        mark = np.array([number for one in of_sessions for number in one], np.int64)
        centring = self.job.quality.centring
        sigma = with_centring(self._observed(self.marks.xyz[mark], session).sigma, centring)
        return _Occupations(session, mark, sigma)

    def _observed(self, xyz: Floats, session: Integers) -> Precision:
        """Return how certain (n,) readings are at places of the working frame, as exports that state none.

        It is scaled as the job says; who knows by which of its receivers a reading will be made? The worst is taken.
        """
        quality = self.job.quality
        sigma = np.array([quality.sigma_horizontal, quality.sigma_horizontal, quality.sigma_vertical])
        distance = np.linalg.norm(xyz - self.bases[session], axis=1)
        grown = with_distance(np.tile(sigma, (len(xyz), 1)), distance, quality.ppm)
        return Precision(grown).scaled(np.max([scale_of(quality, points) for points in self.job.points], axis=0))

    def _derived(self) -> Shifts:
        marks, used = self.marks, self.used
        known = NetworkMarks(
            tuple(marks.names[number] for number in used.tolist()),
            marks.xyz[used],
            marks.geographic[used, 0],
            marks.geographic[used, 1],
            marks.held[used],
            np.where(marks.held[used], marks.sigma[used], 1.0),
        )
        none = np.zeros(0)
        stated = StatedShifts(np.zeros(0, np.int64), np.zeros((0, 3)), np.zeros((0, 3)), none, none)
        return derive_shifts(len(self.sessions), known, self._occupied(self.ties), self._occupied(self.setups), stated)

    def _occupied(self, of: _Occupations) -> ReceiversOverMarks:
        return ReceiversOverMarks(
            of.session, np.searchsorted(self.used, of.mark), self.marks.xyz[of.mark], Precision(of.sigma)
        )

    def _differences(self) -> Floats:
        """Return (c, 3, 3) the covariance of observed minus known of every check, local; NaN where it is not tied."""
        session, mark = self.checks.session, self.checks.mark
        at = np.searchsorted(self.used, mark)
        hanging = np.isin(mark, self.used)
        between = np.zeros((len(mark), 3, 3))
        between[hanging] = self.shifts.between(session[hanging], at[hanging])
        parts = difference.Parts(
            observation=np.maximum(self.checks.sigma, FIRM),
            known=np.maximum(self.marks.sigma[mark], FIRM),
            geoid=self.operations.geoid_sigma,
            shift=rotate_covariance(self.shifts.covariance[session], self.turn),
            between=rotate_covariance(between, self.turn),
            held=self.marks.held[mark] & hanging[:, None],
            tie=np.zeros(len(mark), bool),
        )
        return difference.covariance(parts)

    def foreseen(self, ties: Container[int]) -> tuple[ForeseenSession, ...]:
        """Return what each session would give, with the ties of some of them."""
        checks, blunders = self._checks(), self._blunders(ties)
        found = []
        for number, one in enumerate(self.sessions):
            hu95, vu95 = self._at_ends(number)
            found.append(
                ForeseenSession(
                    one,
                    (bool(self.shifts.tied[number, 0]), bool(self.shifts.tied[number, 1])),
                    np.linalg.norm(one.ends - one.base, axis=1),
                    hu95,
                    vu95,
                    tuple(tie for session, tie in blunders if session == number),
                    tuple(check for session, check in checks if session == number),
                )
            )
        return tuple(found)

    def _at_ends(self, number: int) -> tuple[Floats, Floats]:
        """Return (k,) hu95 and vu95 of points at the ends of a session's work, as `correct` issues them."""
        ends = self.sessions[number].ends
        session = np.full(len(ends), number)
        shifts = SessionShifts(self.shifts.shift, self.shifts.covariance)
        found = correct(self.operations, ends, session, self._observed(ends, session), shifts)
        return found.hu95, found.vu95

    def _checks(self) -> list[tuple[int, Check]]:
        wide, up = self._sigmas()
        held = self.marks.held[self.checks.mark]
        hu95, vu95 = horizontal_95(self.local), vertical_95(up)
        delta0 = non_centrality(SIGNIFICANCE, POWER)
        more = delta0 - critical_value(SIGNIFICANCE)
        tolerance = self.job.checks
        wide, hu95 = (np.where(held[:, 0], values, np.nan) for values in (wide, hu95))
        up, vu95 = (np.where(held[:, 2], values, np.nan) for values in (up, vu95))
        found = []
        rows = zip(self.checks.session.tolist(), self.checks.mark.tolist(), wide.tolist(), up.tolist(), strict=True)
        for row, (session, mark, plan, height) in enumerate(rows):
            shown = Blunder(delta0 * plan, delta0 * height)
            fails = Blunder(tolerance.horizontal + more * plan, tolerance.vertical + more * height)
            found.append((session, Check(mark, float(hu95[row]), float(vu95[row]), shown, fails)))
        return found

    def _sigmas(self) -> tuple[Floats, Floats]:
        """Return (c,) the standard uncertainty of each check's difference, in plan where it is worst, and in height."""
        return error_ellipse(self.local)[0], np.sqrt(self.local[:, 2, 2])

    def _blunders(self, sessions: Container[int]) -> list[tuple[int, ForeseenTie]]:
        """Return each tie and set-up of some sessions with the smallest blunder in it that would show."""
        observed = [(self.ties, False), (self.setups, True)]
        rows = [
            (session, mark, setup)
            for of, setup in observed
            for session, mark in zip(of.session.tolist(), of.mark.tolist(), strict=True)
        ]
        own = self.shifts.adjustment.detectable
        found = []
        for number, (session, mark, setup) in enumerate(rows):
            if session not in sessions:
                continue
            found.append((session, ForeseenTie(mark, setup, _worst(own[number]), _worst(self._by_checks(number)))))
        return found

    def _by_checks(self, number: int) -> Floats:
        """Return (3,) the smallest error east, north, up in an observation that any check would show; NaN for none."""
        if not len(self.checks.mark):
            return np.full(3, np.nan)
        wide, up = self._sigmas()
        held = self.marks.held[self.checks.mark]
        found = []
        for component in range(3):
            grown = self.shifts.response.shifts(number, np.eye(3)[component], self.checks.session)
            local = np.abs(np.einsum("nij,nj->ni", self.turn, grown))
            plan = np.where(held[:, 0], np.hypot(local[:, 0], local[:, 1]) / wide, 0.0)
            height = np.where(held[:, 2], local[:, 2] / up, 0.0)
            most = float(np.nan_to_num(np.maximum(plan, height)).max())
            found.append(non_centrality(SIGNIFICANCE, POWER) / most if most > _FELT else np.nan)
        return np.array(found)


#: In one metre of blunder by standard uncertainties: below it a check feels rounding, and the tilt of the vertical.
_FELT = 1.0


def _worst(of_axes: Floats) -> Blunder:
    """Return the smallest blunder that shows whatever its direction in plan: the larger of east and north."""
    return Blunder(float(np.maximum(of_axes[0], of_axes[1])), float(of_axes[2]))
