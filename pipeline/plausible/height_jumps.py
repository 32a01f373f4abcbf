"""Finds runs of heights above or below those before and after: one digit, or another unit or height system."""

from collections.abc import Iterator
from enum import StrEnum

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.plausible.heights import FEET

#: A jump is so many times as large as nine of ten differences from one reading to the next; no way to a run, or back
#: from it, is longer than so many times nine of ten ways: nobody went anywhere else.
_TIMES, _WAYS = 6.0, 1.5
#: Metres from which on a rise is looked at: storeys, benches and banks are mostly lower.
_HIGH = 9.0
#: What tens and hundreds digits are worth; readings of a run, and runs above which it is how somebody works.
_ROUND = (10.0, 100.0)
_RUN, _RUNS = (2, 10), 3
#: The part of all readings up to which a longer run is one. It has to lie among the others, as nothing does that stands
#: on the ground: so many of these, and one for so many of its own, have it around them, but for so wide a gap [rad].
_PART, _AMONG, _OF_RUN, _GAP = 0.5, 3, 15, np.radians(160.0)
#: Or it has to leap so far [m], and so many times as far as its ways there and back are long, as nobody climbs from one
#: reading to the next: what stands that high is reached from further away. Ours, no source.
_WALL, _STEEP = 75.0, 2.0
#: Ways as long as a way to the run may be, within which places lie around another.
_AROUND = 1.5
#: Readings around a long run, and of it, that are looked at.
_LOOKED = (300, 2_000)
#: By how much a jump may miss a round number: some differences of half of all readings, within limits in the unit of
#: the digits. At the upper one, one honest rise in seven is round by chance.
_MISS, _LEAST, _MOST = 2.0, 0.1, 0.75
#: Readings from which on there is a usual way from one to the next.
_ENOUGH = 20
#: Metres from which on a jump by no round number is looked at, and how much of it per metre of its ways there and back.
#: Ours, no source.
_RISES, _SLOPE = 15.0, 1.0
#: The part of a jump by which heights may miss those next to them in the other unit or with the other sign. Ours.
_FITS = 0.02


class JumpLook(StrEnum):
    """What a jump looks like: one digit, the other unit, the other sign, steeper than anybody climbs, none of these.

    The last, ``OPEN``, is a jump only if the geoid separation explains it, which is not known here.
    """

    DIGIT = "digit"
    FEET = "feet"
    SIGN = "sign"
    STEEP = "steep"
    OPEN = "open"


class HeightJump(Struct, frozen=True):
    """Readings (k,) in a row, places among those given, ``by`` metres above or below those before and after.

    ``miss`` are metres by which ground so rough may change a jump.
    """

    rows: Integers
    by: float
    miss: float
    looks: JumpLook


def rises(height: Floats) -> bool:
    """Tell whether heights (n,), metres, in the order in which they were written, may hold such a run at all."""
    with np.errstate(invalid="ignore"):
        return int(np.count_nonzero(np.abs(np.diff(height)) > _HIGH)) > 1


class _Walk(Struct, frozen=True):
    """Readings (n,) on the ground in the order in which they were written, and what lies from each to the next.

    Args:
        rows: their places among all that were given.
        places, height, unit, group: as of `height_jumps`.
        rise: (n - 1,) metres by which the next is higher, zero where it is of another group.
        way: (n - 1,) metres to the next.
        by_mark: (n - 1,) whether readings that may lie anywhere were written between the two.
    """

    rows: Integers
    places: Floats
    height: Floats
    unit: Floats
    group: Integers
    rise: Floats
    way: Floats
    by_mark: Flags


class _Usual(Struct, frozen=True):
    """What is usual from one reading to the next [m]: nine of ten rises, half of them, and no way to a run is longer.

    ``rise`` leaves out the two largest, which are the jump there and back: of few readings they would make every jump
    usual.
    """

    rise: float
    half: float
    longest: float


class _Jump(Struct, frozen=True):
    """A run from the reading after the rise ``there`` to that before the rise ``back``.

    Args:
        run: (k,) its places on the walk.
        rise: metres by which it lies above what is before and after it.
        by: the same without the slope of the ground.
        far: metres of the longer of the ways there and back.
        miss: metres by which a jump may miss a round number.
        looks: what makes its heights fit those beside it.
        stayed: whether nobody went to a mark or elsewhere in between.
    """

    run: Integers
    rise: float
    by: float
    far: float
    miss: float
    looks: JumpLook
    stayed: bool


