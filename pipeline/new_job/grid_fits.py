"""Positions of files laid beside one another in grids: in which of them readings lie on marks."""

from collections.abc import Callable, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.geodesy.registry import (
    Registered,
    crs_kind,
    in_use_there,
    projected,
    unprojected,
    x_is_northing,
)
from pipeline.new_job.common_shift import Agreement, Names, agreement, agreement_by_name

#: How far raw positions may lie from marks in a grid that fits, metres: a base's error, with a step between datums.
_FITS, _WITH_DATUM = 30.0, 400.0

#: Likewise where readings are called after the marks: old datums lie up to a kilometre beside those of satellites.
_BY_NAME = 1_500.0

#: How much two sessions' shifts may differ while a grid is looked for, metres.
_LOOSE = 8.0

#: How far from the job the marks of a register lie, metres.
NEAR = 50_000.0


class FilePositions(Struct, frozen=True):
    """Positions of a file: degrees, or a plane's easting and northing in ``crs`` where that is known; (n,) each.

    ``named`` is the number of the mark that each is called after, -1 for none; None where nobody looked.
    """

    kind: str
    first: Floats
    second: Floats
    crs: str | None = None
    turned: bool = False
    named: Integers | None = None


def step_of(found: Sequence["Fit"]) -> Floats | None:
    """Return (2,) metres, the step between datums that the best of the grids leaves, None where it is none."""
    return found[0].found.shift if found and found[0].found.size > _FITS else None


def place_of(tables: Sequence[FilePositions]) -> tuple[float, float] | None:
    """Return about where the job lies [deg], None where no table tells it."""
    for table in tables:
        if table.kind == "degrees" and np.isfinite(table.first).any():
            return float(np.nanmedian(table.first)), float(np.nanmedian(table.second))
    for table in tables:
        if table.crs is not None and crs_kind(table.crs) == "projected":
            first, second = (
                (table.second, table.first) if _lies_turned(table, table.crs) else (table.first, table.second)
            )
            lon, lat = unprojected(table.crs, np.array([np.nanmedian(first)]), np.array([np.nanmedian(second)]))
            if np.isfinite(lon[0]):
                return float(lon[0]), float(lat[0])
    return None


def _lies_turned(table: FilePositions, crs: str) -> bool:
    """Tell whether X is likelier the northing of a table that leaves it open: by the grid's area, else by its axes."""
    if not table.turned or not np.isfinite(table.first).any():
        return False
    first, second = float(np.nanmedian(table.first)), float(np.nanmedian(table.second))
    straight, turned = in_use_there(crs, first, second), in_use_there(crs, second, first)
    return bool(x_is_northing(crs)) if straight == turned else bool(turned)


def in_plane(table: FilePositions, grid: str | None, turned: bool = False) -> Floats | None:
    """Return a table's positions (n, 2) in a grid, in its unit; None where that cannot be told."""
    if table.kind == "plane":
        first, second = (table.second, table.first) if turned else (table.first, table.second)
        if table.crs is not None and grid is not None and table.crs != grid and crs_kind(table.crs) == "projected":
            first, second = projected(grid, *unprojected(table.crs, first, second))
        return np.column_stack([first, second])
    if grid is None:
        return None
    return np.column_stack(projected(grid, table.first, table.second))


class Fit(Struct, frozen=True):
    """A grid in which readings lie beside marks, with how they agree."""

    grid: Registered
    found: Agreement
    turned: bool


def fits(readings: FilePositions, marks: FilePositions, grids: Sequence[Registered]) -> list[Fit]:
    """Return the grids in which readings on marks lie beside the marks, best first: those without a step of datums.

    Where there are none, those in which readings called after several marks lie beside these with a larger step.
    """
    names = None
    if readings.named is not None and marks.named is not None:
        names = Names(readings.named, marks.named, _FITS)
    found = _fits(readings, marks, grids, lambda there, known: agreement(there, known, _WITH_DATUM, _LOOSE, names))
    if not found and names is not None and (names.readings >= 0).any():
        far = _fits(
            readings, marks, grids, lambda there, known: agreement_by_name(there, known, names, _BY_NAME, _LOOSE)
        )
        found = [fit for fit in far if fit.found.distinct > 1]
    most = max((fit.found.distinct for fit in found), default=0)
    found = [fit for fit in found if fit.found.distinct == most]
    near = [fit for fit in found if fit.found.size <= _FITS]
    return sorted(near or found, key=lambda fit: (fit.grid.size, round(fit.found.size), fit.grid.code))


def _fits(
    readings: FilePositions,
    marks: FilePositions,
    grids: Sequence[Registered],
    agreed: Callable[[Floats | None, Floats | None], Agreement | None],
) -> list[Fit]:
    """Return the grids in which readings and marks agree, in the order of the grids."""
    found = []
    for grid in grids:
        for turned in (False, True) if readings.turned or marks.turned else (False,):
            there, known = (in_plane(table, grid.code, turned and table.turned) for table in (readings, marks))
            if (agree := agreed(there, known)) is not None:
                found.append(Fit(grid, agree, turned))
    return found


def turned_alike(readings: FilePositions, marks: FilePositions) -> bool | None:
    """Tell whether X is the northing, from readings and marks in one unknown grid; None where they do not tell it."""
    straight, turned = (
        agreement(in_plane(readings, None, way and readings.turned), in_plane(marks, None, way and marks.turned), _FITS)
        for way in (False, True)
    )
    if (straight is None) == (turned is None):
        return None
    return straight is None


def lie_together(readings: FilePositions, marks: FilePositions) -> bool:
    """Tell whether readings and marks of one unknown plane lie beside one another as their columns stand."""
    return agreement(in_plane(readings, None), in_plane(marks, None), _FITS) is not None
