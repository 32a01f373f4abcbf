"""Finds heights that are impossible for their session or their neighbourhood [m]."""

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats
from pipeline.plausible.looks import Look

#: Feet in a metre, of either foot: what heights are multiplied with that may be read in the wrong one of the two.
FEET = 3.280840
#: Metres by which a number that stands for no height at all lies off its neighbours' at least.
_PLACEHOLDER = 10.0
#: Spreads of the heights round about, from a quarter to three quarters of them, that are no slip: slopes, walls.
_SPREADS = 3.0
#: Metres of height between a quarter and three quarters of a session's readings from which on neighbours are asked.
_HILLY = 30.0
#: Sizes of the squares in which neighbours are looked for, metres, and how many make a neighbourhood.
_SQUARES = (50.0, 400.0, 3_200.0)
_NEIGHBOURS = 8
#: Readings of about one height that make it a level of the work: the foot of a dam, the top of a tower.
_LEVEL = 3
#: Metres that a wall rises at the most, and a slope beyond it per metre. Common practice, no source.
_WALL, _SLOPE = 500.0, 2.0
#: Readings next to one through which a plane is laid, how much wider than long they lie at the least, and how far from
#: their middle it reaches, in their own reach. A height is on the slope within so many residuals of the plane, or
#: within that part of what is doubtful.
_PLANE, _WIDE, _REACH, _RESIDUALS, _PART = 8, 0.2, 3.0, 3.0, 0.5
#: How many heights that stand apart are looked at one by one. More of them are no slip.
_LISTED = 200


#: What software writes for a height that it does not know, besides zero and what no height is.
_WRITTEN = (
    99.99, 99.999, 999.0, 999.9, 999.99, 999.999, 9999.0, 9999.9, 9999.99, 9999.999, 99999.0, 99999.9, 99999.99,
    99999.999, 999999.0, 999999.9, 999999.99, 999999.999, 32767.0, 32768.0,
)  # fmt: skip
_NO_HEIGHT = 1e6


class Fence(Struct, frozen=True):
    """The heights ``low`` to ``high`` between which ordinary readings of a session lie, metres; ``middle`` of them.

    From the quarters of the heights, so that a few wrong ones do not move it (J. W. Tukey's fences).
    """

    low: float
    middle: float
    high: float
    spread: float

    @property
    def level(self) -> bool:
        """Whether the session's heights lie so close that its neighbours say no more of one than all do."""
        return self.spread <= _HILLY

    def beyond(self, height: Floats) -> Floats:
        """Return (n,) by how much heights lie outside, metres with sign; zero within."""
        return np.where(height > self.high, height - self.high, np.minimum(height - self.low, 0.0))

    def with_base(self, height: float) -> "Fence":
        """Return the fence with the height of the base let in."""
        return Fence(min(self.low, height), self.middle, max(self.high, height), self.spread)


def placeholders(height: Floats) -> Flags:
    """Return (n,) which heights, in the unit that they were written in, may stand for no height at all."""
    size = np.minimum(np.abs(height), _NO_HEIGHT)
    found: Flags = (size < 1e-9) | (height == -99.0) | (size >= _NO_HEIGHT) | np.isin(np.round(size, 3), _WRITTEN)
    return found


def fence(height: Floats) -> Fence:
    """Return the fence around some heights (n,), n > 0, all finite."""
    low, middle, high = np.quantile(height, [0.25, 0.5, 0.75])
    spread = high - low
    return Fence(float(low - 1.5 * spread), float(middle), float(high + 1.5 * spread), float(spread))


def height_looks(height: Floats, around: Fence, placeholder: Flags) -> NDArray[np.uint8]:
    """Return (n,) what heights look like that lie off the fence, codes of `Look`."""
    found = np.full(len(height), Look.NOTHING, np.uint8)
    slack = max(around.spread, 5.0)
    shifted = np.zeros(len(height), bool)
    for factor in (0.1, 0.01, 0.001, 10.0, 100.0):
        shifted |= np.abs(around.beyond(height * factor)) <= slack
    found[shifted] = Look.HEIGHT_POINT
    found[np.abs(around.beyond(-height)) <= slack] = Look.HEIGHT_SIGN
    found[placeholder] = Look.PLACEHOLDER
    return found