def height_jumps(places: Floats, height: Floats, unit: Floats, group: Integers, let_be: Flags) -> list[HeightJump]:
    """Return runs of heights that jump and come back, by a round number or as nobody climbs.

    Args:
        places: (n, 3) from `places.on_sphere`, metres, in the order in which they were written.
        height: (n,) metres, finite.
        unit: (n,) metres of the unit in which each height was written.
        group: (n,) what must be the same for neighbours, such as the export.
        let_be: (n,) readings that may lie anywhere: marks.
    """
    on_ground = np.flatnonzero(~let_be)
    if len(places) < _ENOUGH or not rises(height) or len(on_ground) < 3:
        return []
    walk = _walk(on_ground, places, height, unit, group)
    if walk.by_mark.all():
        return []
    rise = _usual_rise(walk)
    leaps = np.abs(walk.rise) > max(_TIMES * rise, _HIGH)
    if np.count_nonzero(leaps) < 2:  # as on most ground: nothing else is worked out then
        return []
    usual = _usual(walk, rise)
    jumps = list(_jumps(walk, usual, leaps))
    told = (_told(jump, number, walk, usual) for number, jump in enumerate(jumps, start=1))
    found = [jump for jump in told if jump is not None]
    digits = [jump for jump in found if jump.looks is JumpLook.DIGIT]
    # more runs are how somebody works, at the top and the foot of a wall by turns; digits are told all the same
    return found if len(jumps) <= _RUNS else digits if len(digits) <= _RUNS else []


def _walk(rows: Integers, places: Floats, height: Floats, unit: Floats, group: Integers) -> _Walk:
    """Return the walk over those of all readings (n,) that lie on the ground, in (m,) ``rows``."""
    places, height, unit, group = places[rows], height[rows], unit[rows], group[rows]
    rise, way = np.diff(height), np.linalg.norm(np.diff(places, axis=0), axis=1)
    rise[group[1:] != group[:-1]] = 0.0
    return _Walk(rows, places, height, unit, group, rise, way, by_mark=np.diff(rows) > 1)


def _usual_rise(walk: _Walk) -> float:
    """Return the rise [m] that nine of ten are no higher than, from readings to those written next."""
    ordered = np.sort(np.abs(walk.rise[~walk.by_mark]))
    return float(np.quantile(ordered[:-2], 0.9)) if len(ordered) > 2 else 0.0


def _usual(walk: _Walk, rise: float) -> _Usual:
    """Return what is usual on a walk, on which it is known of rises."""
    half = float(np.median(np.abs(walk.rise[~walk.by_mark])))
    return _Usual(rise, half, _WAYS * float(np.quantile(walk.way[~walk.by_mark], 0.9)))


def _jumps(walk: _Walk, usual: _Usual, leaps: Flags) -> Iterator[_Jump]:
    """Yield each run that ``leaps`` (n - 1,) put far above or below what is before and after it, and nobody went there.

    One whose heights fit in another unit or with the other sign is one, even if it does not come back to where it left.
    """
    too_far = walk.way > np.where(walk.by_mark, 2.0, 1.0) * usual.longest
    high, elsewhere = np.flatnonzero(leaps & ~too_far), np.flatnonzero(leaps & too_far)
    leap = walk.rise - _slope(walk.rise, walk.by_mark | too_far | leaps)
    for there, back in _there_and_back(high, walk.group):
        unit = walk.unit[there]
        miss = float(np.clip(_MISS * usual.half, _LEAST * unit, _MOST * unit))
        by, even = _half_between(walk.rise, there, back), 2.0 * max(usual.rise, miss)
        ends, beside = walk.height[[there + 1, back]], walk.height[[there, back + 1]]
        looks = _looks(ends, beside, min(even, _FITS * abs(by)))
        # on rough ground what lies beside tells less of the slope than it adds, so either will do
        missed = min(abs(float(each[there] + each[back])) for each in (walk.rise, leap))
        if looks is JumpLook.OPEN and missed > even:
            continue
        stayed = not (walk.by_mark[there : back + 1].any() or ((elsewhere > there) & (elsewhere < back)).any())
        far = float(max(walk.way[there], walk.way[back]))
        yield _Jump(np.arange(there + 1, back + 1), by, _half_between(leap, there, back), far, miss, looks, stayed)


