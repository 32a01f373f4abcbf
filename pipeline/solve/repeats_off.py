"""Finds points measured twice that all differ by one vector, where nothing says which of the two measurements is right.

What two measurements of one point have in common falls out of their difference, which then scatters about zero. Where
most differ by one vector instead, one of the two hangs on another base, pole height or mark, however near they lie. If
marks were occupied in both, these tell whether one of them is off, and the ground may have moved: that is no doubt.

A rover takes its pole along. So its occupations speak for all its points of a session, unless it measured the same
points in two stretches of time and stood on no mark within, or before and after, one of these: the pole may have been
another there.
"""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.clock import MINUTE
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.at_one_time import minutes_within, together
from pipeline.intake.survey import Survey
from pipeline.solve.compare import OnMarks
from pipeline.solve.issued_apart import IssuedApart
from pipeline.solve.one_vector import SameNamed, by_a_rule, noise, not_told, of_one_vector, same_named, vectors_apart
from pipeline.solve.shift import Shifts
from pipeline.words import Doubt, counted

#: Points from which on one vector is no chance, and the share of all pairs that have it.
_LEAST, _SHARE = 5, 0.5
#: How long before and after a stretch two occupations speak for it. Ours, no source.
_BEFORE_AND_AFTER = 30 * MINUTE
#: How many times the tolerance of checks, and the scatter of the pairs, a vector is larger. Common practice, no source.
_BEYOND, _TIMES = 1.5, 3.0


class RepeatsOff(Struct, frozen=True):
    """Points measured twice, (k, 2) rows of the `SameNames`, that differ by ``vector`` (3,) metres as issued."""

    some: SameNamed
    pairs: Integers
    vector: Floats

    def sentence(self, survey: Survey) -> str:
        """Return in words what differs."""
        first, second = (survey.exports[number].shown for number in self.some.exports)
        names = dict.fromkeys(survey.windows[number].session.name for number in self.some.sessions)
        east, north, up = self.vector + 0.0
        two = first != second
        return (
            f"{'session' if len(names) == 1 else 'sessions'} {' and '.join(names)}:"
            f" {counted(len(self.pairs), 'point')} measured twice in {f'{first} and {second}' if two else first} all"
            f" differ by one vector: {f'as {second} has them' if two else 'the second time'} they lie {east:+.3f} m"
            f" east, {north:+.3f} m north and {up:+.3f} m up of {f'where {first} has them' if two else 'the first'}"
        )


def repeats_off_doubts(
    survey: Survey, issued: IssuedApart, shifts: Shifts, occupations: OnMarks, told: frozenset[tuple[int, ...]]
) -> Iterator[Doubtful]:
    """Yield a doubt for each; ``told`` are sessions, in order, that have one about the same."""
    for some, sessions in not_told(survey, same_named(survey), told):
        one = _off(survey, issued, shifts, some)
        if one is None or _proven(survey, occupations, one):
            continue
        what = (
            f"{one.sentence(survey)}. Chance would scatter them: one of the two hangs on another base position, pole"
            " height, field shift or mark, and no occupation of a control mark tells which; or what was measured was"
            " moved or built up between. Check what each was measured with; points that are others need other names"
        )
        yield Doubtful(Doubt.BASE, what, sessions, survey.exports[some.exports[1]].shown)


