"""Recognises eastings with the zone's number before them in one file of a job, and without it in another."""

import numpy as np

from pipeline.arrays import Floats
from pipeline.new_job.grid_fits import NEAR, FilePositions

#: Metres by which the number of a zone stands before an easting, and the last zone that there is.
_MILLION, _ZONES = 1_000_000.0, 60


def zone_apart(readings: FilePositions, marks: FilePositions) -> str:
    """Return what to do where readings and marks of planes lie together but for a zone's number; "" where they do not.

    Both may be turned: of X and Y the easting is then the one that differs by whole millions.
    """
    if readings.kind != "plane" or marks.kind != "plane" or not _has_any(readings) or not _has_any(marks):
        return ""
    ways = [(readings.first, marks.first, readings.second, marks.second)]
    if readings.turned or marks.turned:
        ways.append((readings.second, marks.second, readings.first, marks.first))
    for mine, theirs, across, known in ways:
        east, other = float(np.nanmedian(mine)), float(np.nanmedian(theirs))
        zone = round((east - other) / _MILLION)
        beside = abs(east - other - zone * _MILLION) <= NEAR
        together = abs(float(np.nanmedian(across)) - float(np.nanmedian(known))) <= NEAR
        if 1 <= abs(zone) <= _ZONES and beside and together and 0 < min(east, other) < _MILLION:
            with_it, without = ("readings", "marks") if zone > 0 else ("marks", "readings")
            return (
                f"the eastings of the {with_it} have the zone {abs(zone)} before them ({max(east, other):.0f}), those"
                f" of the {without} have not ({min(east, other):.0f}): export both alike, or state the grid of each, as"
                " there are grids with the zone in their eastings and grids without"
            )
    return ""


def _has_any(table: FilePositions) -> bool:
    return bool(_finite(table.first) and _finite(table.second))


def _finite(values: Floats) -> bool:
    return bool(np.isfinite(values).any())
