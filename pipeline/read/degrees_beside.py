"""Compares eastings and northings with longitudes and latitudes that stand beside them, in the first rows of a file.

Degrees that nobody mapped are carried along, and are excellent evidence of which of two numbers is the easting.
"""

from collections.abc import Sequence

import numpy as np
import pyarrow as pa

from pipeline.arrays import Floats
from pipeline.files.heading_words import words_of
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.own_places import lonlat
from pipeline.job.model import Points
from pipeline.plausible.two_positions import MOST
from pipeline.read.axis_headings import LATITUDE, LONGITUDE
from pipeline.read.columns import readings
from pipeline.read.raw_batch import Raw
from pipeline.read.sources import Source
from pipeline.sphere import apart

#: What may stand beside such a word: a unit, a datum, a side; anything else may be of a base, or of a project.
_ELSE = "deg degree degrees dd dec decimal wgs wgs84 84 etrs89 jgd2011 gps gnss geo n e"
_BESIDE = frozenset(_ELSE.split())
#: Metres from which on degrees are of another place, more than datums are apart, and how much nearer is clear.
_ELSEWHERE, _CLEARLY = 2_000.0, 5.0
_ROWS = 200


def axes_exchanged(points: Points, source: Source, first: Sequence[Raw]) -> bool | None:
    """Tell whether degrees beside the mapped easting and northing lie where these do only if they are exchanged.

    False where they lie there as they are mapped; None without such degrees, and where they tell neither.
    """
    position = source.how.position
    if position.words[0] != "easting" or position.from_geometry or points.crs is None or not first:
        return None
    names = [only_column(source, words) for words in (LONGITUDE, LATITUDE)]
    if None in names or not len(first[0].row):
        return None
    longitude, latitude = (cells_as_numbers(first[0].columns[name or ""], _ROWS) for name in names)
    read = readings(first[0], source.how.afresh())
    east, north = (np.asarray(read.column(word), np.float64)[:_ROWS] for word in ("first", "second"))
    known = np.isfinite(longitude + latitude + east + north) & (longitude != 0.0) & (np.abs(latitude) <= 90.0)
    if not known.any():
        return None
    degrees, zero = (longitude[known], latitude[known]), np.zeros(int(known.sum()))
    try:
        ways = [lonlat(points.crs, *pair, zero) for pair in ((east[known], north[known]), (north[known], east[known]))]
    except OperationError:  # told where the operations are chosen
        return None
    far = [float(np.nan_to_num(np.median(apart(*degrees, *way)), nan=np.inf, posinf=np.inf)) for way in ways]
    nearer = int(far[1] < far[0])
    if far[nearer] > _ELSEWHERE or far[1 - nearer] < _CLEARLY * max(far[nearer], 1.0):
        return None
    return bool(nearer)


def only_column(source: Source, words: frozenset[str]) -> str | None:
    """Return the one column carried along that is headed by one of some words, None where none or several are."""
    names = [name for name, _ in source.how.carried if _is_of(name, words)]
    return names[0] if len(names) == 1 else None


def _is_of(heading: str, wanted: frozenset[str]) -> bool:
    words = set(words_of(heading, figures=True))
    return len(words & wanted) == 1 and words <= wanted | _BESIDE


def cells_as_numbers(column: pa.Array, most: int = MOST) -> Floats:
    """Return (n,) the numbers of the first cells, NaN for what is none, such as degrees and minutes."""
    return np.array([_number(cell) for cell in column[:most].to_pylist()], np.float64)


def _number(cell: object) -> float:
    if isinstance(cell, bool) or cell is None:
        return float("nan")
    try:
        return float(str(cell).strip().replace(",", "."))
    except ValueError:
        return float("nan")
