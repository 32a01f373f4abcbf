"""Tells the length and width of an object from the degrees of a position, in languages that have one word for both."""

from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.new_job.headings import bare
from pipeline.new_job.values import angles, decimal_places, numbers_of

#: Whole headings, bare, that say a longitude or a length, a latitude or a width. From memory, as a dictionary has them.
_EITHER = frozenset((
    "laenge", "lange", "lengte", "lengde", "lengd", "laengde", "langd", "pikkus", "garums", "ilguma", "pituus",
    "dlugosc", "delka", "dlzka", "hosszusag", "duljina", "duzina", "dolzina", "lungime", "μηκοσ", "אורך", "الطول",
    "breite", "breedte", "bredde", "bredd", "breidd", "laius", "platums", "platuma", "plotis", "leveys", "szerokosc",
    "l", "b", "gd", "gs", "дължина", "дужина", "должина", "ширина", "узундук", "uzunluq", "uzunlik", "enlik", "kenglik",
    "երկայնություն", "լայնություն", "gjatesia", "gjeresia", "кендик",
    "sirka", "szelesseg", "sirina", "latime", "πλατοσ", "רוחב", "العرض",
))  # fmt: skip
#: Decimals that degrees have at least, to about a metre; and how many of them a job may reach across. Ours, no source.
_FINE, _WIDEST = 5, 10.0
#: Coarse ones stay within so many degrees, that many from zero: objects so long are not all of one size.
_STILL, _FAR = 1.0, 10.0
#: How much of a distance two kinds of coordinates of the same points may differ by, their units apart: the scale of a
#: grid changes less within a job, and lengths of objects have nothing to do with where these stand.
_ALIKE = 0.02


def is_length_or_width(heading: str) -> bool:
    """Tell whether a heading may as well say how long or wide an object is: "Länge", "Bredde"."""
    return bare(heading) in _EITHER


def are_degrees(texts: Sequence[str], word: str) -> bool:
    """Tell whether a column of lengths or degrees may be degrees of one job by their size, or is angles with signs.

    ``word`` is "longitude" or "latitude".
    """
    values = numbers_of(texts)
    if values is None:
        return angles(texts, "EW" if word == "longitude" else "NS") is not None
    known = values[np.isfinite(values)]
    most = 360.0 if word == "longitude" else 90.0
    return bool(np.abs(known).max() <= most) and bool(np.ptp(known) <= _WIDEST)


def are_fine(texts: Sequence[str]) -> bool:
    """Tell whether degrees have as many decimals as positions, which lengths have not, or are angles with signs."""
    return numbers_of(texts) is None or decimal_places(texts) >= _FINE


def are_far(degrees: Sequence[Sequence[str]]) -> bool:
    """Tell whether columns of coarse degrees, as logs of bases have them, are no lengths of objects.

    They are below zero, or stay where they are far from it.
    """
    values = [read[np.isfinite(read)] for texts in degrees if (read := numbers_of(texts)) is not None]
    below = any(bool((each < 0.0).any()) for each in values)
    still = all(bool(np.ptp(each) <= _STILL) for each in values)
    return below or (still and any(bool((np.abs(each) >= _FAR).all()) for each in values))


def go_together(degrees: Sequence[Sequence[str]], other: Sequence[Floats]) -> bool:
    """Tell whether columns of longitude and latitude lie as other coordinates (n,) of the same rows do.

    The other ones may be degrees or lengths of whatever unit, in either order. Without three places apart it is open,
    and False.
    """
    own = [values if (values := numbers_of(texts)) is not None else angles(texts, letters) for texts, letters in
           zip(degrees, ("EW", "NS"), strict=True)]  # fmt: skip
    if own[0] is None or own[1] is None or len(own[0]) != len(other[0]):
        return False
    distances = _distances(own[0], own[1]), _from_others(*other)
    some = np.isfinite(distances[0] + distances[1]) & (distances[1] > 0.0)
    if len(np.unique(distances[1][some])) < 3:
        return False
    ratios = distances[0][some] / distances[1][some]
    middle = float(np.median(ratios))
    return middle > 0.0 and float(np.mean(np.abs(ratios / middle - 1.0) <= _ALIKE)) >= 0.9


def _from_others(x: Floats, y: Floats) -> Floats:
    """Return the distances of (n,) coordinates from the first, as degrees where they are."""
    if bool(np.nanmax(np.abs(x)) <= 360.0) and bool(np.nanmax(np.abs(y)) <= 90.0):
        return _distances(x, y)
    first = int(np.flatnonzero(np.isfinite(x + y))[0]) if np.isfinite(x + y).any() else 0
    distances: Floats = np.hypot(x - x[first], y - y[first])
    return distances


def _distances(longitudes: Floats, latitudes: Floats) -> Floats:
    """Return the distances (n,) of degrees from the first of them, in degrees of latitude."""
    there = np.flatnonzero(np.isfinite(longitudes + latitudes))
    first = int(there[0]) if len(there) else 0
    narrow = np.cos(np.radians(latitudes[first]))
    distances: Floats = np.hypot((longitudes - longitudes[first]) * narrow, latitudes - latitudes[first])
    return distances
