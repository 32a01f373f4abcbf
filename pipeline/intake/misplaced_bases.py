"""Finds logged positions of bases that lie nowhere near the readings: a lost sign, two columns exchanged, a default.

A receiver that broadcast from there would have given no fix: only what was written down is wrong. So the readings are
as good as any, and no distance counts from such a position.
"""

from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.geodesy.crs import kind_of, source_crs
from pipeline.geodesy.own_places import own_places
from pipeline.intake.base_log import ValueSeen
from pipeline.intake.far_out import distance_in_words
from pipeline.near import listed
from pipeline.plausible import LOOKS, Look, Middle, among, distances, misread, on_sphere, raw_variants
from pipeline.read.exports import Export
from pipeline.replace import replace
from pipeline.words import plural

#: Metres that a base serves at the most. A logged position farther from the readings is not where it stood: a default,
#: or another job's. Common practice, no source.
SERVES = 50_000.0
#: Metres beyond which nobody corrects, whatever is computed afterwards. Common practice, no source.
_NOBODY = 500_000.0
#: Metres from the middle of the readings within which a base stands that was meant otherwise than written.
_MEANT = 10_000.0


class Misplaced(Struct, frozen=True):
    """A base that is far from all readings of its session.

    ``what`` says so, ``believed`` whether distances count from it.
    """

    what: str
    believed: bool


def misplaced_base(
    found: Sequence[tuple[ValueSeen, Floats]], exports: Sequence[Export], mid: Middle, *, network: bool
) -> Misplaced | None:
    """Say that the positions of the base on a session's points are all far from its readings; None where they are not.

    Args:
        found: the positions, one at least, as written, and as (3,) longitude, latitude [deg], height [m].
        exports: those of the job.
        mid: the middle of the readings.
        network: whether corrections are a network's, which serves a country.
    """
    places = np.array([place for _, place in found])
    away = distances(on_sphere(places[:, 0], places[:, 1]), mid.at)
    nearest = int(np.argmin(away))
    metres, seen = float(away[nearest]), found[nearest][0]
    if metres <= (_NOBODY if network else SERVES):
        return None
    export = exports[seen.export]
    crs = export.points.crs or ""
    within = replace(mid, reach=_MEANT)
    if kind_of(source_crs(crs)) == "projected":
        meant = _meant_in_metres(crs, seen.value, within)
    else:
        meant = Look(int(misread(places[nearest, :1], places[nearest, 1:2], within, _MEANT)[0]))
    believed = metres <= _NOBODY and meant is Look.NOTHING
    looks = f" ({LOOKS[meant].replace('the others', 'them')})" if meant is not Look.NOTHING else ""
    decimals = 3 if export.points.columns.base_longitude is None else 8
    at = " ".join(f"{value:.{decimals}f}" for value in seen.value[:2])
    counts = (
        "a base that stood elsewhere makes them too large: correct it then, or do not map it"
        if believed
        else "no base stood there, so they count no distance from it: correct it, or do not map it"
    )
    return Misplaced(
        f"{export.shown}:{seen.row}: the base's position on the points, {at}, is"
        f" {distance_in_words(metres, 'the middle of the readings')}{looks}. hu95 and vu95 grow by quality.ppm with the"
        f" distance from the base; {counts}",
        believed,
    )


def misplaced_notes(found: Sequence[tuple[str, Misplaced]]) -> Iterator[str]:
    """Yield what is said of sessions, by their names: once for all whose distances count, once for all others."""
    for believed in (False, True):
        alike = [(name, one) for name, one in found if one.believed is believed]
        if alike:
            names = [name for name, _ in alike]
            yield f"{plural(len(names), 'session')} {listed(names)}: {alike[0][1].what}"


def _meant_in_metres(crs: str, raw: Sequence[float], mid: Middle) -> Look:
    """Return as what a position (3,) in metres would lie near ``mid``."""
    looks, variants = raw_variants(raw[0], raw[1])
    longitude, latitude, _ = own_places(crs, variants[:, 0], variants[:, 1], np.full(len(looks), raw[2]))
    fits = np.flatnonzero(among(on_sphere(longitude, latitude), mid, _MEANT))
    return looks[int(fits[0])] if len(fits) else Look.NOTHING
