"""Finds exports of a session that are misread as a whole, as with latitude first, so that none of them shifts a middle.

Where half of a session lies in another part of the earth, its middle is nowhere, and says of good rows that they are
far from it. The register knows where the work is.
"""

from collections.abc import Callable, Iterable, Mapping

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers
from pipeline.intake.by_session import Placed, is_reference
from pipeline.plausible import distances, middle, misread, on_sphere

#: Readings of an export that are looked at.
_SAMPLE = 4_000


class Misread(Struct, frozen=True):
    """Places (k, 3) and heights (k,) of the exports that lie by the marks, and the `Look` of those that are misread."""

    places: Floats
    heights: Floats
    looks: Mapping[int, int]

    def look(self, exports: NDArray[np.int32], looks: NDArray[np.uint8]) -> NDArray[np.uint8]:
        """Return (n,) what readings of some exports look like, those too that look like nothing alone."""
        of_export = np.array([self.looks.get(number, 0) for number in exports.tolist()], np.uint8)
        return np.where(looks > 0, looks, of_export)


def find_misread(
    pieces: Iterable[Placed], export: Callable[[Integers], NDArray[np.int32]], marks: Floats, limit: float
) -> Misread | None:
    """Find the exports of a session that would lie by the marks, where others do, if they were read in another way.

    Args:
        pieces: the readings of a session.
        export: returns the exports of readings by their numbers.
        marks: (m, 3) places of the register's marks, as `plausible.on_sphere` has them.
        limit: metres from the next mark within which an export lies by the marks.

    Returns:
        None where no export is by the marks, or where none of the others would be if it were read in another way.
    """
    of = _by_export(pieces, export)
    by_marks = {
        number: float(min(distances(marks, np.median(one.places, axis=0)), default=np.inf)) <= limit
        for number, one in of.items()
    }
    good = [one for number, one in of.items() if by_marks[number]]
    others = {number: one for number, one in of.items() if not by_marks[number]}
    if not good or not others:
        return None
    places, heights = np.concatenate([one.places for one in good]), np.concatenate([one.height for one in good])
    longitude, latitude = (
        np.array([float(np.median(getattr(one, axis))) for one in others.values()])
        for axis in ("longitude", "latitude")
    )
    looks = misread(longitude, latitude, middle(places), limit).tolist()
    return Misread(places, heights, dict(zip(others, looks, strict=True))) if any(looks) else None


def _by_export(pieces: Iterable[Placed], export: Callable[[Integers], NDArray[np.int32]]) -> dict[int, Placed]:
    """Return of each export as many readings as are looked at, that others may be compared with."""
    found: dict[int, Placed] = {}
    for piece in pieces:
        numbers, sound = export(piece.number), is_reference(piece.flags)
        for number in np.unique(numbers[sound]).tolist():
            rows = np.flatnonzero(sound & (numbers == number))
            rows = rows[:: -(-len(rows) // _SAMPLE)]
            if number not in found:
                found[number] = Placed(
                    piece.number[rows],
                    piece.flags[rows],
                    piece.longitude[rows],
                    piece.latitude[rows],
                    piece.places[rows],
                    piece.height[rows],
                )
    return found


def places_of_marks(longitude: Floats, latitude: Floats) -> Floats:
    """Return (m, 3) places of marks, without those that have none."""
    known = np.isfinite(longitude) & np.isfinite(latitude) & (np.abs(latitude) <= 90.0)
    return on_sphere(longitude[known], latitude[known])
