"""Two marks at a time: how they lie to one another, on the grid and on the ground, and whether they suit tie and check.

Which pairs are good is common practice, no source: tie on one side of the work and check on the other, so that what
grows across the work shows; so far apart that a check is not the tie once more; of about one height, since what the air
does to heights grows with the difference. What a check could detect is worked out (see `forecast`).
"""

import math
from collections.abc import Sequence
from itertools import combinations

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.examine.register_looks import ONE_MARK
from pipeline.fieldwork.forecast import Blunder, Intended, forecast_sessions
from pipeline.fieldwork.nearby_marks import Marks
from pipeline.fieldwork.work_area import Work
from pipeline.intake.operations import Operations
from pipeline.job.model import Job

#: Marks of which every pair is looked at: the nearest to the work.
MARKS = 30
#: The part of the work's longer side, and the metres, that marks of a pair lie apart at the least; the part of it that
#: a line between marks on both sides goes through; and metres that they lie apart in height at the most.
_PART, _LEAST, _HALF, _HIGH = 0.25, 50.0, 0.5, 100.0


class Pair(Struct, frozen=True):
    """Two marks, by their numbers; ``grid`` and ``ground`` are horizontal distances [m], ``bearing`` is the grid's.

    Args:
        ground: at the mean of the two ellipsoidal heights; NaN where one is not known.
        bearing: from the first to the second, degrees clockwise from the grid's north.
        rise: height of the second minus that of the first, metres; NaN where one is not known.
        both_sides: whether the work lies between them; None where nothing says where it is.
        detects: the smallest blunder that a check on the one would show of a tie on the other.
        against: in words, what speaks against the pair; nothing where it is good.
    """

    first: int
    second: int
    grid: float
    ground: float
    bearing: float
    rise: float
    both_sides: bool | None
    detects: Blunder
    against: tuple[str, ...]

    @property
    def good(self) -> bool:
        """Whether the pair is good for tie and check."""
        return not self.against


def pairs(marks: Marks, work: Work | None, job: Job, operations: Operations) -> tuple[Pair, ...]:
    """Return every pair of the first marks, the good ones first, then by what they detect in plan and height."""
    placed = np.flatnonzero(marks.placed)[:MARKS].tolist()
    every = list(combinations(placed, 2))
    detects = _detected(marks, every, work, job, operations)
    found = [_pair(marks, two, work, blunder) for two, blunder in zip(every, detects, strict=True)]
    return tuple(sorted(found, key=lambda one: (len(one.against), _known(one.detects), one.grid)))


def _known(blunder: Blunder) -> tuple[float, float]:
    """Return what pairs are ordered by: to the half centimetre, since less decides nothing."""
    values = (blunder.horizontal, blunder.vertical)
    plan, height = (round(value / 0.005) if math.isfinite(value) else math.inf for value in values)
    return plan, height


def _detected(
    marks: Marks, every: Sequence[tuple[int, int]], work: Work | None, job: Job, operations: Operations
) -> list[Blunder]:
    """Return what a check on the second of each pair shows of a tie on the first, a base in the middle of the work."""
    if not every:
        return []
    sessions = [
        Intended("", _base(marks, pair, work, operations), None, (pair[0],), (pair[1],), np.zeros((0, 3)))
        for pair in every
    ]
    return [one.checks[0].shown for one in forecast_sessions(sessions, marks, job, operations, ties=[])]


def _base(marks: Marks, pair: tuple[int, int], work: Work | None, operations: Operations) -> Floats:
    """Return (3,) where a base would stand: in the middle of the work, else half way between the marks."""
    if work is None:
        return np.asarray(marks.xyz[list(pair)].mean(axis=0))
    return np.asarray(working(np.array([work.middle]), marks, operations)[0])


def working(grid: Floats, marks: Marks, operations: Operations, height: float | None = None) -> Floats:
    """Return (n, 3) places on the grid (n, 2) in the working frame, at a height, else at the mean of the marks'."""
    if height is None:
        known = marks.grid[np.isfinite(marks.grid[:, 2]), 2]
        height = float(known.mean()) if len(known) else 0.0
    return np.column_stack(operations.frames.to_issued.inverse(grid[:, 0], grid[:, 1], np.full(len(grid), height)))


def _pair(marks: Marks, pair: tuple[int, int], work: Work | None, detects: Blunder) -> Pair:
    first, second = pair
    across = marks.grid[second] - marks.grid[first]
    distance = float(np.hypot(across[0], across[1]))
    sides = _both_sides(marks.grid[[first, second], :2], work)
    return Pair(
        first,
        second,
        distance,
        _ground(marks, first, second),
        math.degrees(math.atan2(across[0], across[1])) % 360.0,
        float(across[2]),
        sides,
        detects,
        tuple(_against(marks, pair, distance, float(across[2]), sides, work)),
    )


def _ground(marks: Marks, first: int, second: int) -> float:
    """Return the horizontal distance on the ground: the chord's, at the mean height of its ends.

    Of two places on a sphere the chord c and the heights h1, h2 give c2 - (h2 - h1)2 = 4 (R + h1)(R + h2) sin2(t / 2),
    so its root is the level chord at the mean height; it falls short of the arc by 1 mm in 10 km.
    """
    heights = marks.geographic[[first, second], 2]
    if not np.isfinite(heights).all():
        return math.nan
    chord = float(np.linalg.norm(marks.xyz[second] - marks.xyz[first]))
    return math.sqrt(max(chord**2 - float(heights[1] - heights[0]) ** 2, 0.0))


def _both_sides(grid: Floats, work: Work | None) -> bool | None:
    """Say whether two marks (2, 2) lie on both sides of the work.

    They do where they are seen from its middle more than 90 degrees apart, or where the line between them goes through
    half of it. One that stands in the middle is on neither side.
    """
    if work is None:
        return None
    one, other = grid - work.middle
    if work.longest > 0.0 and _within(grid, work) >= _HALF * work.longest:
        return True
    if min(np.hypot(*one), np.hypot(*other)) < _LEAST:
        return None
    return bool(one @ other < 0.0)


def _within(grid: Floats, work: Work) -> float:
    """Return how much of the line between two places (2, 2) lies within the work's extent, metres."""
    across = grid[1] - grid[0]
    low, high = work.corners.min(axis=0), work.corners.max(axis=0)
    enters, leaves = 0.0, 1.0
    for axis in range(2):
        if across[axis] == 0.0:
            if not low[axis] <= grid[0, axis] <= high[axis]:
                return 0.0
            continue
        ends = sorted(((low[axis] - grid[0, axis]) / across[axis], (high[axis] - grid[0, axis]) / across[axis]))
        enters, leaves = max(enters, ends[0]), min(leaves, ends[1])
    return max(leaves - enters, 0.0) * float(np.hypot(*across))


def _against(
    marks: Marks, pair: tuple[int, int], distance: float, rise: float, sides: bool | None, work: Work | None
) -> list[str]:
    told = []
    lacks = [
        f"{marks.names[number]} holds {'no height' if marks.held[number, 0] else 'no position'}"
        for number in pair
        if not marks.held[number].all()
    ]
    told += lacks
    least = _LEAST if work is None else max(_LEAST, _PART * work.longest)
    if distance <= ONE_MARK:
        told.append("one mark under two names")
    elif distance < least:
        told.append(f"close together: less than {least:,.0f} m")
    if abs(rise) > _HIGH:
        told.append(f"more than {_HIGH:g} m apart in height")
    if sides is False:
        told.append("on one side of the work")
    return told
