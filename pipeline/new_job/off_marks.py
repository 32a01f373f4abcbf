"""By what readings on marks are off, and what parts those vectors that disagree into some that agree.

In plan, known minus observed says it of each reading. Heights of exports and register may be in systems that differ
from place to place, so they are compared on one and the same mark alone: what all readings on it share is the mark's.
"""

from collections import Counter
from collections.abc import Sequence
from itertools import combinations

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.letter_case import folded
from pipeline.new_job.occupations import FAR, ReadingsAndMarks
from pipeline.new_job.timed_rows import Texts, TimedRows
from pipeline.replace import replace

#: Metres by which vectors of one base differ from their middle at most, and how far apart those of two bases are, at
#: least; and in how many such differences the bases are apart. Larger than readings scatter; no source.
_ONE, _OTHER, _TIMES = 0.08, 0.15, 4.0
#: Occupations of each of two bases that show them.
_LEAST = 2


class OffMarks(Struct, frozen=True):
    """Readings (k,) that name a mark near by, and by what they are off.

    Args:
        at: (k,) the readings, as places in all rows.
        mark: (k,) the marks.
        off: (k, 2) known minus observed, metres to the east and the north.
        height: (k,) as observed, metres; NaN where there is none.
        part: (k,) the stretch of time of each.
    """

    at: Integers
    mark: Integers
    off: Floats
    height: Floats
    part: Integers

    def in_stretches(self, part: Integers) -> "OffMarks":
        """Return these with the stretch of time of each, ``part`` (n,) being those of all rows."""
        return replace(self, part=part[self.at])

    def stretches(self) -> list["OffMarks"]:
        """Return those of each stretch of time."""
        return [self._of(np.flatnonzero(self.part == number)) for number in np.unique(self.part)]

    def agree(self) -> bool:
        """Tell whether those of each stretch are of one base."""
        return all(_agree(each.off) and each.apart_in_height(np.zeros(len(each.at))) == 0 for each in self.stretches())

    def apart_in_height(self, group: Integers | Floats) -> float | None:
        """Return by how many metres the heights of (k,) groups differ on the same marks; None where they disagree.

        0 where no two groups, or too few marks, tell.
        """
        found = self.heights_of(group)
        if found is None:
            return 0.0
        levels, scatter = found
        if scatter > _ONE:
            return None
        apart = float(np.ptp(levels)) if len(levels) else 0.0
        return apart if apart >= max(_OTHER, _TIMES * scatter) else 0.0

    def heights_of(self, group: Integers | Floats) -> tuple[Floats, float] | None:
        """Return (g,) by what the readings of each group are too low, and by what they scatter; metres.

        By least squares of a height for each mark and a step for each group. None where the marks do not join the
        groups.
        """
        known = np.isfinite(self.height)
        marks, at_mark = np.unique(self.mark[known], return_inverse=True)
        groups, in_group = np.unique(np.asarray(group)[known], return_inverse=True)
        if len(groups) < len(np.unique(group)) or not len(groups):
            return None
        observed = self.height[known] - np.median(self.height[known])
        count, total = np.zeros((2, len(marks), len(groups)))
        np.add.at(count, (at_mark, in_group), 1.0)
        np.add.at(total, (at_mark, in_group), observed)
        mean, share = total.sum(1) / count.sum(1), count / count.sum(1)[:, None]
        # the normal equations with the heights of the marks eliminated; a step for all groups alike stays free
        steps, _, rank, _ = np.linalg.lstsq(np.diag(count.sum(0)) - count.T @ share, total.sum(0) - count.T @ mean)
        if rank < len(groups) - 1:
            return None
        off = observed - steps[in_group]
        of_marks = np.bincount(at_mark, off) / np.bincount(at_mark)
        return steps[0] - steps, float(np.abs(off - of_marks[at_mark]).max())

    def _of(self, chosen: Integers) -> "OffMarks":
        return OffMarks(self.at[chosen], self.mark[chosen], self.off[chosen], self.height[chosen], self.part[chosen])


