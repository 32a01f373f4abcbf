"""Failing occupations explained: which single blunder would explain them, how sure that is, and what would decide.

Sessions that fail and share a mark they are tied to are explained together first, since a blunder at one tie pulls at
all of them; what no single cause explains is explained session by session, and then mark by mark.

What makes hypotheses is loaded where something is to be explained: mostly nothing is.
"""

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Integers
from pipeline.blunders.no_blunder import against_noise, allowed
from pipeline.blunders.of_passing import Passing, of_passing
from pipeline.blunders.scope import Case, Former, evidence_of, scope_of
from pipeline.blunders.score import CLOSE, Explanation, Hypothesis, Kind, explain
from pipeline.groups import groups_of
from pipeline.intake.survey import Survey
from pipeline.limits import DIAGNOSED
from pipeline.replace import replace
from pipeline.solve.solve import Solved
from pipeline.words import Doubt

if TYPE_CHECKING:
    from pipeline.blunders.hypotheses import Tried
    from pipeline.blunders.not_stated import FoundPattern

#: Sessions with so many occupations at most are explained together, others apart: the work grows with its square.
_TOGETHER = 250

_NONE = np.zeros(0, np.int64)


class Diagnosis(Struct, frozen=True):
    """What the failing occupations of one session may mean.

    Args:
        session: index of the session.
        rows: the failing occupations that it is about, rows of `compare.OnMarks`; none where the shift is implausible.
        tried: how many hypotheses were tried.
        places: where ``rows`` stand in the explanations' arrays; without any, where the session's occupations do, and
            where it has none that are judged, those of the sessions that it was explained with.
        explanations: those that fit, best first.
        split: lines of a job file that split the session where the base moved; None where that is neither the best
            explanation nor one that nobody can tell from it.
        field_shift: likewise, lines that state a shift which the field applied.
        apart: whether it was read apart from others that share its ties, because together they are too many.
    """

    session: int
    rows: tuple[int, ...]
    tried: int
    places: tuple[int, ...]
    explanations: tuple[Explanation, ...]
    split: str | None
    field_shift: str | None = None
    apart: bool = False


class Diagnoses(Struct, frozen=True):
    """All of a job: what failing occupations may mean, and what passing ones tell that no tolerance caught.

    ``allowed`` says in words of failing occupations that what is stated of them allows as much.
    """

    diagnoses: tuple[Diagnosis, ...] = ()
    passing: tuple[Passing, ...] = field(default=())
    allowed: Mapping[int, str] = field(default_factory=dict)


def diagnose(survey: Survey, solved: Solved, former: Former | None = None) -> Diagnoses:
    """Read every session that has a failing occupation or an implausible shift, and look at the others all the same.

    ``former`` is the register as the previous issue had it: what a failing check agreed with may have been
    altered since.
    """
    compared, limits = solved.occupations.compared, survey.job.shift
    case = Case(survey, solved, former)
    noisy = allowed(case, compared.judged & ~compared.passed)
    case = replace(case, allowed=frozenset(noisy))
    # what fails on a temporary mark hangs on ties, which no hypothesis about that mark alone foresees
    failing = compared.judged & ~compared.passed & ~solved.occupations.temporary
    east, north, up = case.local.T
    implausible = (np.hypot(east, north) > limits.limit_horizontal) | (np.abs(up) > limits.limit_vertical)
    rows = {session: case.own(session)[failing[case.own(session)]] for session in range(len(survey.windows))}
    troubled = [session for session, some in rows.items() if len(some) or implausible[session]]
    found: list[Diagnosis] = []
    for group in _groups(case, troubled):
        many = len(group) > 1 and sum(len(case.own(session)) for session in group) > _TOGETHER
        for some in [(session,) for session in group] if many else [group]:
            found += [replace(one, apart=many) for one in _read_group(case, some, rows)]
    found = _without_vain_lines(case, found)
    moved = {doubt.sessions for doubt in solved.doubts if doubt.kind is Doubt.BASE}
    calm = [session for session in rows if session not in set(troubled) and (session,) not in moved]
    passing = [one for session in calm if (one := of_passing(case, session, len(calm))) is not None]
    return Diagnoses(tuple(sorted(found, key=lambda one: (one.session, one.rows))), tuple(passing), noisy)


def _groups(case: Case, sessions: Sequence[int]) -> list[tuple[int, ...]]:
    """Return the sessions in groups that share marks they are tied to."""
    first: dict[str, int] = {}
    pairs = [(at, first.setdefault(mark, at)) for at, own in enumerate(sessions) for mark in case.tied_marks(own)]
    return [tuple(sessions[at] for at in group) for group in groups_of(len(sessions), pairs)]


def _read_group(case: Case, group: tuple[int, ...], failing: dict[int, Integers]) -> list[Diagnosis]:
    """Read sessions together; where no single cause explains them, each by itself."""
    if len(group) > 1:
        together = _diagnose(case, group, failing, _NONE)
        if all(one.explanations for one in together):
            return together
    return [one for session in group for one in _read_session(case, session, failing)]


