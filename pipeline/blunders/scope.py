"""The data of one search for causes: a job, some of its sessions, their occupations, and the weights of those."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any, TypeVar

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.blunders.grouped_errors import Covariance, InCommon
from pipeline.blunders.influence import Influence
from pipeline.blunders.score import WeighedDifferences
from pipeline.geodesy.frames import enu_rotation, rotate_covariance
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import RegisterMark
from pipeline.solve.reading_precision import with_centring
from pipeline.solve.solve import Solved, shift_at_places
from pipeline.tolerance import Tolerance
from pipeline.words import Role

_T = TypeVar("_T")

#: A shift at its limit is this many of its standard uncertainties: a self-averaged base is off by a metre or a few.
#: Common practice, no source.
_SHIFT_SIGMAS = 3.0


class Former(Struct, frozen=True):
    """The register as the issue that is drawn from had it: that issue's number, and its rows in texts."""

    issue: int
    rows: Sequence[RegisterMark]

    def row(self, mark: str) -> RegisterMark | None:
        """Return the row of a mark, None where it had none."""
        return next((row for row in self.rows if row["mark"] == mark), None)


@dataclass(frozen=True)
class Case:
    """A solved job with what every explanation of it needs, worked out once.

    ``allowed`` are the failing occupations whose differences lie within their own 95 %.
    """

    survey: Survey
    solved: Solved
    former: Former | None = None
    allowed: frozenset[int] = frozenset()

    @cached_property
    def local(self) -> Floats:
        """(S, 3) the sessions' shifts east, north, up; NaN where untied."""
        return shift_at_places(self.survey, self.solved)[0]

    @cached_property
    def number(self) -> dict[str, int]:
        """The register's number of each of its marks."""
        return {name: place for place, name in enumerate(self.solved.reference.names)}

    @cached_property
    def mark(self) -> Integers:
        """(n,) the register's number of each occupation's mark, -1 for temporary marks."""
        return np.array([self.number.get(mark, -1) for mark in self.solved.occupations.marks], np.int64)

    @cached_property
    def checks(self) -> Flags:
        """(n,) which occupations are checks."""
        return np.array([role is Role.CHECK for role in self.solved.occupations.roles], bool)

    @cached_property
    def tolerance(self) -> Tolerance:
        """What the occupations are compared with."""
        return self.solved.occupations.compared.tolerance

    @cached_property
    def scale(self) -> Floats:
        """(3,) by which a shift at its limit becomes a difference at its tolerance."""
        limits = self.survey.job.shift
        most = np.array([limits.limit_horizontal, limits.limit_horizontal, limits.limit_vertical])
        return np.asarray(self.tolerance.axes() / most)

    @cached_property
    def known(self) -> Floats:
        """(n, 3) the register's grid coordinates of each occupation's mark, zero for what no operation reaches.

        Differences from such a zero mean nothing by themselves; what was meant, against what was observed, does.
        """
        return np.nan_to_num(self.solved.occupations.known)

    @cached_property
    def held(self) -> Flags:
        """(n, 3) which components of the differences are evidence."""
        reference, on_marks = self.solved.reference, self.solved.occupations
        none = np.zeros((1, 3), bool)
        held = np.vstack([reference.held, none])[self.mark] & np.isfinite(on_marks.known)
        return np.asarray(held | np.vstack([reference.lost[:, [0, 0, 1]], none])[self.mark])

    @cached_property
    def reached(self) -> Flags:
        """(n,) whether the mark's known coordinates are numbers at all, so that a difference from them has a size."""
        return np.asarray(np.isfinite(np.where(self.held, self.solved.occupations.known, 0.0)).all(axis=1))

    def once(self, key: tuple[str, ...], work: Callable[[], _T]) -> _T:
        """Return what ``work`` gives, which is done once for a key; its result must not be changed."""
        if key not in self._done:
            self._done[key] = work()
        found: _T = self._done[key]
        return found

    @cached_property
    def _done(self) -> dict[tuple[str, ...], Any]:
        return {}

    @cached_property
    def _starts(self) -> Integers:
        """(S + 1,) where each session's occupations start, which are in their order."""
        return np.asarray(np.searchsorted(self.solved.occupations.session, np.arange(len(self.survey.windows) + 1)))

    def own(self, session: int) -> Integers:
        """Return the judged occupations of marks of the register in a session, by time."""
        rows = np.arange(self._starts[session], self._starts[session + 1])
        on_marks = self.solved.occupations
        return rows[on_marks.compared.judged[rows] & ~on_marks.temporary[rows]]

    def tied_marks(self, session: int) -> list[str]:
        """Return the marks that tie a session, by rovers or under its base, each once."""
        on_marks = self.solved.occupations
        rows = range(self._starts[session], self._starts[session + 1])
        marks = dict.fromkeys(on_marks.marks[row] for row in rows if on_marks.roles[row] is Role.TIE)
        setup = self.survey.windows[session].session.setup
        return list(marks | ({setup.mark: None} if setup is not None else {}))

    @cached_property
    def rotations(self) -> Floats:
        """(S, 3, 3) geocentric to east, north, up where each session's shift is meant."""
        longitude, latitude, _ = self.survey.operations.frames.to_geographic.forward(*self.solved.places.T)
        return enu_rotation(np.nan_to_num(longitude), np.nan_to_num(latitude))

    def rotation(self, session: int) -> Floats:
        """Return (3, 3) of one session."""
        found: Floats = self.rotations[session]
        return found


