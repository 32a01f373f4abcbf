"""What the heading of a column of heights says of them, without a doubt: of which surface they are above."""

import re
from enum import StrEnum
from itertools import pairwise


class Kind(StrEnum):
    """What the numbers of a column are, by its heading."""

    ELLIPSOIDAL = "ellipsoidal heights"
    LEVEL = "heights above a height datum"
    SEPARATION = "geoid separations"


#: Words of a heading that say so in the languages of the trade, as they stand alone.
_SAYS = {
    Kind.ELLIPSOIDAL: re.compile(r"h?ell(h|ht|hgt|height|hohe|hoehe|ip.*)?|elips.*|elliss.*|hae"),
    Kind.LEVEL: re.compile(
        r"h?ort(h|ho|om.*)|orth?o(m.*|h|ht|hgt|hts|height|elev.*)|h?a?msl(ht|height)?|navd\d*|ngvd\d*|nhn|dhhn\d*|ahd|"
        r"nzvd\d*|evrf\d*|evrs|nap|nap\d*|odn|ngf|ign69|egm\d+|nn2000|rh2000|n2000|cgvd\d*|meereshohe|meereshoehe"
    ),
    Kind.SEPARATION: re.compile(r"geoid(al)?|quasigeoid|undulations?|ondulations?|geoidsep|geoidh|geosep"),
}
#: Words that mostly say a height datum, and that many programs write over heights of any kind.
_MOSTLY_LEVEL = re.compile(r"elev(ation|ations|s)?|elv|rl|reducedlevel")


def kind_said(heading: str) -> Kind | None:
    """Return what a heading says of the heights below it; None where it says nothing, or more than one thing."""
    found = {kind for kind, says in _SAYS.items() for word in _words(heading) if says.fullmatch(word)}
    if found == {Kind.LEVEL, Kind.SEPARATION}:  # "EGM96 geoid height"
        found = {Kind.SEPARATION}
    return found.pop() if len(found) == 1 else None


def mostly_level(heading: str) -> bool:
    """Tell whether a heading is one that is usual for heights above a height datum, and found over others too."""
    return any(_MOSTLY_LEVEL.fullmatch(word) for word in _words(heading))


def _words(heading: str) -> list[str]:
    """Return the words of a heading in small letters, "OrthoHt" being two, and neighbours joined besides."""
    parts = re.findall(r"[A-ZÀ-Þ]+(?![a-zß-ÿ])\d*|[A-ZÀ-Þ]?[a-zß-ÿ]+\d*|\d+", heading)
    words = [part.casefold() for part in parts]
    whole = [word.casefold() for word in re.split(r"[\W_]+", heading) if word]
    return [*words, *whole, *(one + other for one, other in pairwise(words))]
