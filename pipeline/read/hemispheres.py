"""Letters of hemispheres in a column of their own: what they say of the signs of the degrees beside them."""

import re
from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Floats
from pipeline.files.heading_words import plain_letters, run_together
from pipeline.files.hemisphere_headings import Side, words_for

#: Letters and words of a side, small and without accents; "o" is the west in some languages and the east in others.
_NORTH, _SOUTH = {"n", *words_for(Side.NORTH)}, {"s", *words_for(Side.SOUTH)}
_EAST, _WEST = {"e", *words_for(Side.EAST)}, {"w", *words_for(Side.WEST)}
_EITHER = {"o"}
#: Headings of such columns, the rest of their words left out.
_CALLED = re.compile(
    r".*hemi.*|(?:lat|latitude|lon|long|longitude)?hem|(?:lat|latitude)?(?:ns|sn)|(?:lon|long|longitude)?(?:ew|we|eo|oe|wo|ow)"
    r"|(?:lat|latitude|lon|long|longitude)(?:dir|direction|ref)|(?:ns|ew)indicator"
    r"|northsouth|eastwest|nordsud|estouest|ostwest|nortesur|esteoeste"
)
#: Degrees from the equator or from Greenwich within which one job has both letters.
BOTH = 2.0


def is_hemisphere(heading: str) -> bool:
    """Tell whether a heading is one of a column of hemispheres: E/W, Hemisphere, LonRef."""
    return _CALLED.fullmatch(run_together(heading)) is not None


def axis_of_letters(texts: Sequence[str]) -> str | None:
    """Return "latitude" or "longitude" where a column holds letters of hemispheres alone, else None."""
    there = {_plain(text) for text in texts if text}
    if there and there <= _NORTH | _SOUTH:
        return "latitude"
    return "longitude" if there and there <= _EAST | _WEST | _EITHER else None


def against_signs(degrees: Floats, letters: Sequence[str]) -> bool:
    """Tell whether degrees (n,) lack the sign that the letters beside them say, or may lack it."""
    folded = np.array([_plain(text) for text in letters], object)
    there = {*folded.tolist()} - {""}
    # beside an E it is the west, beside a W the east; alone it may be either
    below = _SOUTH | _WEST | (_EITHER if "e" in there or "w" not in there else set())
    minus = np.isin(folded, list(below))
    above = np.isin(folded, list((_NORTH | _EAST | _EITHER) - below))
    with np.errstate(invalid="ignore"):
        return bool(((degrees > 0) & minus).any() or ((degrees < 0) & above).any())


def _plain(text: str) -> str:
    return plain_letters(text.strip()).casefold()
