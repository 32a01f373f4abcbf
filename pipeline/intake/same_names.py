"""Finds names that several readings of a job have, once all have been read."""

from collections.abc import Iterator

import numpy as np
import pyarrow as pa
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates import having, occurring_again
from pipeline.intake.ledger import PLACED, POINT, SOUND, ReadingRows, name_hashes, spelling_hashes
from pipeline.sphere import DEGREE

Keys = NDArray[np.uint64]

#: On the ellipsoid a degree is up to a hundredth longer or shorter than on the sphere.
_SLACK = 1.02


class SameNames(Struct, frozen=True):
    """Sound points of which others have the name, (k,) by name, then in time.

    Args:
        number: of the row in the job.
        name: which name it is, from 0.
        session: index of its session.
        time: UTC milliseconds.
        longitude, latitude, height: degrees and metres, as exported.
        keys: (m,) of all names of the job, ascending, as `name_keys` gives them; none where no name repeats.
        sound: (n,) numbers of all sound readings, ascending, where places are compared; else none.
    """

    number: Integers
    name: Integers
    session: Integers
    time: Integers
    longitude: Floats
    latitude: Floats
    height: Floats
    keys: Keys
    sound: Integers

    def measured(self, within: float) -> Integers:
        """Return (k,) numbers, ascending, of the readings that may be of a point measured twice.

        Readings of one name in one session are of one point up to ``within`` metres apart: what moves them to their
        places moves them alike.
        """
        if len(self.sound) or not len(self.number):
            return self.sound
        start = np.flatnonzero(np.concatenate([[True], self.name[1:] != self.name[:-1]]))
        several = np.maximum.reduceat(self.session, start) != np.minimum.reduceat(self.session, start)
        parallel = np.cos(np.radians(self.latitude))
        # across the 180th meridian the degrees from 0 to 360 lie together
        either_way = np.minimum(*(_extent(values, start) for values in (self.longitude, self.longitude % 360.0)))
        east, north = DEGREE * either_way, DEGREE * _extent(self.latitude, start)
        close = np.hypot(east * parallel[start], north) <= _SLACK * within
        return np.sort(self.number[(several | close)[self.name]])


def _extent(degrees: Floats, start: Integers) -> Floats:
    """Return (m,) how far the values of each name, which begins at ``start``, are apart."""
    found: Floats = np.maximum.reduceat(degrees, start) - np.minimum.reduceat(degrees, start)
    return found


def name_keys(names: pa.Array) -> Keys:
    """Return (n,) keys of names: those of `ReadingRows`, for texts."""
    plain = name_hashes(names).astype(np.uint32)
    return _joined(plain, spelling_hashes(names).astype(np.uint32))


def same_names(rows: ReadingRows, counting: Flags, places: bool) -> SameNames:
    """Return the sound points whose names others have; ``places`` asks for all sound readings beside.

    Args:
        rows: all readings.
        counting: (n,) which of them are sound and no repetition of another row.
        places: whether readings are to be compared by their places too.
    """
    points = counting & rows.having(POINT, PLACED)
    keys = _Keys(rows)
    several = occurring_again(keys, points)
    sound = np.flatnonzero(counting & rows.having(SOUND)) if places else np.zeros(0, np.int64)
    if not len(several):
        none = np.zeros(0, np.int64)
        return SameNames(
            number=none,
            name=none,
            session=none,
            time=none,
            longitude=np.zeros(0),
            latitude=np.zeros(0),
            height=np.zeros(0),
            keys=np.zeros(0, np.uint64),
            sound=sound,
        )
    number, found = having(several, keys, points)
    name = np.searchsorted(several, found)
    time, longitude, latitude, height = rows.columns.take(number, "time", "longitude", "latitude", "height")
    order = np.lexsort((number, time, name))
    number = number[order]
    return SameNames(
        number=number,
        name=name[order],
        session=rows.session[number].astype(np.int64),
        time=time[order],
        longitude=longitude[order],
        latitude=latitude[order],
        height=height[order].astype(np.float64),
        keys=np.unique(np.concatenate(list(keys))),
        sound=sound,
    )


class _Keys(Struct, frozen=True):
    """Keys of the names of all readings, to be gone through piece by piece.

    Each half alone would take different names for one in a large job. The halves are other bits of two hashes, so that
    they tell of a name apart from one another, also where it is spelled as it is compared.
    """

    rows: ReadingRows

    def __iter__(self) -> Iterator[Keys]:
        return (_joined(*halves) for _, halves in self.rows.columns.pieces("name", "spelled"))


def _joined(plain: NDArray[np.uint32], spelled: NDArray[np.uint32]) -> Keys:
    return plain.astype(np.uint64) << np.uint64(32) | spelled
