"""The hypotheses about some sessions' occupations: each of the trade's usual blunders with its prediction."""

from collections import Counter
from collections.abc import Iterator

import numpy as np
from msgspec import Struct, field

from pipeline.arrays import Integers
from pipeline.blunders.coordinates import typed
from pipeline.blunders.exchanged import exchanged_in_field, exchanged_in_register
from pipeline.blunders.far_off import bent
from pipeline.blunders.misstated import Retyped, misstated
from pipeline.blunders.not_stated import FoundPattern, hypotheses_of, partial
from pipeline.blunders.one_rover import one_rover
from pipeline.blunders.one_scale import one_scale
from pipeline.blunders.other_marks import again, point_name, several, stood_elsewhere
from pipeline.blunders.outlook import Outlook
from pipeline.blunders.pegs import peg_ties, pegs
from pipeline.blunders.pole_heights import left_poles, wrong_poles, wrong_set_ups
from pipeline.blunders.scope import Scope
from pipeline.blunders.score import ALL, HEIGHT, PARTS, Hypothesis, Kind, OneShape, WeighedDifferences
from pipeline.blunders.stated_shifts import stated_shifts
from pipeline.clock import DAY, HOUR
from pipeline.replace import replace

#: Milliseconds within which another session's base may have been taken for one's own.
_NEAR = 3 * DAY


class Tried(Struct):
    """The hypotheses about a scope: those that may fit, and how many of each kind there were.

    ``not_stated`` are those of a shift that the field applied, each with the pattern that it is about;
    ``retyped`` those of a stated one that was mistyped, each with what was meant.
    """

    hypotheses: list[Hypothesis] = field(default_factory=list)
    count: Counter[Kind] = field(default_factory=Counter)
    not_stated: list[tuple[Hypothesis, FoundPattern]] = field(default_factory=list)
    retyped: list[tuple[Hypothesis, Retyped]] = field(default_factory=list)

    def add(self, found: Iterator[Hypothesis]) -> None:
        """Take hypotheses up and count them."""
        for hypothesis in found:
            self.hypotheses.append(hypothesis)
            self.count[hypothesis.kind] += 1


def hypotheses(scope: Scope, evidence: WeighedDifferences) -> Tried:
    """Return every hypothesis about the scope; those about the register only where they may fit the evidence."""
    tried = Tried()
    for session, own in zip(scope.sessions, scope.own, strict=True):
        tried.not_stated += [(hypothesis, found) for found, hypothesis in hypotheses_of(scope, session, own)]
    without = [replace(evidence, difference=evidence.difference - one.shape) for one, _ in partial(tried.not_stated)]
    outlook = Outlook.of([evidence, *without], scope.influence.outermost, scope.case.tolerance)
    for mark in scope.marks:
        count, found = typed(scope, mark, outlook)
        tried.count += count
        tried.hypotheses += found
        tried.add(mark_off(scope, mark, evidence))
    ways, in_register = exchanged_in_register(scope, evidence, outlook)
    tried.count[Kind.EXCHANGED] += ways
    tried.hypotheses += in_register
    tried.add(one_scale(scope, evidence))
    for session, own in zip(scope.sessions, scope.own, strict=True):
        for row in own.tolist():
            _take_up(tried, scope, [row])
            tried.add(point_off(scope, row))
            tried.add(_other_sessions(scope, session, row))
        for alike in several(scope, own):
            _take_up(tried, scope, alike)
        tried.add(exchanged_in_field(scope, own, evidence))
        tried.add(one_rover(scope, session))
        tried.add(_setups(scope, session))
        tried.add(stated_shifts(scope, session, own))
        stated = list(misstated(scope, session, own))
        tried.add(hypothesis for hypothesis, _ in stated)
        tried.retyped += [(hypothesis, other) for hypothesis, other in stated if other is not None]
        tried.add(_in_time(scope, session, own))
    tried.add(left_poles(scope))
    tried.add(pegs(scope))
    tried.add(hypothesis for hypothesis, _ in tried.not_stated)
    return tried


def mark_off(scope: Scope, mark: str, evidence: WeighedDifferences) -> Iterator[Hypothesis]:
    """Yield that the register's coordinates of a mark are off for no known reason."""
    case = scope.case
    if not case.reached[[row for row in scope.influence.rows if case.solved.occupations.marks[row] == mark]].all():
        return  # off by no number that could be told
    decide = f"another mark, or {mark}'s published coordinates"
    shape, group = scope.influence.any_typed(mark), OneShape()
    for (free, _), what in zip(PARTS, ("coordinates", "position", "height"), strict=True):
        verb = "are" if free == ALL else "is"
        text = f"{mark}'s {what} in the register {verb} off by {{size}}"
        given = bent(scope, mark, evidence, shape, free)
        yield Hypothesis(Kind.MARK_UNEXPLAINED, text, shape, free, decide, given=given, group=group)