def _read_session(case: Case, session: int, failing: dict[int, Integers]) -> list[Diagnosis]:
    """Read a session as a whole; where no single cause explains it, each of its failing marks by itself."""
    own = failing[session]
    others = np.concatenate([_NONE, *(rows for other, rows in failing.items() if other != session)])
    (whole,) = _diagnose(case, (session,), {session: own}, _NONE)
    if not whole.explanations and len(others):
        # what fails on the same marks in other sessions may have causes of its own
        (whole,) = _diagnose(case, (session,), {session: own}, others)
    marks = np.array([case.solved.occupations.marks[row] for row in own])
    several = dict.fromkeys(marks.tolist())
    if whole.explanations or len(several) < 2:
        return [whole]
    parts = []
    for mark in several:
        rest = np.concatenate([own[marks != mark], others])
        parts += _diagnose(case, (session,), {session: own[marks == mark]}, rest)
    return parts


def _diagnose(case: Case, sessions: tuple[int, ...], failing: dict[int, Integers], hidden: Integers) -> list[Diagnosis]:
    """Explain the failing rows of some sessions together; return a diagnosis for each, all with the same explanations.

    ``hidden`` are failing rows that are left out of sight.
    """
    from pipeline.blunders.hypotheses import hypotheses
    from pipeline.blunders.together import with_another

    rows = np.concatenate([failing[session] for session in sessions])
    few = len(case.solved.occupations.session) <= DIAGNOSED
    scope = scope_of(case, sessions, rows, hidden) if few else None
    if scope is None:
        return [Diagnosis(session, tuple(failing[session].tolist()), 0, (), (), None) for session in sessions]
    evidence = evidence_of(case, scope.influence.rows, sessions, scope.influence.rotation)
    tried = hypotheses(scope, evidence)
    explanations = explain(evidence, tried.hypotheses, case.tolerance, tried.count)
    explanations, about = with_another(evidence, tried, case.tolerance, explanations)
    noisy = bool(len(rows)) and case.allowed.issuperset(rows.tolist())
    explanations = against_noise(evidence, explanations, noisy)
    found = []
    for session, own in zip(sessions, scope.own, strict=True):
        rows = failing[session]
        # a session that temporary marks alone tie has nothing to compare: what is left shows at the others' occupations
        shown = next(some for some in (rows, own, scope.influence.rows) if len(some))
        places = np.searchsorted(scope.influence.rows, shown)
        split = _split(case, session, explanations)
        stated = _stated(case, session, explanations, about) or _restated(case, session, explanations, tried)
        count = tried.count.total()
        found.append(
            Diagnosis(
                session=session,
                rows=tuple(rows.tolist()),
                tried=count,
                places=tuple(places.tolist()),
                explanations=tuple(explanations),
                split=split,
                field_shift=stated,
            )
        )
    return found


def _stated(
    case: Case, session: int, explanations: Sequence[Explanation], about: "Mapping[Hypothesis, FoundPattern]"
) -> str | None:
    """Return the lines that state what the field applied, if no other explanation is clearly better."""
    from pipeline.blunders.field_lines import field_lines

    if explanations and explanations[0].hypothesis.kind is Kind.STATED_SHIFT:
        return None  # lines beside it would record a correction that never was
    for explanation in explanations:
        one = about.get(explanation.hypothesis)
        if one is not None and one.session == session and explanation.score - explanations[0].score < CLOSE:
            return field_lines(case, one)
    return None


def _restated(case: Case, session: int, explanations: Sequence[Explanation], tried: "Tried") -> str | None:
    """Return the lines that state a field shift as it was meant, if that it was mistyped is what is told first."""
    from pipeline.blunders.field_lines import restated_lines

    for hypothesis, other in tried.retyped:
        if explanations and explanations[0].hypothesis is hypothesis and other.one.window.session == session:
            return restated_lines(case, other)
    return None


def _split(case: Case, session: int, explanations: Sequence[Explanation]) -> str | None:
    """Return the lines that split a session where its base moved, if no other explanation is clearly better."""
    from pipeline.blunders.split_session import split_lines

    where = _moved(case, session, explanations)
    return None if where is None else split_lines(case.survey, case.solved, session, *where)


def _moved(case: Case, session: int, explanations: Sequence[Explanation]) -> tuple[int, int] | None:
    """Return the gap in time in which a session's base moved, None where another explanation is clearly better."""
    for explanation in explanations:
        moved, where = explanation.hypothesis.kind is Kind.BASE_MOVED, explanation.hypothesis.where
        if moved and where is not None and explanation.score - explanations[0].score < CLOSE:
            return where if case.solved.occupations.session[where[0]] == session else None
    return None


def _without_vain_lines(case: Case, found: Sequence[Diagnosis]) -> list[Diagnosis]:
    """Return diagnoses without lines that split a session and yet leave in it what fails for no known cause.

    Nor with those that part two rovers at work at the same time: one of them may be off all the time.
    """
    from pipeline.blunders.one_rover import parted
    from pipeline.blunders.split_session import splits

    told = []
    for one in found:
        where = None if one.split is None else _moved(case, one.session, one.explanations)
        if where is not None:
            others = [each for each in found if each.session == one.session and each is not one and each.explanations]
            explained = {row for each in others for row in each.rows} | case.allowed
            own, time = case.own(one.session), case.solved.occupations.time
            before, after = own[time[own] <= time[where[0]]], own[time[own] >= time[where[1]]]
            vain = parted(case, one.session, before, after) or not splits(case.solved, one.session, *where, explained)
            one = replace(one, split=None) if vain else one
        told.append(one)
    return told
