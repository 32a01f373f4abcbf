"""Recognises, by their values, angles whose degrees, minutes and seconds stand in columns of their own."""

from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.new_job.look import FileLook
from pipeline.new_job.values import given, numbers_of
from pipeline.read.hemispheres import axis_of_letters

#: A run of columns that hold the parts of an angle.
Parts = tuple[str, str, str]


def angles_apart(look: FileLook) -> list[Parts]:
    """Return the columns of two angles whose parts stand beside one another in each row; none where there are not two.

    Degrees and minutes are whole, minutes and seconds below 60, and seconds have decimals. A column of a sign or of a
    hemisphere's letter may stand between the two. Codes and counts beside a height are no two such runs.
    """
    found: list[Parts] = []
    at, names = 0, look.names
    values = [numbers_of(look.columns[name]) for name in names]
    while at + 2 < len(names):
        if _are_parts(values[at : at + 3]):
            found.append((names[at], names[at + 1], names[at + 2]))
            at += 3
        elif found and _says_side(look.columns[names[at]]):
            at += 1
        elif found:
            found, at = [], at + 1
        else:
            at += 1
        if len(found) == 2:
            return found
    return []


def _says_side(texts: Sequence[str]) -> bool:
    return axis_of_letters(texts) is not None or set(given(texts)) <= {"+", "-"}


def _are_parts(columns: Sequence[Floats | None]) -> bool:
    degrees, minutes, seconds = columns
    if degrees is None or minutes is None or seconds is None or not np.isfinite(degrees).any():
        return False
    whole = all(bool(np.all(part[np.isfinite(part)] % 1 == 0)) for part in (degrees, minutes))
    within = bool(np.nanmax(np.abs(degrees)) <= 360 and _below_60(minutes) and _below_60(seconds))
    return whole and within and bool((seconds[np.isfinite(seconds)] % 1 != 0).any())


def _below_60(part: Floats) -> bool:
    return bool(np.all((part[np.isfinite(part)] >= 0) & (part[np.isfinite(part)] < 60)))