def off_marks(both: ReadingsAndMarks, exports: Sequence[int]) -> OffMarks | None:
    """Return the readings of some exports that name a mark near by; None where no plane is known to compare them in."""
    if both.places is None or both.marks.places is None:
        return None
    at, mark = both.says
    named = (mark >= 0) & np.isin(both.rows.export[at], exports)
    off = both.marks.places[mark[named]] - both.places[at[named]]
    near = np.hypot(*off.T) <= FAR
    rows = at[named][near]
    return OffMarks(rows, mark[named][near], off[near], both.rows.third[rows], np.zeros(len(rows), np.int64))


def parts(texts: Texts | None, off: OffMarks) -> bool:
    """Tell whether a column's values part vectors that disagree into some that agree; ``texts`` (n,) are its cells."""
    if texts is None or any(not texts[each] for each in off.at):
        return False
    ids = np.array([folded(texts[each]) for each in off.at])
    counts = Counter(ids.tolist())
    if len(counts) < 2 or sorted(counts.values())[-2] < _LEAST:
        return False
    found = False
    _, number = np.unique(ids, return_inverse=True)
    for part in np.unique(off.part):
        here = np.flatnonzero(off.part == part)
        apart = _apart(off._of(here), number[here])
        if apart is None:
            return False
        found |= apart
    return found


def files_apart(off: OffMarks, rows: TimedRows) -> dict[int, Floats]:
    """Return by what the readings of each export lie off those of the first, where exports at work at once part them.

    (3,) east, north and up, metres; up NaN where no marks that they share tell it. Empty where exports do not part
    them.
    """
    export = rows.export[off.at]
    for here in off.stretches():
        number = rows.export[here.at]
        several = [each for each in np.unique(export) if np.count_nonzero(number == each) >= _LEAST]
        chosen = np.flatnonzero(np.isin(number, several))
        some, of = here._of(chosen), number[chosen]
        if len(several) > 1 and _apart(some, of) and _at_once(some, of, rows):
            heights = some.heights_of(of)
            up = np.full(len(several), np.nan) if heights is None else heights[0]
            plan = [np.median(some.off[of == each], axis=0) for each in several]
            return {
                int(each): np.append(plan[0] - own, -level) for each, own, level in zip(several, plan, up, strict=True)
            }
    return {}


def _at_once(off: OffMarks, number: Integers, rows: TimedRows) -> bool:
    """Tell whether readings of two exports whose vectors are apart were taken by turns, not one after the other."""
    spans = {each: rows.time[off.at[number == each]] for each in np.unique(number).tolist()}
    return any(
        spans[one].min() <= spans[other].max()
        and spans[other].min() <= spans[one].max()
        and _apart(off._of(pair := np.flatnonzero(np.isin(number, (one, other)))), number[pair])
        for one, other in combinations(spans, 2)
    )


def _apart(off: OffMarks, number: Integers) -> bool | None:
    """Tell whether (k,) groups of vectors are of several bases; None where those of one disagree."""
    groups = [off.off[number == each] for each in np.unique(number)]
    if not all(map(_agree, groups)):
        return None
    several = [each for each in groups if len(each) >= _LEAST]
    if len(several) > 1 and _are_apart(several):
        return True
    chosen = np.flatnonzero([np.count_nonzero(number == each) >= _LEAST for each in number])
    height = off._of(chosen).apart_in_height(number[chosen])
    return None if height is None else height > 0.0


def _agree(off: Floats) -> bool:
    """Tell whether vectors (k, 2) are of one base."""
    return bool((_scatter(off) <= _ONE).all())


def _scatter(off: Floats) -> Floats:
    scatter: Floats = np.hypot(*(off - np.median(off, axis=0)).T)
    return scatter


def _are_apart(groups: Sequence[Floats]) -> bool:
    """Tell whether the middles of some vectors lie farther apart than any of them scatter."""
    middles = np.array([np.median(each, axis=0) for each in groups])
    apart = max(float(np.hypot(*(middles - each).T).max()) for each in middles)
    return apart >= max(_OTHER, _TIMES * max(float(_scatter(each).max()) for each in groups))
