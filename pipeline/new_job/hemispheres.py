"""Letters of hemispheres in columns of their own, held against the signs of the degrees beside them."""

from collections.abc import Mapping, Sequence

import numpy as np

from pipeline.arrays import Floats

#: Letters and words of a side, small; "o" is the west in some languages and the east in others.
_NORTH, _SOUTH = ("n", "north", "nord", "norte"), ("s", "south", "sud", "süd", "sur", "sul")
_EAST, _WEST = ("e", "east", "est", "este", "ost", "oost"), ("w", "west", "ouest", "oeste", "ovest")
_EITHER = ("o",)


def axis_of_letters(texts: Sequence[str]) -> str | None:
    """Return "latitude" or "longitude" where a column holds letters of hemispheres alone, else None."""
    there = {text.strip().casefold() for text in texts if text}
    if there and there <= {*_NORTH, *_SOUTH}:
        return "latitude"
    return "longitude" if there and there <= {*_EAST, *_WEST, *_EITHER} else None


def against_signs(degrees: Floats, letters: Sequence[str]) -> bool:
    """Tell whether degrees (n,) lack the sign that the letters beside them say, or may lack it."""
    folded = np.array([text.strip().casefold() for text in letters], object)
    there = {*folded.tolist()} - {""}
    # beside an E it is the west, beside a W the east; alone it may be either
    below = {*_SOUTH, *_WEST} | ({"o"} if "e" in there or "w" not in there else set())
    minus = np.isin(folded, list(below))
    above = np.isin(folded, list({*_NORTH, *_EAST, *_EITHER} - below))
    with np.errstate(invalid="ignore"):
        return bool(((degrees > 0) & minus).any() or ((degrees < 0) & above).any())


def lacking(columns: Mapping[str, Sequence[str]], degrees: Mapping[str, Floats]) -> list[str]:
    """Return the headings whose letters say other signs than the degrees have.

    Args:
        columns: the texts of columns that hold letters alone, by their headings.
        degrees: (n,) longitudes and latitudes as they are read, by our words.
    """
    return [
        name
        for name, texts in columns.items()
        if (axis := axis_of_letters(texts)) is not None and axis in degrees and against_signs(degrees[axis], texts)
    ]
