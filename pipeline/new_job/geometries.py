"""Compares the heights of a layer's geometries with columns that hold heights too."""

from collections.abc import Mapping, Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.job.toml_text import quoted
from pipeline.new_job.heights import height_said
from pipeline.new_job.values import numbers_of

#: From so many readings on one height in all of them was never measured; zeros say so from fewer on.
_MEASURED, _ZEROS = 8, 3
#: Metres between two heights that are one but for their rounding.
_ROUNDED = 0.006


def flat_of(z: Floats) -> float | None:
    """Return the one Z that (n,) geometries have in common, to the millimetre, where nobody measured it; else None."""
    known = z[np.isfinite(z)]
    if not len(known) or float(np.ptp(known)) > 0.0005:
        return None
    level = float(np.round(known[0], 3)) + 0.0
    return level if len(known) >= (_ZEROS if level == 0.0 else _MEASURED) else None


def beside_geometry(columns: Mapping[str, Sequence[str]], z: Floats, names: Sequence[str]) -> list[str]:
    """Return what is told of columns whose headings say heights, and that are others than the geometries' Z (n,)."""
    told = []
    for name in names:
        values = numbers_of(columns[name]) if height_said(name) is not None else None
        if values is None or len(values) != len(z) or not np.isfinite(values).any():
            continue
        off = np.abs(values - z)
        if np.isfinite(off).any() and float(np.nanmax(off)) > _ROUNDED:
            told.append(
                f"{quoted(name)} has other heights than the geometry, whose Z is used: write height = {quoted(name)}"
                " in [points.columns] if it is meant"
            )
    return told