def _take_up(tried: Tried, scope: Scope, rows: list[int]) -> None:
    """Take up that the rover stood on another mark; those that cannot lie where it stood count as tried as well."""
    count, found = stood_elsewhere(scope, rows)
    tried.count[Kind.OTHER_MARK] += count
    tried.hypotheses += found


def point_off(scope: Scope, row: int) -> Iterator[Hypothesis]:
    """Yield that one occupation alone is off: by its pole or antenna height, or for no known reason."""
    mark, point = scope.case.solved.occupations.marks[row], point_name(scope, row)
    yield from wrong_poles(scope, row)
    if not scope.case.reached[row]:
        return
    shape, group = scope.influence.any_displaced({row: 1.0}), OneShape()
    for free, what in PARTS:
        text = f"{point} alone is off{what} by {{size}}" + (" (pole height?)" if free == HEIGHT else "")
        yield Hypothesis(Kind.POINT_UNEXPLAINED, text, shape, free, again(mark), group=group)


def _setups(scope: Scope, session: int) -> Iterator[Hypothesis]:
    """Yield what a wrong set-up of the base over its mark would show."""
    setup = scope.case.survey.windows[session].session.setup
    if setup is not None and session in scope.case.solved.tied.setups:
        yield from wrong_set_ups(scope, session, setup.antenna_height, f"over {setup.mark}")


def _other_sessions(scope: Scope, session: int, row: int) -> Iterator[Hypothesis]:
    """Yield that an occupation was observed against the base of another session."""
    on_marks, shifts = scope.case.solved.occupations, scope.case.solved.shifts.shift
    windows = scope.case.survey.windows
    near = [w for w in windows if abs(w.start_ms - int(on_marks.time[row])) < _NEAR and w.index != session]
    others = [w for w in near if np.isfinite(shifts[w.index]).all()]
    shapes = scope.influence.displaced([row], shifts[session] - shifts[[w.index for w in others]])
    for window, shape in zip(others, shapes, strict=True):
        text = f"{point_name(scope, row)} was observed against the base of session {window.session.name}"
        decide = "the base id in the receiver's own record"
        if np.isfinite(shape).all():
            yield Hypothesis(Kind.OTHER_SESSION, text, shape, decide=decide)


def _in_time(scope: Scope, session: int, own: Integers) -> Iterator[Hypothesis]:
    """Yield that the base moved in one of the gaps between occupations, or drifts all the time.

    Ties on pegs show no difference of their own, but what a base that moves after them, or before, does to all others.
    """
    on_marks, reached = scope.case.solved.occupations, bool(scope.case.reached[own].all())
    every = np.concatenate([own, np.array(peg_ties(scope, session), np.int64)])
    rows = every[np.argsort(on_marks.time[every], kind="stable")].tolist()
    times, judged = on_marks.time[rows], set(own.tolist())
    for gap in range(1, len(rows)):
        if times[gap] == times[gap - 1] or not reached:
            continue
        shape, group = scope.influence.any_displaced(dict.fromkeys(rows[gap:], 1.0)), OneShape()
        passed = [row for row in rows[:gap] if row in judged and on_marks.compared.passed[row]]
        if passed or rows[gap - 1] in judged:
            before = on_marks.marks[passed[-1] if passed else rows[gap - 1]]
            decide = f"{before} occupied again: it fails too if the base moved"
        else:
            # the peg once more does not tell: it differs from its tie as well where that was off
            decide = (
                f"a point measured before {point_name(scope, rows[gap])}, measured again: it differs if the base moved"
            )
        for free, what in PARTS:
            text = (
                f"the base appears to have moved{what} by {{opposite}} between {{since}} and {{until}} UTC"
                " (points after the move are out by the reverse)"
            )
            where = (rows[gap - 1], rows[gap])
            yield Hypothesis(Kind.BASE_MOVED, text, shape, free, decide, where=where, group=group)
    times = on_marks.time[own]
    if len(own) > 2 and times[-1] > times[0] and reached:
        yield from drift(scope, own)


def drift(scope: Scope, own: Integers) -> Iterator[Hypothesis]:
    """Yield that the base drifts, in all components first: the free size is metres an hour that the points move.

    ``own`` (k,) are the occupations of its session, by time.
    """
    times = scope.case.solved.occupations.time[own]
    hours = (times - times[0]) / HOUR
    shape, group = scope.influence.any_displaced(dict(zip(own.tolist(), hours.tolist(), strict=True))), OneShape()
    for free, what in PARTS:
        text = f"the base appears to drift{what} by {{opposite}} an hour (points are out by the reverse)"
        yield Hypothesis(Kind.BASE_DRIFTS, text, shape, free, "a closing occupation, later", group=group)
