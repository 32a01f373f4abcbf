"""Finds positions too far from the base, or from the middle, of their session."""

from collections.abc import Iterable

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats
from pipeline.plausible.looks import Look
from pipeline.plausible.misreadings import BOTH_SIGNS, EXCHANGED, FIRST_SIGN, POINT_MOVED, SECOND_SIGN
from pipeline.sphere import RADIUS

#: Metres: a misread position that lies among the others lies within this of where they are, or a little beyond them.
_AMONG = 300.0
_BEYOND = 1.5
#: Degrees within which a position is 0, 0.
_ZERO = 1e-3
#: Readings that make a neighbourhood: fewer are alone.
_FEW = 3
#: How many readings that stand apart are looked at one by one. More of them are no slip but the work.
LISTED = 200


class Middle(Struct, frozen=True):
    """Where most readings of a session lie: (3,) the middle on the sphere of `on_sphere`, metres.

    ``reach`` is the distance from it within which four fifths of them lie: neither readings that are wrong, being few,
    nor a second place of work stretch it.
    """

    at: Floats
    reach: float


def on_sphere(longitude: Floats, latitude: Floats) -> Floats:
    """Return (n, 3) places on a sphere of the earth's size, metres: good to half a percent, also across 180°."""
    across, up = np.radians(longitude), np.radians(latitude)
    level = RADIUS * np.cos(up)
    return np.column_stack([level * np.cos(across), level * np.sin(across), RADIUS * np.sin(up)])


def middle(places: Floats) -> Middle:
    """Return where most of some places (n, 3), n > 0, all finite, lie."""
    at = np.median(places, axis=0)
    return Middle(at, float(np.quantile(distances(places, at), 0.8)))


def distances(places: Floats, at: Floats) -> Floats:
    """Return (n,) metres from (3,) a place; infinite for places that are none."""
    off = places - at
    found = np.sqrt(np.einsum("ij,ij->i", off, off))
    found[~np.isfinite(found)] = np.inf
    return np.asarray(found)


def from_base(far: int, count: int) -> bool:
    """Say whether distances count from a base that ``far`` of ``count`` readings are too far from.

    A base that most are too far from is not the place that they were measured from; then the middle serves.
    """
    return 2 * far <= count


def limit_of_middle(mid: Middle, limit: float) -> float:
    """Return how far from the middle a reading may be: ``limit`` counts from where most readings end."""
    return limit + min(mid.reach, limit)


def misread(longitude: Floats, latitude: Floats, mid: Middle, limit: float) -> NDArray[np.uint8]:
    """Return (n,) as what positions lie among the others, codes of `Look`; 0 for those that do not in any way."""
    found = np.full(len(longitude), Look.NOTHING, np.uint8)
    if not len(found):
        return found
    readings = [
        (Look.SWAPPED, EXCHANGED),
        (Look.LONGITUDE_SIGN, FIRST_SIGN),
        (Look.LATITUDE_SIGN, SECOND_SIGN),
        (Look.BOTH_SIGNS, BOTH_SIGNS),
        *((Look.POSITION_POINT, moved) for moved in POINT_MOVED),
    ]
    for look, misreading in readings:
        east, north = misreading.meant(np.column_stack([longitude, latitude])).T
        possible = np.abs(north) <= 90.0
        near = possible & among(on_sphere(east, np.where(possible, north, 0.0)), mid, limit)
        found[near & (found == Look.NOTHING)] = look
    found[(np.abs(longitude) < _ZERO) & (np.abs(latitude) < _ZERO)] = Look.ZERO
    return found


def raw_variants(first: float, second: float) -> tuple[list[Look], Floats]:
    """Return what else two coordinates in metres may have been meant as, and (k, 2) those coordinates."""
    found = [
        (Look.COORDINATES_SWAPPED, EXCHANGED),
        *((Look.COORDINATE_SIGN, signs) for signs in (FIRST_SIGN, SECOND_SIGN, BOTH_SIGNS)),
        *((Look.POSITION_POINT, moved) for moved in POINT_MOVED),
    ]
    return [look for look, _ in found], np.stack([one.meant(np.array([first, second])) for _, one in found])


def among(places: Floats, mid: Middle, limit: float) -> Flags:
    """Return (n,) which places lie among the others."""
    found: Flags = distances(places, mid.at) <= max(_BEYOND * min(mid.reach, limit), _AMONG)
    return found


def alone(every: Iterable[Floats], places: Floats, distance: Floats) -> Flags:
    """Return (k,) which places (k, 3) have hardly another near them among all, which come in pieces (n, 3).

    Near is a quarter of their ``distance`` (k,) from the middle.
    """
    near = np.zeros(len(places), np.int64)
    for piece in every:
        for row, (place, away) in enumerate(zip(places, distance.tolist(), strict=True)):
            near[row] += np.count_nonzero(np.linalg.norm(piece - place, axis=1) <= away / 4)
    return near < _FEW
