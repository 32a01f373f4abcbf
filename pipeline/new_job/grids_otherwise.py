"""What fits where no grid in use at a job's place does: one used beyond its area, or columns that are misread.

Nothing here is ever taken for granted: it becomes candidates of a question, with what would have to be so.
"""

from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct

from pipeline.examine.register_looks import distance_from
from pipeline.geodesy.misread_coordinates import ZONES
from pipeline.geodesy.registry import Registered, grids_at, used_in
from pipeline.new_job.grid_fits import FilePositions, Fit, fits
from pipeline.plausible.misreadings import (
    BOTH_SIGNS,
    EXCHANGED,
    FIRST_SIGN,
    NORTHERN,
    SECOND_SIGN,
    SOUTHERN,
    Misreading,
)
from pipeline.replace import replace

#: Degrees of latitude to the next zone, where a country's zones lie above one another.
_BANDS = (1.0, -1.0)
#: Metres: a single mark that agrees may do so by chance beyond, as within the step between two datums.
_NEAR = 30.0
#: What may be so of the two coordinates of a file, by their kind, as a clause that goes after "if".
_WAYS = {
    "degrees": {
        "longitude and latitude of {} are exchanged": EXCHANGED,
        "all longitudes of {} have the other sign (west and east)": FIRST_SIGN,
        "all latitudes of {} have the other sign (north and south)": SECOND_SIGN,
        "all longitudes and latitudes of {} have the other sign": BOTH_SIGNS,
    },
    "plane": {
        "easting and northing of {} are exchanged": EXCHANGED,
        "all eastings of {} have the other sign": FIRST_SIGN,
        "all northings of {} have the other sign": SECOND_SIGN,
        "all eastings and northings of {} have the other sign": BOTH_SIGNS,
        "the northings of {} are those of the southern hemisphere (10 000 000 m less)": SOUTHERN,
        "the northings of {} lack the 10 000 000 m of the southern hemisphere": NORTHERN,
    },
}


class Otherwise(Struct, frozen=True):
    """That readings and marks agree if ``what`` is so, in which grids, and where the job lies then [deg].

    There are no grids where both are in degrees or in a plane.
    """

    what: str
    fits: list[Fit]
    place: tuple[float, float] | None


def beyond(code: str, place: tuple[float, float]) -> float:
    """Return how far a place [deg] lies outside the area in which a grid is used [m]; 0 where that is not told."""
    use = used_in(code)
    if use is None:
        return 0.0
    return float(np.nan_to_num(distance_from((use.west, use.south, use.east, use.north), np.array([place])))[0])


def grids_beside(place: tuple[float, float]) -> list[Registered]:
    """Return the grids that are in use in the next zones, and not at the place [deg] itself."""
    longitude, latitude = place
    beside = [(longitude + way * zone, latitude) for zone in ZONES for way in (1, -1)]
    beside += [(longitude, latitude + band) for band in _BANDS if abs(latitude + band) < 90.0]
    here = {grid.code for grid in grids_at(*place)}
    found = {grid.code: grid for there in beside for grid in grids_at(*there)}
    return [grid for code, grid in found.items() if code not in here]


def otherwise(
    readings: FilePositions,
    marks: FilePositions,
    place: tuple[float, float] | None,
    stated: Sequence[Registered] = (),
) -> Otherwise | None:
    """Return the one misreading with which readings on marks and the marks agree, None where none helps, or several do.

    None too where they agree as they stand, both in degrees or both in a plane.

    Args:
        readings: those that may stand on marks.
        marks: the register's.
        place: longitude and latitude of the job [deg], by the degrees of either; None where it is not known.
        stated: the grid that a file states; none for any in use where the job would lie.
    """
    found = list(_of_one_kind(readings, marks, place) if readings.kind == marks.kind else
                 _of_two_kinds(readings, marks, place, stated))  # fmt: skip
    return found[0] if len(found) == 1 else None


def _of_one_kind(
    readings: FilePositions, marks: FilePositions, place: tuple[float, float] | None
) -> Iterator[Otherwise]:
    """Yield what may be so of readings and marks that are both in degrees or both in a plane: either may be misread."""
    if marks.kind == "plane":
        grids = [Registered(marks.crs or readings.crs or "", "", 0.0)]
    else:
        grids = grids_at(*place)[:1] if place is not None else []
    if fits(readings, marks, grids):
        return
    for what, way in _WAYS.get(marks.kind, {}).items():
        meant = _meant(marks, way)
        if meant is not None and _sure(fits(readings, meant, grids)):
            yield Otherwise(what.format("the readings or of the register"), [], place)


def _of_two_kinds(
    readings: FilePositions,
    marks: FilePositions,
    place: tuple[float, float] | None,
    stated: Sequence[Registered],
) -> Iterator[Otherwise]:
    if place is None:
        return
    for whose, table in (("the readings", readings), ("the register", marks)):
        for what, way in _WAYS.get(table.kind, {}).items():
            meant = _meant(table, way)
            there = _meant_place(place, way) if table.kind == "degrees" else place
            if meant is None or there is None:
                continue
            pair = (meant, marks) if table is readings else (readings, meant)
            if good := _sure(fits(*pair, stated or grids_at(*there))):
                yield Otherwise(what.format(whose), good, there)


def _sure(found: Sequence[Fit]) -> list[Fit]:
    """Return the fits that no chance makes."""
    return [fit for fit in found if fit.found.distinct > 1 or fit.found.size <= _NEAR]


def _meant(table: FilePositions, way: Misreading) -> FilePositions | None:
    """Return a table as it may have been meant; None where it has none of these on the earth."""
    pairs = way.meant(np.column_stack([table.first, table.second]))
    if table.kind == "degrees" and bool((np.abs(pairs[:, 1]) > 90.0).any()):
        return None
    return replace(table, first=pairs[:, 0], second=pairs[:, 1])


def _meant_place(place: tuple[float, float], way: Misreading) -> tuple[float, float] | None:
    longitude, latitude = map(float, way.meant(np.array(place)))
    return (longitude, latitude) if abs(latitude) <= 90.0 else None
