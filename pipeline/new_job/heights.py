"""What the headings of heights say: above the ellipsoid, above a height datum, or neither."""

import re
from functools import lru_cache

from pipeline.geodesy.nearby import height_datum_words
from pipeline.new_job.headings import CALLED, bare, is_known, words_of

#: Parts of headings that say ellipsoid, in the languages of the trade.
_ELLIPSOID = re.compile(r"h?ell|h?ell?ip.*|elliss.*|elips.*|hae|wgs84|grs80")
#: Parts that say a level surface, and parts that stand between without saying anything.
_LEVEL_WORDS = """
    msl amsl level levels sea mean ortho orthometric orthometrique orthometrisch orthometrische ortometrica ortometrico
    ortometryczna orthometrisk normal normale reduced elev elevation datum nn nhn ngf nap snm slm npm bpv navd ngvd
"""
_BETWEEN_WORDS = "above over the of a at in u ue uber ueber t o v op boven sur au dessus del de la sobre sopra"
_UNIT_WORDS = "m metre meter metres meters ft feet foot usft ftus sft us survey int cm mm"
_LEVEL, _BETWEEN, _UNITS = (frozenset(words.split()) for words in (_LEVEL_WORDS, _BETWEEN_WORDS, _UNIT_WORDS))
#: What makes no column a height by its name alone: models of a geoid (a column of theirs holds separations), tides.
_NOT_ALONE = re.compile(r"egm.*|lat|hat|geoid.*|ina.*")


def height_said(heading: str) -> str | None:
    """Return what a heading says of heights: "ellipsoid", "level" (above a height datum), ""; None for no height.

    What stands in brackets counts: "Height (ellipsoidal)", "Z [NAVD88, ft]".
    """
    parts = words_of(heading)
    said = [part for part in parts if part not in _UNITS] or parts
    for word, says in (("ellipsoid_height", "ellipsoid"), ("level", "level"), ("height", "")):
        if "".join(said) in CALLED[word] or (len(said) == 1 and bare(heading) in CALLED[word]):
            return says
    if any(part in ("geoid", "undulation", "separation") for part in said):
        return None
    kinds = {_kind(part) for part in said if part not in _BETWEEN}
    if None in kinds or not kinds:
        return _beside(heading, kinds)
    if len(said) == 1:
        return "level" if said[0] in _alone() else None
    if "ellipsoid" in kinds:
        return "ellipsoid" if kinds <= {"ellipsoid", "height"} or {"elev", "elevation"} & set(said) else None
    if "height" not in kinds and not any(part in CALLED["level"] or part in _alone() for part in said):
        return None
    return "level" if {"level", "datum"} & kinds else ""


#: Parts of headings that say separation of the geoid from the ellipsoid, and headings that do as a whole.
_SEPARATES = re.compile(
    r"geoid\w*|quasigeoid\w*|ge[oó]ide|undulat\w*|ondul\w*|undulac\w*|undulaz\w*|anomal(?:y|ie|ia)|geoidi\w*|egm\d*"
)
_AS_A_WHOLE = frozenset(("n", "zeta", "separation", "sep", "geosep", "nsep"))
#: The geoid lies so near to the ellipsoid, metres: published extremes are -107 and 86.
FARTHEST = 110.0


def is_separation(heading: str) -> bool:
    """Tell whether a heading may be of separations of a geoid: "Geoid separation", "Undulation", "N"."""
    if height_said(heading) is not None:
        return False
    return bare(heading) in _AS_A_WHOLE or any(_SEPARATES.fullmatch(part) for part in words_of(heading))


def _beside(heading: str, kinds: set[str | None]) -> str | None:
    """Return what a heading says with words in brackets that are not known: its own word, and what is known there."""
    if bare(heading) not in CALLED["height"]:
        return None
    return "ellipsoid" if "ellipsoid" in kinds else "level" if {"level", "datum"} & kinds else ""


def _kind(part: str) -> str | None:
    """Return what a part of a heading is: of a height, of the ellipsoid, of a level, of a datum's name; else None."""
    if part in CALLED["height"]:
        return "height"
    if _ELLIPSOID.fullmatch(part) or part in CALLED["ellipsoid_height"]:
        return "ellipsoid"
    if part in _LEVEL or part in CALLED["level"]:
        return "level"
    return "datum" if part in _datums() else None


@lru_cache(maxsize=1)
def _datums() -> frozenset[str]:
    found = {word.casefold() for word in height_datum_words() if len(word) > 2}
    found |= {word.rstrip("0123456789") for word in found if len(word.rstrip("0123456789")) > 3}
    return frozenset(word for word in found if not is_known(word))


@lru_cache(maxsize=1)
def _alone() -> frozenset[str]:
    """Return the abbreviations of height datums that stand for a height without another word: "AHD", "NAVD88"."""
    short = {word.casefold() for word in height_datum_words() if re.fullmatch(r"[A-Z]{3,}\d*|[A-Z]{1,2}\d{2,4}", word)}
    return frozenset(word for word in short if not is_known(word) and not _NOT_ALONE.fullmatch(word))
