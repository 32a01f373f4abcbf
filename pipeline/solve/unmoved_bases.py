"""Doubts sessions whose raw readings of the same points agree while their shifts do not.

Points that two days measure lie, before any shift, as far from each other as the two bases were set apart. Where they
lie at one place the base stood and was set as before, and the shifts have to agree, whatever the marks say: a tie was
on another mark, or the readings were copied, with fewer digits, from one day into the other. Checks do not tell the
second.
"""

from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Flags, Integers
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.same_names import SameNames
from pipeline.intake.survey import Survey
from pipeline.solve.issued_apart import IssuedApart, raw_apart
from pipeline.solve.shift import Shifts
from pipeline.sphere import DEGREE
from pipeline.tolerance import plan_and_height
from pipeline.words import Doubt, counted

#: Metres in plan and in height within which two readings of one point agree, mostly. Common practice, no source.
_AGREE = np.array([0.02, 0.03])
#: Points, and places, that agree from which on it is no chance; and the share of those near enough to be one point.
_LEAST, _SHARE = 3, 0.5
#: How many times its standard uncertainty, and what readings agree within, shifts differ by so that they do.
_TIMES, _WIDE = 3.0, 2.0
#: Metres within which readings are of one place, and which further than the shifts differ they are of two points.
_PLACE, _NEAR = 1.0, 0.1


def unmoved_base_doubts(
    survey: Survey, issued: IssuedApart, shifts: Shifts, told: frozenset[tuple[int, ...]]
) -> Iterator[Doubtful]:
    """Yield a doubt for every two sessions whose points of one name agree raw, and not as issued.

    ``told`` are the sessions, in order, of which it is told already that they have readings of one position.
    """
    same, limits = survey.first_pass.same_names, survey.job.checks
    one = np.flatnonzero((same.name[1:] == same.name[:-1]) & (same.session[1:] != same.session[:-1]))
    one = one[(same.session[one] >= 0) & (same.session[one + 1] >= 0)]
    pairs = np.column_stack([one, one + 1])
    sessions = np.sort(same.session[pairs], axis=1)
    for both in np.unique(sessions, axis=0):
        here = pairs[(sessions == both).all(axis=1)]
        if tuple(both.tolist()) in told or len(here) < _LEAST:
            continue
        export = survey.first_pass.export_of(same.number[here])
        by = np.abs(plan_and_height(issued.apart(same.session[here], same.time[here], export)))
        uncertain = _TIMES * np.sqrt(np.trace(shifts.apart(both[:1], both[1:])[0]))
        least = np.maximum(np.maximum([limits.horizontal, limits.vertical], _WIDE * _AGREE), uncertain)
        raw = np.abs(plan_and_height(raw_apart(same, here)))
        agree = (by > least).any(axis=1) & (raw <= _AGREE).all(axis=1)
        near = (raw <= _WIDE * by + _NEAR).all(axis=1)
        if not _no_chance(same, here, agree) or np.count_nonzero(agree) < _SHARE * np.count_nonzero(near):
            continue
        first, last = (survey.windows[number].session.name for number in both.tolist())
        at = int(np.flatnonzero(agree)[0])
        what = (
            f"session {last}: {counted(int(agree.sum()), 'point')} lie where session {first} has them before any shift,"
            f" as if the base had not moved, but the shifts of the two differ by {by[at, 0]:.3f} m horizontally and"
            f" {by[at, 1]:.3f} m in height, and so do the issued points: check the ties of both sessions, and whether"
            " these readings were copied from one into the other"
        )
        yield Doubtful(Doubt.BASE, what, tuple(both.tolist()))


def _no_chance(same: SameNames, pairs: Integers, agree: Flags) -> bool:
    """Tell whether enough points agree, at places of their own."""
    rows = pairs[agree, 0]
    parallel = np.cos(np.radians(np.median(same.latitude[rows]))) if len(rows) else 1.0
    metres = DEGREE * np.column_stack([same.longitude[rows] * parallel, same.latitude[rows]])
    places = np.unique(np.floor(metres / _PLACE), axis=0)
    return min(len(places), len(np.unique(same.name[rows]))) >= _LEAST
