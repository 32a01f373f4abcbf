"""What one more tie or check would gain: each mark at hand tried in each session, by the same adjustment."""

from collections.abc import Callable, Container, Iterator, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.fieldwork.forecast import UNSEEN, Blunder, ForeseenSession, Intended, forecast_sessions
from pipeline.fieldwork.nearby_marks import Marks
from pipeline.intake.operations import Operations
from pipeline.job.model import Job
from pipeline.replace import replace
from pipeline.words import Role

#: Marks that are tried in each session, the nearest to the work; and in all of many sessions, but a few in each.
TRIED, _TRIALS, _FEW = 40, 200, 3

#: Foresees the session of a number as it is changed, with blunders in the ties of the sessions that are named.
_Foresee = Callable[[int, Intended, Container[int]], ForeseenSession]


class Gain(Struct, frozen=True):
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
    sessions: Sequence[ForeseenSession], marks: Marks, tried: Sequence[int], job: Job, operations: Operations
) -> tuple[Gain, ...]:
    """Return what each mark tried, as one more tie or check of each session, would gain; the most first."""
    most = min(TRIED, max(_TRIALS // len(sessions), _FEW))

    def foreseen(number: int, changed: Intended, ties: Container[int]) -> ForeseenSession:
        every = [changed if at == number else one.intended for at, one in enumerate(sessions)]
        return forecast_sessions(every, marks, job, operations, ties)[number]

    found = [
        gain
        for number, before in enumerate(sessions)
        for kind in (_of_ties, _of_checks)
        for gain in kind(before, number, tried[:most], foreseen)
    ]
    return tuple(sorted(found, key=lambda one: -round(one.worth, 3)))


def _of_ties(before: ForeseenSession, number: int, tried: Sequence[int], foreseen: _Foresee) -> Iterator[Gain]:
    """Yield what each mark as one more tie would gain, but for those that check the session: a tie is no check."""
    for mark in tried:
        if mark in before.intended.checks:
            continue
        changed = replace(before.intended, ties=(*before.intended.ties, mark))
        after = foreseen(number, changed, [number])
        hu95 = (_largest(before.hu95), _largest(after.hu95))
        vu95 = (_largest(before.vu95), _largest(after.vu95))
        yield Gain(number, Role.TIE, mark, hu95, vu95, (_ties(before), _ties(after)))


def _of_checks(before: ForeseenSession, number: int, tried: Sequence[int], foreseen: _Foresee) -> Iterator[Gain]:
    """Yield what each mark that the session does not occupy would gain as a check, which changes no shift."""
    taken = (*before.intended.ties, *before.intended.checks, before.intended.over)
    more = tuple(mark for mark in tried if mark not in taken)
    after = foreseen(number, replace(before.intended, checks=more), []) if more else before
    hu95, vu95, shown = _largest(before.hu95), _largest(before.vu95), _checks(before)
    for check in after.checks if more else ():
        yield Gain(number, Role.CHECK, check.mark, (hu95, hu95), (vu95, vu95), (shown, shown.better(check.shown)))


def _largest(values: Floats) -> float:
    return float(np.nanmax(values)) if np.isfinite(values).any() else float("nan")


def _ties(session: ForeseenSession) -> Blunder:
    """Return the smallest blunder that would show in whichever tie it is; NaN where one would hide it, or none ties."""
    if not session.ties:
        return UNSEEN
    shown = [one.shown for one in session.ties]
    return Blunder(max(_inf(one.horizontal) for one in shown), max(_inf(one.vertical) for one in shown)).finite()


def _checks(session: ForeseenSession) -> Blunder:
    """Return the smallest blunder between tie and check that would show: by the best check."""
    found = UNSEEN
    for one in session.checks:
        found = found.better(one.shown)
    return found


def _inf(value: float) -> float:
    return float("inf") if np.isnan(value) else value