def out_of_place(
    places: Floats, height: Floats, placeholder: Flags, around: Fence, doubtful: float
) -> tuple[Floats, Flags, Flags]:
    """Hold heights against those round about.

    Args:
        places: (n, 3) from `places.on_sphere`, metres.
        height: (n,) metres.
        placeholder: (n,) which heights are numbers that software writes where it knows none.
        around: the fence around the session's heights.
        doubtful: metres.

    Returns:
        (n,) by how much each lies off its neighbours, metres with sign, zero where nothing is to be said; (n,) which
        cannot be: placeholders that the neighbours give away, and what nothing on earth is steep enough for; (n,) the
        others that lie off by more than ``doubtful``, as no third reading near them does, nor the slope that they are
        on.
    """
    off = around.beyond(height)
    if not around.level or placeholder.any():
        middle, spread = _neighbours(places, np.where(placeholder, np.nan, height))
        known = np.isfinite(middle)
        local = height - np.where(known, middle, 0.0)
        allowed = _SPREADS * np.where(known, spread, 0.0)
        off = np.where(known, np.sign(local) * np.maximum(np.abs(local) - allowed, 0.0), off)
    false = placeholder & (np.abs(off) > _PLACEHOLDER)
    high = np.flatnonzero(~placeholder & (np.abs(off) > doubtful))
    odd = np.zeros(len(height), bool)
    if len(high) <= _LISTED:
        apart = placeholder | ~np.isfinite(height)
        apart[high] = True
        for row in high.tolist():
            level = np.abs(height - height[row]) <= np.abs(off[row]) / 3
            if np.count_nonzero(level) >= _LEVEL and not around.level:
                level &= np.linalg.norm(places - places[row], axis=1) <= _SQUARES[-1]
            odd[row] = np.count_nonzero(level) < _LEVEL and not _on_slope(places, height, row, apart, doubtful)
            steepest = _WALL + _SLOPE * _third_nearest(places, row)
            false[row] = odd[row] and abs(off[row]) > steepest
    return off, false, odd & ~false


def _on_slope(places: Floats, height: Floats, row: int, apart: Flags, doubtful: float) -> bool:
    """Tell whether a height is that of the plane through the readings next to it, none of them ``apart`` (n,).

    The foot and the top of an even slope lie beyond the heights round about, and are no slips.
    """
    away = np.linalg.norm(places - places[row], axis=1)
    away[apart] = np.inf
    nearest = np.argpartition(away, min(_PLANE, len(away)) - 1)[:_PLANE]
    if len(nearest) < _PLANE or not np.isfinite(away[nearest]).all():
        return False
    plan = levelled(places[np.append(nearest, row)])
    middle = plan[:-1].mean(axis=0)
    off, here = plan[:-1] - middle, plan[-1] - middle
    long, wide = np.linalg.svd(off, compute_uv=False)
    if wide < _WIDE * long or np.hypot(*here) > _REACH * long / np.sqrt(_PLANE):
        return False
    design = np.column_stack([np.ones(_PLANE), off])
    plane = np.linalg.lstsq(design, height[nearest], rcond=None)[0]
    residual = float(np.sqrt(np.square(height[nearest] - design @ plane).sum() / (_PLANE - 3)))
    missed = abs(float(height[row] - plane[0] - here @ plane[1:]))
    return missed <= max(_RESIDUALS * residual, _PART * doubtful)


def _third_nearest(places: Floats, row: int) -> float:
    away = np.linalg.norm(places - places[row], axis=1)
    third = min(_LEVEL, len(away) - 1)  # the reading itself is the nearest, at 0
    return float(np.partition(away, third)[third])


def _neighbours(places: Floats, height: Floats) -> tuple[Floats, Floats]:
    """Return (n,) middle of the heights round about, and their spread from a quarter to three quarters of them.

    Round about is the smallest square that holds enough of them; NaN where none does.
    """
    middle, spread = np.full(len(height), np.nan), np.full(len(height), np.nan)
    level = levelled(places)
    for size in _SQUARES:
        cells = np.floor(level / size).astype(np.int64)
        key = (cells[:, 0] - cells[:, 0].min()) * (int(np.ptp(cells[:, 1])) + 1) + cells[:, 1] - cells[:, 1].min()
        order = np.lexsort((height, key))  # what is not known comes last in its square
        heads = np.flatnonzero(np.diff(key[order], prepend=-1))
        group = np.zeros(len(key), np.int64)
        group[order] = np.repeat(np.arange(len(heads)), np.diff(np.append(heads, len(key))))
        known = np.bincount(group, np.isfinite(height), len(heads)).astype(np.int64)
        at = heads[None, :] + (np.array([[0.25], [0.5], [0.75]]) * np.maximum(known - 1, 0)).astype(np.int64)
        low, half, high = height[order][at]
        fresh = np.isnan(middle) & (known[group] >= _NEIGHBOURS)
        middle[fresh], spread[fresh] = half[group[fresh]], (high - low)[group[fresh]]
    return middle, spread


def levelled(places: Floats) -> Floats:
    """Return (n, 2) places about east and north of their middle, metres; far ones come out anyhow, but apart."""
    at = np.median(places, axis=0)
    up = at / np.linalg.norm(at)
    east = np.cross([0.0, 0.0, 1.0], up) if abs(up[2]) < 0.999 else np.array([1.0, 0.0, 0.0])
    east /= np.linalg.norm(east)
    return np.asarray((places - at) @ np.column_stack([east, np.cross(up, east)]))
