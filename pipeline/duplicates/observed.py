"""What is known of readings that may be one observation: some of them at a time, as a job has too many to be held."""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates.decimals import Codes


@dataclass(frozen=True)
class Observed:
    """Some readings, (k,) of them.

    Args:
        time: UTC milliseconds.
        longitude, latitude: degrees.
        height: metres.
        name: a hash of the name, 0 where there is none.
        base: a number for the base id, 0 where there is none.
        export: number of the export.
        east, north, up, clock: codes of the rounding of position, height and time; where the coordinates are no
            longitude and latitude, east and north both have that of the coarser.
    """

    time: Integers
    longitude: Floats
    latitude: Floats
    height: NDArray[np.float32]
    name: NDArray[np.uint32]
    base: NDArray[np.int16]
    export: NDArray[np.int32]
    east: Codes
    north: Codes
    up: Codes
    clock: Codes

    def at(self, places: Integers) -> "Observed":
        """Return those at (k,) places among them."""
        return Observed(*(getattr(self, field.name)[places] for field in fields(self)))


class Readings(Protocol):
    """All readings of a job, (n,) in the order of reading."""

    @property
    def mixed(self) -> Flags:
        """Return (E,) which exports hold rows of different rounding."""

    def times(self) -> Iterator[tuple[slice, Integers, Codes]]:
        """Yield by pieces the place of rows among all, (k,) their times, and (k,) codes of how these are rounded."""

    def observed(self, numbers: Integers) -> Observed:
        """Return the readings of these numbers (k,), which ascend."""


def pairs_among(pairs: Integers, others: Integers) -> Flags:
    """Return (p,) which of pairs (p, 2) of numbers are among others (q, 2), in either order."""
    pairs, others = np.sort(pairs, axis=1), np.sort(others, axis=1)
    most = max(int(some.max(initial=0)) for some in (pairs, others)) + 1
    return np.asarray(np.isin(pairs @ [most, 1], others @ [most, 1]))


def of_pairs(readings: Readings, pairs: Integers) -> tuple[Observed, Integers, Integers]:
    """Return the readings that pairs (p, 2) of numbers name, their numbers, and (p, 2) their places among these."""
    numbers, places = np.unique(pairs, return_inverse=True)
    return readings.observed(numbers), numbers, places.reshape(pairs.shape)
