"""What the occupations of a session tell although all of them pass: that its base drifts, or that one thing is off.

A tie that is off takes the session's shift along, so that all else differs from its marks by one vector, as much in the
morning as in the evening. That looks like a drift too where the tie came first, so that the two are told apart: a drift
is one only where the differences grow with time.
"""

import math
from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.adjust.components import chance_of_ratio
from pipeline.arrays import Flags, Floats, Integers
from pipeline.blunders.scope import Case, Scope, evidence_of, scope_of
from pipeline.blunders.score import (
    ALL,
    CLOSE,
    Explanation,
    Hypothesis,
    WeighedDifferences,
    explain,
    significance_of,
    tail,
)
from pipeline.intake.file_log import RTK_SIGMA, stated_sizes
from pipeline.intake.survey import Survey
from pipeline.limits import DIAGNOSED
from pipeline.solve.wide_tolerance import USUAL
from pipeline.tolerance import Tolerance
from pipeline.words import Role

#: It is told where noise alone gives as large a trend, or vector, in any of the sessions, in one job of a thousand.
_CHANCE = 0.001
#: And by the scatter around it: of a drift where less is stated than RTK gives, of a vector always. Ours, no source.
_SCATTER = 0.005
#: Metres an hour that are written as none: no trend that matters, however well it is known.
_WRITTEN = 0.0005
#: Less than three occupations make no trend.
_LEAST = 3
#: Explanations that a sentence names.
_NAMED = 2


class Passing(Struct, frozen=True):
    """What a session's passing occupations tell, and how often noise alone gives as much.

    ``explanations`` are those that nobody can tell apart, best first; ``in_time`` whether the differences grow with it.
    """

    session: int
    explanations: tuple[Explanation, ...]
    chance: float
    in_time: bool


def of_passing(case: Case, session: int, sessions: int) -> Passing | None:
    """Return what a session's occupations tell, which all pass, where noise alone hardly gives as much.

    ``sessions`` are looked at in all.
    """
    own = case.own(session)
    if len(own) > DIAGNOSED or len(np.unique(case.solved.occupations.time[own])) < _LEAST:
        return None
    evidence = evidence_of(case, own, (session,), case.rotation(session))
    _, white = evidence.white()
    # Nothing explains more than there is, and most sessions have too little to be looked at any closer.
    if tail(float((white**2).sum())) >= _CHANCE / sessions:
        return None
    from pipeline.blunders.hypotheses import drift

    scope = scope_of(case, (session,), own, own[:0])
    if scope is None:
        return None
    evidence = evidence_of(case, scope.influence.rows, (session,), scope.influence.rotation)
    own_rows: Flags = np.isin(scope.influence.rows, own)
    (trend,) = explain(evidence, [next(drift(scope, own))], Tolerance(math.inf, math.inf))
    alike = _at_all_times(scope, own, evidence)
    best = alike[0].chi_square if alike else math.inf
    chance = significance_of(trend.size, trend.sigma)
    drifts = chance < _CHANCE / sessions and np.abs(trend.size).max() >= _WRITTEN
    drifts = drifts and _beyond_scatter(case.survey, evidence, own_rows, trend)
    if drifts and trend.chi_square < best - CLOSE:
        return Passing(session, (trend,), chance, True)
    for one in alike[:1]:
        chance = min(1.0, len(alike) * significance_of(one.size, one.sigma))
        beyond = not USUAL.passes([math.hypot(*one.size[:2]), one.size[2]])
        if (drifts or beyond) and chance < _CHANCE / sessions and _of_scatter(evidence, own_rows, one):
            close = [each for each in alike if each.chi_square < best + CLOSE][:_NAMED]
            named = (*close, *([trend] if drifts and trend.chi_square < best + CLOSE else []))
            return Passing(session, named, chance, False)
    return None


def _at_all_times(scope: Scope, own: Integers, evidence: WeighedDifferences) -> list[Explanation]:
    """Return what explains differences by one vector at all times, best first: a tie that is off, or a mark."""
    found = explain(evidence, list(_one_off(scope, own, evidence)), Tolerance(math.inf, math.inf))
    return sorted(found, key=lambda one: one.chi_square)


def _one_off(scope: Scope, own: Integers, evidence: WeighedDifferences) -> Iterator[Hypothesis]:
    """Yield that one tie is off, or the register's coordinates of a mark that ties or was occupied again."""
    from pipeline.blunders.hypotheses import mark_off, point_off

    on_marks = scope.case.solved.occupations
    marks, ties = [on_marks.marks[row] for row in own], [row for row in own if on_marks.roles[row] is Role.TIE]
    for row in ties:
        yield from (one for one in point_off(scope, int(row)) if one.free == ALL)
    tied = {on_marks.marks[row] for row in ties}
    for mark in scope.marks:
        if mark in tied or marks.count(mark) > 1:
            yield from (one for one in mark_off(scope, mark, evidence) if one.free == ALL)


def _beyond_scatter(survey: Survey, evidence: WeighedDifferences, own: Flags, trend: Explanation) -> bool:
    """Tell whether a trend stands out of the scatter that it leaves among a session's occupations, ``own`` (n,) rows.

    Where exports state less than RTK gives, any scatter has a trend that this does not allow. So along one axis at the
    least, what the trend explains is compared with what it leaves, by F: of the occupations' degrees of freedom, a
    level, the trend and what the tie takes up are no scatter.
    """
    logs = zip(survey.first_pass.files, survey.exports, strict=True)
    plan, up = stated_sizes([(log, survey.job.quality.scales(export.points)) for log, export in logs])
    if plan >= RTK_SIGMA[0] or up >= RTK_SIGMA[1]:
        return True
    freedom = int(own.sum()) - 3
    if freedom <= 0:
        return False
    explained, left = _squares(evidence, own, trend)
    scatter = np.maximum(left, 1e-9) / freedom
    return bool((chance_of_ratio(explained / scatter, freedom) < _SCATTER / 3.0).any())


def _of_scatter(evidence: WeighedDifferences, own: Flags, vector: Explanation) -> bool:
    """Tell whether a vector stands out of the scatter that it leaves, or of what is stated where that is more.

    By F of all axes together, which have the vector and what the tie takes up besides scatter.
    """
    freedom = 3 * (int(own.sum()) - 2)
    explained, left = _squares(evidence, own, vector)
    ratio = explained.sum() / 3.0 / max(float(left.sum()) / freedom, 1.0)
    return bool(chance_of_ratio(ratio, freedom, 3) < _SCATTER)


def _squares(evidence: WeighedDifferences, own: Flags, one: Explanation) -> tuple[Floats, Floats]:
    """Return (3,) what of chi-square an explanation explains along each axis, and what it leaves among ``own`` rows."""
    whitener, _ = evidence.white()
    explained = np.divide(one.size, one.sigma, out=np.zeros(3), where=one.sigma > 0) ** 2
    return explained, (whitener(one.left)[: len(own)][own] ** 2).sum(axis=0)
