"""Finds that all readings on no mark lie far above or below those on marks, as where one kind is in other heights.

The two kinds may have left the controller by exports with settings of their own. Then marks prove nothing of points.
"""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats
from pipeline.plausible.heights import FEET, levelled

#: Readings on no mark that make a group, and up to which so many, spread over all, stand for them; places of marks.
_ENOUGH, _MANY, _MARKS = 5, 3_000, 20
#: Metres: the least that is looked at, and within which readings on marks are at one place. Ours, no source.
_LEAST, _ONE_PLACE = 4.0, 5.0
#: Nearest readings with which a mark's height is compared, and readings of which the ground's roughness is known.
_NEAREST, _SAMPLE = 4, 150
#: Pairs of readings about as far apart that tell how much the ground rises on such a way, and metres it does at least.
_PAIRS, _SMOOTH = 30, 0.1
#: Standard errors beyond which no relief explains what lies between the two groups. Ours, no source.
_ERRORS = 8.0
#: Metres within which heights in feet fit the marks' when brought to metres, that part of what is between them, and
#: standard errors likewise. Ours, no source.
_FITS, _PART, _FIT_ERRORS = 3.0, 0.05, 2.0


class MarksApart(Struct, frozen=True):
    """``marks`` readings at so many ``spots`` lie ``by`` metres above, or below, the ``others``, as relief does not.

    ``error`` is the standard error of ``by`` from how rough the ground is, by the others. ``away`` are metres to the
    nearest of these from the mark next to them. ``feet`` tells whether the others fit the marks when their heights are
    taken for feet that were read as metres, or for metres that were read as feet.
    """

    by: float
    error: float
    away: float
    marks: int
    spots: int
    others: int
    feet: bool


def marks_apart(places: Floats, height: Floats, marks: Flags) -> MarksApart | None:
    """Return how far readings on marks lie off all others; None where the ground may well be so.

    Args:
        places: (n, 3) from `places.on_sphere`, metres.
        height: (n,) metres, finite.
        marks: (n,) which readings are on marks.
    """
    on, off = np.flatnonzero(marks), np.flatnonzero(~marks)
    if not len(on) or len(off) < _ENOUGH or abs(float(np.median(height[on]) - np.median(height[off]))) < _LEAST:
        return None
    others = off[:: -(-len(off) // _MANY)]
    plan = levelled(places[np.append(others, on)])
    ground, up = plan[: len(others)], height[others]
    stood, high = _once(plan[len(others) :], height[on])
    away = np.hypot(*(stood[:, None, :] - ground[None, :, :]).transpose(2, 0, 1))
    nearest = np.argpartition(away, _NEAREST - 1, axis=1)[:, :_NEAREST]
    beside, far = np.median(up[nearest], axis=1), np.median(np.take_along_axis(away, nearest, axis=1), axis=1)
    rough = _rough(ground, up, far)
    by, error = _middle(high - beside, rough)
    if abs(by) < max(_LEAST, _ERRORS * error):
        return None
    factor = FEET if abs(float(np.median(high))) > abs(float(np.median(beside))) else 1.0 / FEET
    left, doubtful = _middle(high - beside * factor, rough * factor)
    feet = abs(left) <= min(max(_FITS, _FIT_ERRORS * doubtful), _PART * abs(by))
    return MarksApart(by, error, float(away.min()), len(on), len(stood), len(off), feet)


def _once(plan: Floats, height: Floats) -> tuple[Floats, Floats]:
    """Return (m, 2) places of marks, each once, and (m,) the middle of the heights there."""
    found: list[Floats] = []
    heights: list[list[float]] = []
    for place, here in zip(plan, height.tolist(), strict=True):
        known = next((at for at, one in enumerate(found) if float(np.hypot(*(place - one))) <= _ONE_PLACE), None)
        if known is not None:
            heights[known].append(here)
        elif len(found) < _MARKS:
            found.append(place)
            heights.append([here])
    return np.array(found), np.array([float(np.median(some)) for some in heights])


def _rough(plan: Floats, height: Floats, far: Floats) -> Floats:
    """Return (m,) metres that ground (n, 2), (n,) rises or falls on ways (m,) ``far`` metres long, as a rule."""
    some = np.linspace(0, len(plan) - 1, min(len(plan), _SAMPLE)).astype(np.int64)
    one, other = np.triu_indices(len(some), 1)
    apart = np.maximum(np.hypot(*(plan[some[one]] - plan[some[other]]).T), 1.0)
    rise = np.square(height[some[one]] - height[some[other]])
    found = []
    for way in np.maximum(far, 1.0).tolist():
        pairs = np.argpartition(np.abs(np.log(apart / way)), min(_PAIRS, len(apart)) - 1)[:_PAIRS]
        longer = max(way / float(np.median(apart[pairs])), 1.0)
        found.append(max(float(np.sqrt(rise[pairs].mean())) * longer, _SMOOTH))
    return np.array(found)


def _middle(values: Floats, sigma: Floats) -> tuple[float, float]:
    """Return the weighted mean of some values (m,) and its standard error, larger where they do not agree."""
    weight = 1.0 / np.square(sigma)
    mean = float((weight * values).sum() / weight.sum())
    if len(values) < 2:
        return mean, float(sigma[0])
    scatter = float((weight * np.square(values - mean)).sum()) / (len(values) - 1)
    return mean, float(np.sqrt(max(scatter, 1.0) / weight.sum()))
