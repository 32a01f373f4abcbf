"""Finds readings that the exports have twice, at positions that differ by one vector: raw and corrected."""

import math
from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.duplicates import copied, in_step, of_pairs
from pipeline.duplicates.near import offsets, writing
from pipeline.geodesy.frames import GRS80
from pipeline.intake.ledger import SOUND, ReadingRows
from pipeline.intake.prepare import Prepared
from pipeline.sphere import DEGREE

#: Readings of one time that stand so few rows apart are points of one measurement: what is appended to a file, of
#: five moments and more, stands further from what it was made of.
_BESIDE = 4
#: Metres up to which points are measured by offset, and how many codes such points, or those they hang on, have.
_OFFSET, _CODES = 10.0, 2


class ShiftedCopies(Struct, frozen=True):
    """Readings of two exports, or of one, that have time, and most often name, in common, and all the same difference.

    Args:
        exports: the numbers of both, one number twice where a file has both readings.
        session: index of their session.
        pairs: (k, 2) numbers of the readings, the earlier read first.
        apart: (3,) metres east, north and up from the first to the second.
        rows: of the first pair, in their files.
        named: whether they have their names in common; if not, ``pairs`` may be some of many.
    """

    exports: tuple[int, int]
    session: int
    pairs: Integers
    apart: Floats
    rows: tuple[int, int]
    named: bool = True


def find_shifted(
    rows: ReadingRows, prepared: Prepared, pairs: Integers, unnamed: Integers
) -> tuple[ShiftedCopies, ...]:
    """Find among pairs (p, 2) of one name and time, at different places, those that are one reading corrected.

    Only those count that would be issued both, in one session, and that differ by more than checks tolerate: what noise
    and another adjustment make of a reading is no other position of the base. Of ``unnamed`` (q, 2), which have the
    time alone in common, the same is found where no others are in their exports and session; not so the points of one
    measurement, as both rails of a track, channel and top of a kerb: in one export they stand side by side, or each of
    both has codes of its own.
    """
    unnamed = unnamed[~_beside(rows, unnamed)]
    found = {(*one.exports, one.session): one for one in _shifted_among(rows, prepared, _both(rows, pairs), named=True)}
    for one in _shifted_among(rows, prepared, _both(rows, unnamed), named=False):
        found.setdefault((*one.exports, one.session), one)
    return tuple(found[key] for key in sorted(found))


def _both(rows: ReadingRows, pairs: Integers) -> Integers:
    """Return the pairs of which both readings are sound, in one session."""
    sound = ((rows.flags[pairs] & SOUND) != 0).all(axis=1)
    session = rows.session[pairs].astype(np.int64)
    found: Integers = pairs[sound & (session[:, 0] == session[:, 1]) & (session[:, 0] >= 0)]
    return found


def _beside(rows: ReadingRows, pairs: Integers) -> Flags:
    """Return (p,) which pairs stand side by side in one export."""
    export = rows.export(pairs)
    found: Flags = (export[:, 0] == export[:, 1]) & (np.abs(pairs[:, 1] - pairs[:, 0]) <= _BESIDE)
    return found


def _by_offset(rows: ReadingRows, pairs: Integers, apart: Floats) -> bool:
    """Tell whether the second of pairs are points by offset from the first: each have few codes, and none in common."""
    if float(np.linalg.norm(apart)) > _OFFSET:
        return False
    first, second = (np.unique(codes) for codes in rows.codes(pairs).T)
    coded = first[0] != 0 and second[0] != 0
    return bool(coded and min(len(first), len(second)) <= _CODES and not np.intersect1d(first, second).size)


def _shifted_among(rows: ReadingRows, prepared: Prepared, pairs: Integers, *, named: bool) -> Iterator[ShiftedCopies]:
    if not len(pairs):
        return
    of, _, places = of_pairs(rows, pairs)
    vectors = np.column_stack(offsets(of, places[:, 0], places[:, 1]))
    rounding = writing(of, places[:, 0], places[:, 1])
    level = np.cos(np.radians(of.latitude[places[0, 0]]))
    here = np.column_stack([of.longitude * level, of.latitude])[places[:, 0]] * DEGREE
    keys = np.column_stack([of.export.astype(np.int64)[places], rows.session[pairs[:, 0]].astype(np.int64)])
    kinds, groups = np.unique(keys, axis=0, return_inverse=True)
    checks = prepared.loaded.job.checks
    for number, (one, other, session) in enumerate(kinds.tolist()):
        those = np.flatnonzero(groups.ravel() == number)
        both = vectors[those], rounding[those], here[those]
        alike = in_step(*both) if named else copied(of.time[places[those, 0]], pairs[those], *both)
        if alike is None:
            continue
        those = those[alike]
        apart = np.median(vectors[those], axis=0) * _on_ellipsoid(float(of.latitude[places[those[0], 0]]))
        # one above or below the other, in one file, are two points of one reading: top and foot of a kerb
        level_ones = np.hypot(*apart[:2]) <= checks.horizontal
        if level_ones and (abs(apart[2]) <= checks.vertical or (one == other and not named)):
            continue
        if not named and _by_offset(rows, pairs[those], apart):
            continue
        first = rows.source_row(pairs[those[0]]).tolist()
        yield ShiftedCopies((one, other), session, pairs[those], apart, (first[0], first[1]), named)


def _on_ellipsoid(latitude: float) -> Floats:
    """Return (3,) by which east, north and up on the sphere are as on the ellipsoid: a third of a per cent at most."""
    # any other ellipsoid of today differs from this one by no millimetre in a hundred metres
    flat = 1.0 - GRS80.e2 * math.sin(math.radians(latitude)) ** 2
    east, north = GRS80.a / math.sqrt(flat), GRS80.a * (1.0 - GRS80.e2) / flat**1.5
    return np.array([math.radians(east) / DEGREE, math.radians(north) / DEGREE, 1.0])