class Scope(Struct, frozen=True):
    """Some sessions of a job, their judged occupations, and those elsewhere of the marks in question.

    ``own`` are the rows of each session itself, by time; ``marks`` those of the register that may be wrong.
    """

    case: Case
    sessions: tuple[int, ...]
    own: tuple[Integers, ...]
    marks: tuple[str, ...]
    influence: Influence


def scope_of(case: Case, sessions: tuple[int, ...], rows: Integers, unseen: Integers) -> Scope | None:
    """Return what is looked at for the failing ``rows`` of some sessions; None where there is nothing to look at.

    Args:
        case: the job.
        sessions: the sessions.
        rows: (f,) the failing occupations that are to be explained.
        unseen: (u,) other failing occupations, which are left out of sight.
    """
    on_marks = case.solved.occupations
    own = tuple(np.setdiff1d(case.own(session), unseen) for session in sessions)
    marks = dict.fromkeys(on_marks.marks[row] for row in rows)
    for session in sessions:
        marks |= dict.fromkeys(case.tied_marks(session))
    known = [mark for mark in marks if mark in case.number]
    if not any(map(len, own)) or not known:
        return None
    seen = on_marks.compared.judged & np.isin(case.mark, [case.number[mark] for mark in known])
    seen[np.concatenate(own)] = True
    seen[unseen] = False
    influence = Influence(
        case.solved,
        case.survey.operations.frames.to_issued,
        sessions,
        np.flatnonzero(seen),
        case.rotation(sessions[0]),
        case.scale,
    )
    return Scope(case, sessions, own, tuple(known), influence)


def evidence_of(case: Case, rows: Integers, sessions: tuple[int, ...], rotation: Floats) -> WeighedDifferences:
    """Return the differences of occupations with their covariance, and some sessions' shifts as the last rows.

    Errors of one mark's coordinates are common to its occupations, those of a session's shift to its checks. A shift is
    judged as a difference at its tolerance when it is at its limit. ``rows`` (k,) are those of the occupations, and
    ``rotation`` (3, 3) is from the working frame to east, north, up.
    """
    on_marks, solved = case.solved.occupations, case.solved
    compared, centring = on_marks.compared, case.survey.job.quality.centring
    difference = compared.vectors[rows]
    observed = on_marks.corrected.places
    difference = np.where(case.reached[rows, None], np.nan_to_num(difference), observed[rows] - case.known[rows])
    noise = with_centring(on_marks.precision.sigma[rows], centring)
    mark, session, check = case.mark[rows], on_marks.session[rows], case.checks[rows]
    shifted, of = np.unique(session, return_inverse=True)
    variance = rotate_covariance(np.nan_to_num(solved.shifts.covariance[shifted]), rotation)
    shift = np.sqrt(np.maximum(np.diagonal(variance, axis1=1, axis2=2), 0.0))
    least = np.tile(case.tolerance.axes() / _SHIFT_SIGMAS, (len(sessions), 1))
    none = np.full(len(sessions), -1)
    covariance = Covariance(
        np.vstack([noise, least]),
        InCommon(np.append(np.where(check, of, -1), none), shift),
        InCommon(np.append(mark, none), solved.reference.sigma),
    )
    local = case.local[list(sessions)]
    return WeighedDifferences(
        np.vstack([difference, np.nan_to_num(local) * case.scale]),
        np.vstack([case.held[rows], np.isfinite(local)]),
        covariance,
        np.append(np.ones(len(rows)), np.full(len(sessions), case.scale[0])),
    )
