"""Finds points of one name that lie apart by one vector, beyond what is taken for one point measured twice.

Two rovers that count from the same number have their points anywhere: the vectors between those of one name scatter.
Where they are all one, the same points were measured twice, and one of the two hangs on another base, pole height or
mark. Only points that are laid out by a rule, as piles and stakes are, differ by one vector and are others.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import TypeVar

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.same_names import SameNames
from pipeline.intake.survey import Survey
from pipeline.near import and_more
from pipeline.solve.issued_apart import IssuedApart, raw_apart
from pipeline.words import Doubt, counted

#: Points from which on one vector is worth a word, and is no chance; the share of all far pairs that have it.
_TOLD, _LEAST, _SHARE = 3, 5, 0.5
#: Two differences of two readings each differ by twice the standard uncertainty of one, and by this many times that.
_TIMES, _FOUR = 3.0, 2.0
#: Metres in plan and in height beyond which no stated uncertainty makes two vectors one.
_MOST = np.array([0.10, 0.15])
#: Pairs of two exports that are looked at: of thousands the first say it.
_PAIRS = 400
#: Metres in plan within which two steps from point to point are one, and the share of such from which there is a rule.
_STEP, _RULED = 0.25, 0.2
#: Names that a sentence lists.
_NAMED = 3


class OneVector(Struct, frozen=True):
    """Points of one name in two exports, or twice in one, that are all apart by one vector.

    Args:
        sessions: of the former and the latter.
        exports: likewise.
        pairs: (k, 2) numbers of the readings in the job.
        vector: (3,) metres to the east, the north and up from the former to the latter, as issued.
        ruled: the points are laid out by a rule, so that others of theirs may lie so too.
        proven: marks were occupied with both, which then tell whether one of them is off: the other edge of a road.
    """

    sessions: tuple[int, int]
    exports: tuple[int, int]
    pairs: Integers
    vector: Floats
    ruled: bool
    proven: bool

    @property
    def certain(self) -> bool:
        """Tell whether the same points were measured twice beyond doubt, by two rovers or bases."""
        two = self.exports[0] != self.exports[1] or self.sessions[0] != self.sessions[1]
        return two and len(self.pairs) >= _LEAST and not self.ruled and not self.proven

    def sentence(self, survey: Survey) -> str:
        """Return in words what lies where."""
        first, other = (survey.exports[number].shown for number in self.exports)
        where = (
            f"{other} have names of points of {first}" if first != other else f"{first} have names that it has twice"
        )
        names = dict.fromkeys(survey.windows[number].session.name for number in self.sessions)
        of = f"session {' and session '.join(names)}: "
        east, north, up = self.vector + 0.0
        far = float(np.hypot(east, north))
        return (
            f"{of}{counted(len(self.pairs), 'point')} of {where} and lie {far:.1f} m from those, all by one vector:"
            f" {east:+.3f} m east, {north:+.3f} m north, {up:+.3f} m up"
        )


class SameNamed(Struct, frozen=True):
    """Readings of points of one name: of two exports or sessions, or of one.

    Args:
        pairs: (k, 2) rows of the `SameNames`: the first reading of a name, and another of it.
        sessions, exports: of the two.
    """

    pairs: Integers
    sessions: tuple[int, int]
    exports: tuple[int, int]


_Found = TypeVar("_Found", bound=OneVector | SameNamed)


def same_named(survey: Survey) -> Iterator[SameNamed]:
    """Yield the pairs of readings of one name by their sessions and exports, in the order of these.

    Where there are too few to tell anything, or the positions of two exports are in two systems, they are left out.
    """
    same = survey.first_pass.same_names
    fresh = np.concatenate([[True], same.name[1:] != same.name[:-1]]) if len(same.name) else np.zeros(0, bool)
    first = np.maximum.accumulate(np.where(fresh, np.arange(len(fresh)), 0))
    again = np.flatnonzero(~fresh)
    pairs = np.column_stack([first[again], again])
    pairs = pairs[(same.session[pairs] >= 0).all(axis=1)]
    export = survey.first_pass.export_of(same.number)
    # the one that was read first is the former, whatever the times
    pairs = np.where((export[pairs[:, :1]] > export[pairs[:, 1:]]), pairs[:, ::-1], pairs)
    groups = np.column_stack([same.session[pairs], export[pairs]]).astype(np.int64)
    keys = groups @ np.cumprod([1, *(groups.max(axis=0, initial=0)[:0:-1] + 1)])[::-1]
    order = np.argsort(keys, kind="stable")
    for some in np.split(pairs[order], np.flatnonzero(np.diff(keys[order])) + 1):
        if len(some) < _TOLD:
            continue
        sessions, exports = same.session[some[0]].tolist(), export[some[0]].tolist()
        if _alike(survey, *exports):
            yield SameNamed(some[:_PAIRS], (sessions[0], sessions[1]), (exports[0], exports[1]))


def one_vectors(survey: Survey, issued: IssuedApart) -> list[OneVector]:
    """Return what there is of them, in the order of sessions and exports."""
    stood = _stood_on_marks(survey)
    found = (
        _found(survey, issued, some, set(zip(some.sessions, some.exports, strict=True)) <= stood)
        for some in same_named(survey)
    )
    return [one for one in found if one is not None]


def not_told(
    survey: Survey, found: Iterable[_Found], told: frozenset[tuple[int, ...]]
) -> Iterator[tuple[_Found, tuple[int, ...]]]:
    """Yield those that have no doubt yet, with their sessions in order; one tells of copies of an export that moved."""
    copies = {(*sorted(one.exports), one.session) for one in survey.first_pass.shifted}
    for one in found:
        sessions = tuple(sorted(set(one.sessions)))
        if sessions not in told and not any((*sorted(one.exports), each) in copies for each in sessions):
            yield one, sessions


def one_vector_doubts(
    survey: Survey, found: Sequence[OneVector], told: frozenset[tuple[int, ...]]
) -> Iterator[Doubtful]:
    """Yield a doubt for those that are certain; ``told`` are sessions, in order, that have one about the same."""
    for one, sessions in not_told(survey, [each for each in found if each.certain], told):
        what = (
            f"{one.sentence(survey)}. Numbers that are used twice by chance scatter: these seem to be the same points,"
            " and one of the two hangs on another base position, pole height, field shift or mark. Check what each was"
            " measured with and give each base its own session; points that are others need other names"
        )
        yield Doubtful(Doubt.BASE, what, sessions, survey.exports[one.exports[1]].shown)


def one_vector_notes(survey: Survey, found: Sequence[OneVector]) -> list[str]:
    """Return in words those that are not certain, and what becomes of the points of all."""
    some = [one.sentence(survey) for one in found if not one.certain]
    certain = sum(len(one.pairs) for one in found if one.certain)
    told = []
    if some:
        listed = "; ".join(some[:_NAMED]) + and_more(len(some) - _NAMED, "; ")
        told.append(
            f"{listed}. If these are the same points, one of the two hangs on another base position, pole height or"
            f" mark; {_ISSUED}"
        )
    if certain:
        told.append(f"{counted(certain, 'name')} in doubt for lying apart by one vector: {_ISSUED}")
    return told


_ISSUED = "all of them are issued, distinguished by a number after the name"


def _alike(survey: Survey, one: int, other: int) -> bool:
    """Tell whether two exports have their positions in one system, so that they differ as issued as they do raw."""
    first, second = (survey.exports[number].points for number in (one, other))
    return (first.crs, first.units, first.columns.height is None) == (
        second.crs, second.units, second.columns.height is None
    )  # fmt: skip


def _found(survey: Survey, issued: IssuedApart, some: SameNamed, proven: bool) -> OneVector | None:
    """Return the one vector that most pairs of points have that are far apart, None where there is none.

    ``proven`` is as `OneVector` has it.
    """
    same, apart = survey.first_pass.same_names, vectors_apart(survey, issued, some)
    far = np.isfinite(apart).all(axis=1) & (np.hypot(*apart[:, :2].T) > survey.job.checks.same_name)
    pairs, apart = some.pairs[far], apart[far]
    if len(pairs) < _TOLD:
        return None
    which = of_one_vector(apart, noise(survey))
    # one pair of a name: two more readings of a point say nothing new
    _, once = np.unique(same.name[pairs[which, 0]], return_index=True)
    if len(once) < _TOLD or np.count_nonzero(which) < _SHARE * len(pairs):
        return None
    chosen = pairs[which]
    return OneVector(
        sessions=some.sessions,
        exports=some.exports,
        pairs=same.number[chosen[np.sort(once)]],
        vector=np.median(apart[which], axis=0),
        ruled=by_a_rule(same, chosen[once, 0]),
        proven=proven,
    )


def vectors_apart(survey: Survey, issued: IssuedApart, some: SameNamed) -> Floats:
    """Return (k, 3) metres to the east, the north and up between pairs of readings as issued, NaN where unknown."""
    same, exports = survey.first_pass.same_names, np.tile(some.exports, (len(some.pairs), 1))
    return raw_apart(same, some.pairs) + issued.apart(same.session[some.pairs], same.time[some.pairs], exports)


def noise(survey: Survey) -> Floats:
    """Return (2,) metres in plan and in height by which two of one vector differ at the most."""
    quality = survey.job.quality
    stated = np.array([quality.sigma_horizontal, quality.sigma_vertical])
    return np.asarray(np.minimum(_MOST, _TIMES * _FOUR * stated))


def of_one_vector(apart: Floats, within: Floats) -> Flags:
    """Return which of (k, 3) vectors are one to (2,) ``within`` in plan and in height, as many as can be; k > 0."""
    off = apart[:, None] - apart[None]
    one = (np.hypot(off[..., 0], off[..., 1]) <= within[0]) & (np.abs(off[..., 2]) <= within[1])
    return np.asarray(one[int(np.argmax(one.sum(axis=1)))])


def by_a_rule(same: SameNames, rows: Integers) -> bool:
    """Tell whether points, (k,) rows of ``same``, are laid out by a rule: others of theirs may lie by it too."""
    return bool(_ruled(_plan(same, rows)))


def _stood_on_marks(survey: Survey) -> set[tuple[int, int]]:
    """Return the sessions with the exports that have listed occupations in them."""
    table, named = survey.candidates.table, survey.candidates.named
    export = table.column("export").to_pylist()
    return {(int(survey.candidates.session[row]), export[row]) for row, of in enumerate(named) if of is not None}


def _plan(same: SameNames, rows: Integers) -> Floats:
    """Return (k, 2) metres to the east and the north of the first of some points."""
    return raw_apart(same, np.column_stack([np.full(len(rows), rows[0]), rows]))[:, :2]


def _ruled(plan: Floats) -> Flags:
    """Tell whether points (k, 2) are laid out by a rule: many steps from one to another are steps of others too."""
    one, other = np.triu_indices(min(len(plan), 30), 1)
    steps = plan[other] - plan[one]
    steps *= np.where((steps[:, :1] < 0.0) | ((steps[:, :1] == 0.0) & (steps[:, 1:] < 0.0)), -1.0, 1.0)
    near = np.linalg.norm(steps[:, None] - steps[None], axis=2) <= _STEP
    return np.asarray(np.mean(near.sum(axis=1) > 1) > _RULED)
