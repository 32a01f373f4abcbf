"""What one more tie or check would gain: each mark at hand tried in each session, by the same adjustment."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from pipeline.arrays import Floats
from pipeline.fieldwork.at_hand import Marks
from pipeline.fieldwork.foreseen import UNSEEN, Blunder, Intended, Session, foresee
from pipeline.intake.operations import Operations
from pipeline.job.model import Job
from pipeline.words import Role

#: Marks that are tried in each session: the nearest to the work.
TRIED = 40


@dataclass(frozen=True)
class Gain:
    """One more tie or check, and what it would change; metres, NaN where there is nothing.

    Args:
        session: number of the session.
        role: tie or check.
        mark: number of the mark.
        hu95: the largest at the session's ends, before and after.
        vu95: likewise.
        shown: the smallest blunder in the session that would show, before and after: of a tie the worst of its ties',
            of a check the best of its checks'.
    """

    session: int
    role: Role
    mark: int
    hu95: tuple[float, float]
    vu95: tuple[float, float]
    shown: tuple[Blunder, Blunder]

    @property
    def worth(self) -> float:
        """Return by what part uncertainties and blunders shrink, in all; what was unknown or unseen counts whole.

        A first check counts twice: it alone proves a session, however many ties watch one another.
        """
        (before, after), parts = self.shown, []
        pairs = ((before.horizontal, after.horizontal), (before.vertical, after.vertical))
        for one, other in (*pairs, self.hu95, self.vu95):
            if np.isnan(one) and not np.isnan(other):
                parts.append(2.0 if self.role is Role.CHECK else 1.0)
            elif not np.isnan(one):
                parts.append(1.0 - other / one if not np.isnan(other) else -1.0)
        return sum(parts)


def gains(
    sessions: Sequence[Session], marks: Marks, tried: Sequence[int], job: Job, operations: Operations
) -> tuple[Gain, ...]:
    """Return what each mark tried, as one more tie or check of each session, would gain; the most first."""
    intended = [one.intended for one in sessions]
    found = []
    for number, before in enumerate(sessions):
        for mark in tried[:TRIED]:
            for role, changed in _changes(before.intended, mark):
                every = [changed if at == number else one for at, one in enumerate(intended)]
                found.append(_gain(number, role, mark, before, foresee(every, marks, job, operations)[number]))
    return tuple(sorted(found, key=lambda one: -round(one.worth, 3)))


def _changes(session: Intended, mark: int) -> Iterator[tuple[Role, Intended]]:
    """Yield a session with a mark as one more tie, no longer a check, and as one more check where it does not tie."""
    checks = tuple(one for one in session.checks if one != mark)
    yield Role.TIE, replace(session, ties=(*session.ties, mark), checks=checks)
    if mark not in (*session.ties, *session.checks, session.over):
        yield Role.CHECK, replace(session, checks=(*session.checks, mark))


def _gain(number: int, role: Role, mark: int, before: Session, after: Session) -> Gain:
    shown = _ties if role is Role.TIE else _checks
    return Gain(
        number,
        role,
        mark,
        (_largest(before.hu95), _largest(after.hu95)),
        (_largest(before.vu95), _largest(after.vu95)),
        (shown(before), shown(after)),
    )


def _largest(values: Floats) -> float:
    return float(np.nanmax(values)) if np.isfinite(values).any() else float("nan")


def _ties(session: Session) -> Blunder:
    """Return the smallest blunder that would show in whichever tie it is; NaN where one would hide it, or none ties."""
    if not session.ties:
        return UNSEEN
    shown = [one.shown for one in session.ties]
    return Blunder(max(_inf(one.horizontal) for one in shown), max(_inf(one.vertical) for one in shown)).finite()


def _checks(session: Session) -> Blunder:
    """Return the smallest blunder between tie and check that would show: by the best check."""
    found = UNSEEN
    for one in session.checks:
        found = found.better(one.shown)
    return found


def _inf(value: float) -> float:
    return float("inf") if np.isnan(value) else value