def _told(jump: _Jump, number: int, walk: _Walk, usual: _Usual) -> HeightJump | None:
    """Return what is told of a walk's ``number``-th jump, from 1: one digit, or as nobody climbs; None: nothing."""
    size, rows = len(jump.run), walk.rows[jump.run]
    rounded = jump.stayed and _is_round(jump.rise, float(walk.unit[jump.run[0] - 1]), jump.miss)
    steep = abs(jump.rise) >= max(_WALL, _STEEP * jump.far)
    if size > _RUN[1] and not steep and (rounded or number <= _RUNS):
        steep = _lies_among(walk.places, jump.run, _AROUND * usual.longest)
    if rounded and _RUN[0] <= size and (size <= _RUN[1] or steep):
        return HeightJump(rows, jump.rise, jump.miss, JumpLook.DIGIT)
    if abs(jump.rise) < max(_RISES, _SLOPE * jump.far):
        return None
    looks = JumpLook.STEEP if steep and jump.looks is JumpLook.OPEN else jump.looks
    return HeightJump(rows, jump.by, jump.miss, looks)


def _half_between(rise: Floats, there: int, back: int) -> float:
    """Return by how much a run lies above what is before and after it, metres: the mean of the ways up and down."""
    return float(rise[there] - rise[back]) / 2.0


def _slope(rise: Floats, apart: Flags) -> Floats:
    """Return (n,) by how much the ground itself rises from a reading to the next, as before and after it.

    Rises (n,) that are ``apart`` tell nothing of the ground beside them. Zero where neither of the two tells it.
    """
    beside = np.pad(rise, 1)
    known = np.pad(~apart, 1)
    count = known[:-2].astype(np.int64) + known[2:]
    return (np.where(known[:-2], beside[:-2], 0.0) + np.where(known[2:], beside[2:], 0.0)) / np.maximum(count, 1)


def _there_and_back(high: Integers, group: Integers) -> Iterator[tuple[int, int]]:
    """Yield each two of the (k,) ``high`` rises that follow each other, within one ``group`` (n,)."""
    for there, back in zip(high[:-1].tolist(), high[1:].tolist(), strict=True):
        if back - there <= _PART * len(group) and (group[there : back + 2] == group[there]).all():
            yield there, back


def _looks(ends: Floats, beside: Floats, within: float) -> JumpLook:
    """Return what makes heights (2,) at both ends of a run fit those (2,) next to them, to some metres."""
    for factor, looks in ((FEET, JumpLook.FEET), (1.0 / FEET, JumpLook.FEET), (-1.0, JumpLook.SIGN)):
        if np.abs(ends * factor - beside).max() <= within * max(abs(factor), 1.0):
            return looks
    return JumpLook.OPEN


def _is_round(by: float, unit: float, miss: float) -> bool:
    """Tell whether a jump is what one digit of the tens or hundreds makes."""
    tens = (worth * unit for worth in _ROUND)
    return any(1 <= (digit := round(abs(by) / one)) <= 9 and abs(abs(by) - digit * one) <= miss for one in tens)


def _lies_among(places: Floats, run: Integers, near: float) -> bool:
    """Tell whether others of (n, 3) places lie within a run's, (k,) readings: a roof, a deck or a bench has none.

    Within means that readings of the run no more than ``near`` metres away lie to all sides.
    """
    middle = places[run].mean(axis=0)
    plane = np.linalg.svd(middle[None])[2][1:]  # at right angles to the plumb line there
    own = (places[run[:: len(run) // _LOOKED[1] + 1]] - middle) @ plane.T
    if np.ptp(own @ np.linalg.svd(own - own.mean(axis=0), full_matrices=False)[2][1]) <= near / (_AROUND * _WAYS):
        return False  # a deck, and others lie below it
    others = (np.delete(places, run, axis=0) - middle) @ plane.T
    others = others[((others > own.min(axis=0)) & (others < own.max(axis=0))).all(axis=1)]
    others = others[:: len(others) // _LOOKED[0] + 1]
    within = sum(_is_around(own - one, near) for one in others)
    return within >= max(_AMONG, len(run) / _OF_RUN)


def _is_around(away: Floats, near: float) -> bool:
    """Tell whether places, (k, 2) metres from here, lie near and to all sides."""
    away = away[np.hypot(*away.T) <= near]
    bearing = np.sort(np.arctan2(away[:, 1], away[:, 0]))
    return len(bearing) > 2 and float(np.diff(bearing, append=bearing[0] + 2.0 * np.pi).max()) < _GAP