def _off(survey: Survey, issued: IssuedApart, shifts: Shifts, some: SameNamed) -> RepeatsOff | None:
    """Return the one vector that most pairs of readings of one point have, beyond what they should agree to."""
    if len(some.pairs) < _LEAST:
        return None
    same, limits, apart = survey.first_pass.same_names, survey.job.checks, vectors_apart(survey, issued, some)
    near = np.isfinite(apart).all(axis=1) & (np.hypot(*apart[:, :2].T) <= limits.same_name)
    pairs, apart = some.pairs[near], apart[near]
    allowed = np.array([limits.horizontal, limits.vertical])
    if len(pairs) < _LEAST or not _beyond(np.median(apart, axis=0), _BEYOND * allowed).any():
        return None
    which = of_one_vector(apart, np.minimum(allowed, noise(survey)))
    _, once = np.unique(same.name[pairs[which, 0]], return_index=True)
    if len(once) < _LEAST or np.count_nonzero(which) < _SHARE * len(pairs):
        return None
    chosen, apart = pairs[which], apart[which]
    between = shifts.apart(*(np.array([number]) for number in some.sessions))[0] if len(set(some.sessions)) > 1 else 0.0
    uncertain = _TIMES * float(np.sqrt(np.trace(np.broadcast_to(between, (3, 3)))))
    scatter = _TIMES * np.array([np.hypot(*apart[:, :2].std(axis=0, ddof=1)), apart[:, 2].std(ddof=1)])
    vector = np.median(apart, axis=0)
    if not _beyond(vector, np.maximum(np.maximum(_BEYOND * allowed, scatter), uncertain)).any():
        return None
    return None if by_a_rule(same, chosen[once, 0]) else RepeatsOff(some, chosen[np.sort(once)], vector)


def _beyond(vector: Floats, limits: Floats) -> Flags:
    return np.asarray(np.array([np.hypot(*vector[:2]), abs(vector[2])]) > limits)


def _proven(survey: Survey, occupations: OnMarks, one: RepeatsOff) -> bool:
    """Tell whether marks were occupied with both measurements, as far as can be said."""
    sides = list(zip(one.some.sessions, one.some.exports, strict=True))
    rovers = [_of_its_rover(survey, occupations, *side) for side in sides]
    if not all(len(times) for times in rovers):
        return False
    (session, export), (other, second) = sides
    if session != other or (export != second and _at_work_together(survey, session, export, second)):
        return True
    return not _in_two_stretches(survey, one, np.concatenate(rovers))


def _in_two_stretches(survey: Survey, one: RepeatsOff, occupied: Integers) -> bool:
    """Tell whether the points were measured in two stretches of time, one of which no mark speaks for."""
    same = survey.first_pass.same_names
    times = np.sort(same.time[one.pairs], axis=1)
    (begin, end), (again, last) = ((int(of.min()), int(of.max())) for of in times.T)
    if end >= again:
        return False
    between = occupied[(occupied > end) & (occupied < again)]
    before, after = occupied[occupied < begin], occupied[occupied > last]
    stretches = ((begin, end, before, between), (again, last, between, after))
    return not all(_stood_on(occupied, *stretch) for stretch in stretches)


def _stood_on(occupied: Integers, begin: int, end: int, before: Integers, after: Integers) -> bool:
    """Tell whether a mark was occupied within a stretch of time, or shortly before and shortly after it."""
    within = (occupied >= begin) & (occupied <= end)
    around = (before >= begin - _BEFORE_AND_AFTER).any() and (after <= end + _BEFORE_AND_AFTER).any()
    return bool(within.any() or around)


def _of_its_rover(survey: Survey, occupations: OnMarks, session: int, export: int) -> Integers:
    """Return the times of the occupations in a session that may be of an export's rover.

    A file of occupations alone may be of any rover, and one that was not at work beside this one's of the same.
    """
    here = occupations.session == session
    exports = np.asarray(occupations.table.column("export"), np.int64)[here]
    count = np.bincount(exports, minlength=len(survey.exports))
    mine = [
        number
        for number in np.flatnonzero(count).tolist()
        if number == export
        or survey.first_pass.files[number].sessions[session] <= count[number]
        or not _at_work_together(survey, session, export, number)
    ]
    return np.asarray(occupations.time[here][np.isin(exports, mine)])


def _at_work_together(survey: Survey, session: int, one: int, other: int) -> bool:
    window, files = survey.windows[session], survey.first_pass.files
    return together(*(minutes_within(files[number].clock(), window) for number in (one, other)))
