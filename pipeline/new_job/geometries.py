"""Compares the heights of a layer's geometries with columns that hold heights too."""

from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.geodesy.registry import crs_parts
from pipeline.job.toml_text import quoted
from pipeline.new_job.headings import says_height
from pipeline.new_job.heights import height_said
from pipeline.new_job.look import FileLook
from pipeline.new_job.mapped import Mapped
from pipeline.new_job.precisions import is_precision
from pipeline.new_job.two_heights import ROUNDED, are_other_heights
from pipeline.new_job.values import decimal_places, numbers_of
from pipeline.read.heading_units import metres_in_heading

#: From so many readings on one height in all of them was never measured; zeros say so from fewer on.
_MEASURED, _ZEROS = 8, 3


def flat_of(z: Floats) -> float | None:
    """Return the one Z that (n,) geometries have in common, to the millimetre, where nobody measured it; else None."""
    known = z[np.isfinite(z)]
    if not len(known) or float(np.ptp(known)) > 0.0005:
        return None
    level = float(np.round(known[0], 3)) + 0.0
    return level if len(known) >= (_ZEROS if level == 0.0 else _MEASURED) else None


def compare_with_geometry(look: FileLook, found: Mapped, names: Sequence[str]) -> None:
    """Ask for the heights where columns whose headings say heights have others than the geometries' Z.

    They are noted alone where the layer's CRS says above which datum Z is. Those of a register that are above a datum
    beside another Z in degrees, which is above the ellipsoid, or beside another Z alone, may be the answer after the
    height datum.
    """
    others = _besides(look, names)
    said = look.crs is not None and crs_parts(look.crs)[1] is not None
    levels = [name for name in others if height_said(name) == "level"]
    if found.times is None and not said and (found.kind == "degrees" or levels == others):
        found.levels = tuple(levels)
        others = [name for name in others if name not in levels]
    noted = others if said else []
    section = "points" if found.times is not None else "control"
    for name in noted:
        found.notes.append(
            f"{quoted(name)} has other heights than the geometry, whose Z is used: write height = {quoted(name)}"
            f" in [{section}.columns] if it is meant"
        )
    if asked := [name for name in others if name not in noted]:
        found.rivals["height"], found.beside_z = asked, True


def _besides(look: FileLook, names: Sequence[str]) -> list[str]:
    """Return the columns that say heights other than Z, the plainest of those above the ellipsoid first."""
    assert look.place is not None
    z, ranked = look.place[2], list[tuple[int, int, str]]()
    for at, name in enumerate(names):
        values = numbers_of(look.columns[name]) if height_said(name) is not None and not is_precision(name) else None
        if values is None or len(values) != len(z) or _is_z(look.columns[name], values, z, name):
            continue
        if are_other_heights(z, values, headed=says_height(name)):
            ranked.append((("ellipsoid", "level", "").index(height_said(name) or ""), at, name))
    return [name for _, _, name in sorted(ranked)]


def _is_z(texts: Sequence[str], values: Floats, z: Floats, heading: str) -> bool:
    """Tell whether a column repeats Z, in the unit that its heading says and to as many decimals as it has."""
    for metre in (1.0, *metres_in_heading(heading)):
        off = np.abs(values * metre - z)
        written = 0.5 * metre * 10.0 ** -decimal_places(texts)
        if np.isfinite(off).any() and float(np.nanmax(off)) <= max(ROUNDED, written + 0.001):
            return True
    return False
