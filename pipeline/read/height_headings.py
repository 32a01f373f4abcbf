"""What the heading of a column of heights says of them, without a doubt: of which surface they are above."""

import re
import unicodedata
from enum import StrEnum
from itertools import pairwise


class Kind(StrEnum):
    """What the numbers of a column are, by its heading."""

    ELLIPSOIDAL = "ellipsoidal heights"
    LEVEL = "heights above a height datum"
    SEPARATION = "geoid separations"


_HEIGHT = (
    r"(h|hts?|hgts?|heights?|elev|elevations?|alt|altitudes?|z|up|"
    r"altura|altezza|hohe|hoehe|hauteur|hoogte|hojd|quota|cota)"
)
#: Words of a heading that say so in the languages of the trade, as they stand alone.
_SAYS = {
    Kind.ELLIPSOIDAL: re.compile(rf"h_?ell|h?ell(ipsoid|ipsoidal)?{_HEIGHT}|hae"),
    Kind.LEVEL: re.compile(
        r"hort|h?ort(h|ho|om.*)|orth?o(m.*|h|ht|hgt|hts|height|elev.*)|h?a?msl(ht|height)?|navd\d*|ngvd\d*|nhn|dhhn\d*|"
        r"ahd|nzvd\d*|evrf\d*|evrs|nap|nap\d*|odn|ngf|ign69|egm\d+|nn2000|rh2000|n2000|cgvd\d*|meereshohe|meereshoehe"
    ),
    Kind.SEPARATION: re.compile(r"undulations?|ondulations?|geoid(al)?(sep|separation|ht|hgt|height)|geosep"),
}
_SAYS_HEIGHT = re.compile(_HEIGHT)
#: Words that say of heights beside them that they are above the ellipsoid; an error ellipse is none of them.
_OF_ELLIPSOID = re.compile(r"ell|ellips|ellipsoid.*|elipsoid.*|ellissoid.*")
_GEOID = re.compile(r"(quasi)?geoid(e|al)?")
_SEPARATES = re.compile(r"sep|separation|undulations?|ondulations?|n")
#: A geoid that heights are above, as the words before it say, or those after it.
_ABOVE = re.compile(r"above|over|to|from|on|wrt|referred|uber|ueber|u|sobre|sur|dessus|sul|sopra|boven")
_ARTICLES = re.compile(r"the|a|dem|el|le|du|il|het|de|quasi")
_CORRECTED = re.compile(r"corrected|corr|based|referenced|reduced|applied|korrigiert|corrige|corregid[ao]|corretta")
#: Words that take back what the others say, and those of numbers that are no heights.
_NOT = re.compile(r"no|not|non|without|excl|excluding|minus|less|ohne|sans|sin|senza|kein")
_NO_HEIGHT = re.compile(
    r"err|errors?|sigma|sd|std|stdev|stddev|rms|acc|accuracy|prec|precision|uncertainty|quality|names?|type|model|id|"
    r"dist|distance|diff|difference|delta|semi|major|minor|axis|ellipses?"
)
#: Words of a heading that say that the height is not the row's own point's.
_ELSEWHERE = re.compile(r"base|bases|ref|reference|master|antenna|ant|design|target")
#: Words that mostly say a height datum, and that many programs write over heights of any kind.
_MOSTLY_LEVEL = re.compile(r"elev(ation|ations|s)?|elv|rl|reducedlevel")


def kind_said(heading: str) -> Kind | None:
    """Return what a heading says of the heights below it; None where it says nothing, or more than one thing."""
    plain = _plain(heading)
    if re.fullmatch(r"N(\s*[(\[]\w*[)\]])?", plain.strip()):
        return Kind.SEPARATION
    parts, words = _parts(plain), _words(plain)
    if _any(_NOT, words) or _any(_NO_HEIGHT, words):
        return None
    found = {kind for kind, says in _SAYS.items() for word in words if says.fullmatch(word)}
    ellipsoid = _any(_OF_ELLIPSOID, words)
    if ellipsoid and (parts == ["ellipsoidal"] or _any(_SAYS_HEIGHT, words)):
        found.add(Kind.ELLIPSOIDAL)
    if Kind.SEPARATION in found and _any(_CORRECTED, words):  # of what was corrected, or with what, is open
        return None
    if _any(_GEOID, words):
        if _any(_SEPARATES, words) and not _any(_CORRECTED, words):
            return Kind.SEPARATION
        if ellipsoid or Kind.ELLIPSOIDAL in found:  # which of the two surfaces the number is above is open
            return None
        if _above_geoid(plain, parts):
            found = {*found - {Kind.SEPARATION}, Kind.LEVEL}
        elif Kind.SEPARATION in found and _bracketed(plain):  # "Height (geoid height)"
            return None
    if found == {Kind.LEVEL, Kind.SEPARATION}:  # "EGM96 geoid height"
        found = {Kind.SEPARATION}
    return found.pop() if len(found) == 1 else None


def kind_beside(heading: str) -> Kind | None:
    """Return the same of a column beside the mapped one; None too where its heights are another point's."""
    return None if _any(_ELSEWHERE, _words(_plain(heading))) else kind_said(heading)


def mostly_level(heading: str) -> bool:
    """Tell whether a heading is one that is usual for heights above a height datum, and found over others too."""
    return _any(_MOSTLY_LEVEL, _words(_plain(heading)))


def _above_geoid(plain: str, parts: list[str]) -> bool:
    """Tell whether a heading that names the geoid says that its heights are above it."""
    if _any(_CORRECTED, parts):
        return True
    at = next((place for place, part in enumerate(parts) if _GEOID.fullmatch(part)), 0)
    before = [part for part in parts[:at] if not _ARTICLES.fullmatch(part)]
    if before and _ABOVE.fullmatch(before[-1]):
        return True
    return _bracketed(plain) and not _any(_SAYS_HEIGHT, parts[at:])


def _bracketed(plain: str) -> bool:
    """Tell whether a heading names the geoid in brackets beside a word for height."""
    outside = _words(re.sub(r"[(\[{][^)\]}]*[)\]}]?", " ", plain))
    return not _any(_GEOID, outside) and _any(_SAYS_HEIGHT, outside)


def _any(says: re.Pattern[str], words: list[str]) -> bool:
    return any(says.fullmatch(word) for word in words)


def _plain(heading: str) -> str:
    """Return a heading without the accents of its letters."""
    apart = unicodedata.normalize("NFKD", heading)
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


def _parts(heading: str) -> list[str]:
    """Return the words of a heading in small letters and in order, "OrthoHt" being two."""
    found = re.findall(r"[A-ZÀ-Þ]+(?![a-zß-ÿ])\d*|[A-ZÀ-Þ]?[a-zß-ÿ]+\d*|\d+", heading)
    return [part.casefold() for part in found]


def _words(heading: str) -> list[str]:
    """Return the words of a heading in small letters, "OrthoHt" being two, and neighbours joined besides."""
    parts = _parts(heading)
    whole = [word.casefold() for word in re.split(r"[\W_]+", heading) if word]
    return [*parts, *whole, *(one + other for one, other in pairwise(parts))]
