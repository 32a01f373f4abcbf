"""Which axis of a grid the heading of a coordinate names: "Hochwert", "North [m]" and "N" the northing, "X" only X.

Words of languages other than English are from memory, as those of `precision_headings`.
"""

import re
from functools import lru_cache
from typing import Literal

from pipeline.files.heading_words import plain_letters, with_numbers, words_of
from pipeline.geodesy.unit_words import LENGTHS_SAID
from pipeline.read.precision_headings import Side, side_of_word

Axis = Literal["easting", "northing", "x", "y", ""]

_AXES: dict[Side | None, Axis] = {Side.EAST: "easting", Side.NORTH: "northing", Side.X: "x", Side.Y: "y"}
#: Words that `precision_headings` has not. A westing is counted along the axis of eastings, a southing likewise.
_MORE: dict[str, Axis] = {
    **dict.fromkeys(["rw", "westing", "westings", "eastwert", "восток", "ανατολικα"], "easting"),
    **dict.fromkeys(["hw", "southing", "southings", "север", "βορεια"], "northing"),
}
#: Words of degrees, which are of no axis of a grid.
_OF_LONGITUDE = "longitude lon lng long longitud longitudine laenge lange lengte lengde langd dlugosc 経度"
_OF_LATITUDE = "latitude lat latitud latitudine breite breedte bredde bredd szerokosc 緯度"
LONGITUDE, LATITUDE = frozenset(_OF_LONGITUDE.split()), frozenset(_OF_LATITUDE.split())
#: What stands beside an axis, or is written together with it, and says no more than that it is a coordinate.
_COORDINATE = (
    "coordinates|coordinate|coord|koordinate|koordinaatti|koordinat|koord|coordinaat|coordenada|coordonnee|coordinata|"
    "wspolrzedna|souradnice|axis|achse|grid|utm|gk|gnss|gps|座標|坐标|坐標|좌표"
)
_ALONE = re.compile(_COORDINATE)
_TOGETHER = re.compile(rf"(?:{_COORDINATE})?(?P<axis>.+?)(?:{_COORDINATE})?")


@lru_cache(maxsize=1024)
def axis_in_heading(heading: str) -> Axis:
    """Return which axis of a grid a heading names, "" where it names none or several.

    A word goes before the letter beside it: "X (North)" is the northing. A letter counts where nothing stands beside it
    but a unit or a word for coordinates, and where it has no accent: É is the north of some.
    """
    words = words_of(with_numbers(heading), figures=True)
    named = {axis for word in words if len(word) > 1 and (axis := _axis(word)) in ("easting", "northing")}
    if named:
        return named.pop() if len(named) == 1 else ""
    rest = [word for word in words if word not in LENGTHS_SAID and not _ALONE.fullmatch(word)]
    if len(rest) != 1 or plain_letters(heading) != heading:
        return ""
    return _axis(rest[0])


def _axis(word: str) -> Axis:
    together = None if _ALONE.fullmatch(word) else _TOGETHER.fullmatch(word)
    for each in (word, together["axis"] if together else word):
        if each not in LONGITUDE | LATITUDE and (axis := _MORE.get(each) or _AXES.get(side_of_word(each), "")):
            return axis
    return ""
