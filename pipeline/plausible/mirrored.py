"""Finds readings that lie mirrored across the zero meridian, that of 180° or the equator: a minus was lost there."""

import math

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.plausible.looks import Look

#: A leap is so many times as long as nine of ten ways from one reading to the next, and so many metres at the least;
#: and how long it is where somebody who works on two banks by turns hardly goes. Ours, no source.
_TIMES, _LEAST = 6.0, 25.0
_FAR_TIMES, _FAR = 6.0, 40.0
#: Ways from one reading to the next within which a mirrored reading continues the track of those before it.
_CONTINUES = 2.0
#: The part of a site by which readings may lie beyond the others and be among them all the same. Ours, no source.
_EDGE = 0.25
#: The chance, where other leaps lead elsewhere, that so many come down where the mirror would put them, at the most.
_CHANCE = 1e-3
#: Leaps, and ends, that are looked at for that.
_LOOKED, _ENDS = 300, 2_000
#: The part of leaps that lead back. Lines that all begin on one side, and end as far beyond, have none.
_BACK = 0.25
#: Leaps to the other side that are there and back at least; readings from which on there is a usual way to the next.
_LEAPS, _ENOUGH = 2, 20


class Mirrored(Struct, frozen=True):
    """Readings that leap to the other side of zero, and on this side would continue the track.

    ``row`` is the place of the first, ``leaps`` how often the track leaps there or back, ``metres`` the shortest leap,
    ``look`` which sign would have to be another. ``by_turns`` says that somebody may have worked on two banks, say, by
    turns: marks were occupied on either side of zero, and nobody ever went across it step by step; or other leaps lead
    elsewhere on the other side, or one is short. ``opposite`` is
    whether it was at 180 degrees that the sign of the longitude changed. ``aside`` is how many readings lie beyond with
    none in between, where no leaps tell it; 0 else.
    """

    row: int
    leaps: int
    metres: float
    look: Look
    by_turns: bool
    opposite: bool
    aside: int = 0


def mirrored(places: Floats, group: Integers, let_be: Flags) -> Mirrored | None:
    """Return what leaps across zero and, mirrored, does not; None where no more leaps fit so than by chance.

    Who measures on both sides by turns does not come down where the mirror would put him. Ways to and from marks may
    fit, or lead anywhere.

    Args:
        places: (n, 3) from `places.on_sphere`, metres, in the order in which they were written.
        group: (n,) what must be the same for neighbours, such as the export.
        let_be: (n,) readings for whose sake one goes far: marks.
    """
    both = [axis for axis in (1, 2) if len(places) >= _ENOUGH and places[:, axis].min() < 0.0 < places[:, axis].max()]
    if not both:
        return None
    way = np.diff(places, axis=0)
    length = np.sqrt(np.einsum("ij,ij->i", way, way))
    same = group[1:] == group[:-1]
    near = same & ~let_be[1:] & ~let_be[:-1]
    for axis in both:
        across = places[:-1, axis] * places[1:, axis] < 0.0
        usual = float(np.quantile(length[near & ~across], 0.9)) if (near & ~across).sum() >= _ENOUGH // 2 else np.inf
        leaps = np.flatnonzero(same & across & (length > max(_TIMES * usual, _LEAST)))
        way = places[leaps + 1] - places[leaps]
        way[:, axis] = places[leaps + 1, axis] + places[leaps, axis]
        fits = np.linalg.norm(way, axis=1) <= _CONTINUES * usual
        elsewhere, leaps = leaps[~fits & near[leaps]], leaps[fits]
        there = np.count_nonzero(places[leaps, axis] > 0.0)
        if len(leaps) < _LEAPS or not near[leaps].any() or min(there, len(leaps) - there) < _BACK * len(leaps):
            continue
        if not len(elsewhere) or _by_chance(places, axis, leaps, elsewhere, _CONTINUES * usual) <= _CHANCE:
            look = Look.LONGITUDE_SIGN if axis == 1 else Look.LATITUDE_SIGN
            marks = places[let_be, axis]
            walked = near & (places[:-1, axis] * places[1:, axis] <= 0.0)  # also by way of zero itself
            walked[leaps] = False
            by_turns = bool((marks < 0.0).any() and (marks > 0.0).any() and not walked.any())
            shortest = float(length[leaps].min())
            by_turns |= bool(len(elsewhere)) or shortest <= max(_FAR_TIMES * usual, _FAR)
            opposite = axis == 1 and bool(places[leaps[0], 0] < 0.0)
            return Mirrored(int(leaps[0]) + 1, len(leaps), shortest, look, by_turns, opposite)
    return None


def _by_chance(places: Floats, axis: int, leaps: Integers, elsewhere: Integers, near: float) -> float:
    """Return the chance that so many of leaps behind readings (k,) and (m,) end ``near`` [m] where they do mirrored.

    By chance a leap ends at any reading of the other side.
    """
    begin = np.sort(np.concatenate([leaps, elsewhere]))
    begin = places[begin[:: len(begin) // _LOOKED + 1]]
    ends = places[:: len(places) // _ENDS + 1]
    chances = list[float]()
    for place in begin:
        beyond = ends[ends[:, axis] * place[axis] < 0.0]
        if len(beyond):
            away = beyond * np.where(np.arange(3) == axis, -1.0, 1.0) - place
            chances.append(float(np.mean(np.linalg.norm(away, axis=1) <= near)))
    chance, count, many = float(np.mean(chances)) if chances else 1.0, len(leaps), len(leaps) + len(elsewhere)
    return sum(math.comb(many, k) * chance**k * (1.0 - chance) ** (many - k) for k in range(count, many + 1))


def aside(places: Floats, let_be: Flags) -> Mirrored | None:
    """Return what lies beyond zero by itself, with nothing in between, and mirrored among the others; None for nothing.

    In whatever order it was measured. Where marks were occupied on either side, somebody worked on both.

    Args:
        places: (n, 3) from `places.on_sphere`, metres.
        let_be: (n,) readings on marks.
    """
    for axis in (1, 2):
        side = places[:, axis] > 0.0
        if side.all() or not side.any() or (side[let_be].any() and not side[let_be].all()):
            continue
        apart = float(places[side, axis].min() - places[~side, axis].max())
        few = side if 2 * np.count_nonzero(side) < len(side) else ~side
        folded = places.copy()
        folded[:, axis] = np.abs(folded[:, axis])
        low, high = folded[~few].min(axis=0), folded[~few].max(axis=0)
        edge = _EDGE * float((high - low).max())
        if apart >= _LEAST and ((folded[few] >= low - edge) & (folded[few] <= high + edge)).all():
            look = Look.LONGITUDE_SIGN if axis == 1 else Look.LATITUDE_SIGN
            row, opposite = int(np.flatnonzero(few)[0]), axis == 1 and bool(places[0, 0] < 0.0)
            return Mirrored(row, 0, apart, look, False, opposite, int(np.count_nonzero(few)))
    return None
