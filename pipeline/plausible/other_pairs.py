"""Finds columns that hold a second position of marks: in another datum, of another adjustment, or in another grid.

All of them differ from the mapped columns in one way: by one vector, or as two grids of one place do, by a turn and
hardly a scale. Precisions, residuals, numbers and heights do not. Headings are not needed to tell.
"""

from collections.abc import Mapping

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.plausible.two_positions import step_of

#: Metres that are the same but for rounding, and that two datums are apart at most. Ours.
_ROUNDED, _APART = 0.006, 400.0
#: Metres, and the part of the site, by which a difference may change over the marks: an adjustment, two projections.
_CHANGES, _OF_SITE = 0.1, 0.005
#: Metres from which on a number is a grid's, where how it goes with the mapped one does not tell.
_LARGE = 10_000.0
#: What the scales of two grids differ by at most, and the cosine of the angle between axes that are square.
_SCALE, _SQUARE = 0.02, 0.02
#: Marks that tell a turn and a scale, and how wide they have to lie beside how long.
_LEAST, _WIDE = 3, 0.02
#: The part of the marks that have the second position at least: those that were not determined anew have none.
_SHARE = 0.5


class OtherPair(Struct, frozen=True):
    """Two columns that hold the marks' positions again, the first as the first of the mapped ones.

    ``apart`` is how far they are from the mapped ones in the middle [m]; ``grid`` whether they are in another grid.
    """

    columns: tuple[str, str]
    apart: float
    grid: bool = False


def other_pairs(
    mapped: tuple[Floats, Floats],
    columns: Mapping[str, Floats],
    metres: tuple[float, float] = (1.0, 1.0),
    *,
    in_grid: bool = True,
) -> list[OtherPair]:
    """Return the further positions of marks that have the ``mapped`` ones, (n,) each, NaN for none.

    Args:
        mapped: easting and northing, or longitude and latitude.
        columns: headings and numbers (n,) of those that are not mapped, in the order of the file.
        metres: in one unit of each of the two.
        in_grid: whether they are in a grid, and others may be in another one.
    """
    both = np.isfinite(mapped[0] + mapped[1])
    count = int(np.count_nonzero(both))
    if not count:
        return []
    size = float(np.linalg.norm([np.ptp(side[both]) * metre for side, metre in zip(mapped, metres, strict=True)]))
    some = {name: values for name, values in columns.items() if np.isfinite(values[both]).sum() >= _SHARE * count}
    near = [
        [name for name, values in some.items() if _goes_with(side, values, metre, size)]
        for side, metre in zip(mapped, metres, strict=True)
    ]
    found = []
    for first, second in zip(*near, strict=False):
        sides = zip(mapped, (first, second), metres, strict=True)
        off = [_off(side, some[name], metre) for side, name, metre in sides]
        apart = float(np.linalg.norm([np.median(each) for each in off]))
        if first == second or apart > _APART:
            continue
        rounding = [
            0.5 * metre * sum(step_of(each[np.isfinite(each)]) for each in (side, some[name]))
            for side, name, metre in zip(mapped, (first, second), metres, strict=True)
        ]
        if any(np.abs(each).max() > _ROUNDED + step for each, step in zip(off, rounding, strict=True)):
            found.append(OtherPair((first, second), max(apart, *(float(np.abs(each).max()) for each in off))))
    rest = {name: values for name, values in some.items() if not any(name in side for side in near)}
    return [*found, *(_of_grids(mapped, rest, size) if in_grid else ())]


def _off(mapped: Floats, other: Floats, metre: float) -> Floats:
    off = (other - mapped) * metre
    return np.asarray(off[np.isfinite(off)])


def _goes_with(mapped: Floats, other: Floats, metre: float, size: float) -> bool:
    """Tell whether numbers (n,) differ from mapped ones by hardly more than one step."""
    off, here = _off(mapped, other, metre), mapped[np.isfinite(mapped)] * metre
    allowed = _CHANGES + _OF_SITE * size
    if not len(off) or abs(float(np.median(off))) > _APART or float(np.std(off)) > allowed:
        return False
    return float(np.std(here)) > 5.0 * allowed or abs(float(np.median(here))) > _LARGE


def _of_grids(mapped: tuple[Floats, Floats], columns: Mapping[str, Floats], size: float) -> list[OtherPair]:
    """Return the columns (n,) that go as the mapped ones do in a grid that is turned, and lies elsewhere."""
    sides: tuple[list[str], list[str]] = ([], [])
    turns, middle = dict[str, Floats](), dict[str, float]()
    for name, values in columns.items():
        known = np.isfinite(mapped[0] + mapped[1] + values)
        if np.count_nonzero(known) < _LEAST or abs(float(np.median(values[known]))) < _LARGE:
            continue
        place = np.column_stack([side[known] - np.mean(side[known]) for side in mapped])
        wide = np.linalg.svd(place, compute_uv=False)
        if wide[1] <= _WIDE * wide[0]:
            continue
        here = values[known] - np.mean(values[known])
        turn = np.linalg.lstsq(place, here, rcond=None)[0]
        if abs(float(np.hypot(*turn)) - 1.0) > _SCALE or np.std(here - place @ turn) > _CHANGES + _OF_SITE * size:
            continue
        sides[0 if abs(turn[0]) > abs(turn[1]) else 1].append(name)
        turns[name], middle[name] = turn, float(np.median(values[known]))
    found = []
    for first, second in zip(*sides, strict=False):
        if abs(float(turns[first] @ turns[second])) <= _SQUARE:
            off = [middle[name] - np.nanmedian(side) for name, side in zip((first, second), mapped, strict=True)]
            found.append(OtherPair((first, second), float(np.linalg.norm(off)), grid=True))
    return found
