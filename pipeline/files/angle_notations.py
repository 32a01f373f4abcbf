"""Headings of angles that state a notation or a unit which no number is read in: gon, packed minutes, parts apart."""

import re
from collections.abc import Sequence
from functools import lru_cache

from pipeline.files.heading_words import plain_letters, words_of

#: Words of a heading, and the unit that they say. "Grad" is gon in English and degrees in German (see `_DEGREES_SO`).
_UNITS = {
    **dict.fromkeys(("gon", "gons", "gr", "gra", "grad", "grads", "grade", "grades", "gradian", "gradians"), "gon"),
    **dict.fromkeys(("rad", "rads", "radian", "radians", "radiant", "radianti", "radianes", "radiaal"), "radians"),
    **dict.fromkeys(("mil", "mils"), "mils"),
    **dict.fromkeys(("arcsec", "arcsecs", "arcsecond", "arcseconds", "mas"), "seconds of arc"),
    **dict.fromkeys(("arcmin", "arcmins", "arcminute", "arcminutes"), "minutes of arc"),
}
#: Longitude and latitude in languages in which "Grad" is a degree; and where the bare word may be one or the other:
#: what is gon all the same then lies in another country, and no check agrees.
#: So are sexagesimal ones anywhere, as in "gr. sex.".
_DEGREES_SO = re.compile(r"lae?nge|breite|bredd|l(?:ae?|e)ngd|\bsex(?:ag\w*)?\b")
#: The sign of a gon, which is no letter of a word.
_GON = "ᵍ"
_EITHER = re.compile(r"l(?:at|ong)itud")
#: Degrees with minutes, or minutes and seconds, in the same run of figures, with a point between: D.MMSS, DDMM.mm.
_PACKED = re.compile(r"(?<![a-z])(?:d{1,3}\.m{2}\.?s*|d{1,3}m{2}(?:s{2})?\.[ms]+|d{2,3}m{2})(?![a-z])")
#: Words of the three parts of an angle, each in a column of its own.
_PARTS = (
    frozenset(
        [
            "deg",
            "degs",
            "degree",
            "degrees",
            "degre",
            "degres",
            "d",
            "dd",
            "°",
            "grad",
            "grade",
            "grados",
            "graus",
            "grader",
        ]
    ),
    frozenset(
        ["min", "mins", "minute", "minutes", "m", "mm", "minuten", "minutos", "minuti", "minutter", "minuter", "'"]
    ),
    frozenset(
        [
            "sec",
            "secs",
            "second",
            "seconds",
            "s",
            "ss",
            "sek",
            "seg",
            "segs",
            "sekunden",
            "segundos",
            "secondi",
            "secondes",
            '"',
        ]
    ),
)


#: Words beside which "min" means the least.
_WORDS_FOR_EXTREMES = frozenset(["max", "maximum", "mean", "avg"])


#: What to do where an angle is written as nothing reads it.
TO_DEGREES = "export it in decimal degrees; if its numbers are decimal degrees after all, rename the heading"
PARTS_FIX = "export decimal degrees in one column, or the whole angle in one, as 36 50 12.345 S"


def unread_notation(heading: str, *, dms: bool) -> str | None:
    """Return what the heading of an angle says against what is read, decimal degrees or, if stated, ``dms``.

    None where it says nothing, or what is read.
    """
    if _GON in heading:
        return "states gon, but degrees are expected"
    words = _words(heading)
    for word in words[1:]:
        unit = _UNITS.get(word)
        text = plain_letters(heading).casefold()
        degrees = (word.startswith("gr") and _DEGREES_SO.search(text)) or (word == "grad" and _EITHER.search(text))
        if unit is not None and not degrees:
            return f"states {unit}, but degrees are expected"
    if not dms and (packed := _PACKED.search(heading.casefold())):
        return f"states degrees and minutes in one number ({packed[0].upper()}), but decimal degrees are expected"
    return None


def parts_problem(parts: Sequence[str]) -> str:
    """Return what is wrong with an angle of which there are parts in other columns."""
    told = " and ".join(f'"{name}"' for name in parts)
    return f"holds only degrees, with the rest in {told}: parts of an angle are not combined"


def parts_fix(heading: str, parts: Sequence[str]) -> str:
    """Return how the parts of an angle in columns of their own become one column, which is read."""
    sums = [f'"{heading}"', *(f'"{name}" / {by}' for name, by in zip(parts, (60, 3600), strict=False))]
    return (
        f"export decimal degrees in one column, or make one in a spreadsheet: {' + '.join(sums)} with 9 decimals, minus"
        " before the whole sum, not the degrees alone, in the south and west; or one of whole angles, as 36 50 12.345 S"
    )


def split_into_parts(heading: str, names: Sequence[str]) -> tuple[str, ...]:
    """Return the columns in which minutes, and seconds, of the angle under a heading stand; () where there are none.

    ``names`` are all columns in the file's order. "Lat deg" has them in "Lat min" and "Lat sec", "Lat" in both, or in
    columns behind it that are called by their parts alone; "Lat min" beside "Lat max" is none.
    """
    if heading not in names:
        return ()
    stem = _stem(heading, _PARTS[0])
    at = names.index(heading)
    minutes, seconds = (
        next((name for place, name in enumerate(names) if _is_part(name, place - at - behind, stem, part)), None)
        for behind, part in ((1, _PARTS[1]), (2, _PARTS[2]))
    )
    found = tuple(name for name in (minutes, seconds) if name is not None)
    degrees_said = stem != _words(heading)
    if len(found) == 2:
        # "Lat M" and "Lat S" may be metres and a sigma
        letters = all(len(word) == 1 for name in found for word in _words(name)[-1:])
        return found if degrees_said or not letters else ()
    # minutes alone: of decimals, called as a heading is that says degrees; "Lat m" may be metres, "Min" anything
    if minutes is None or not degrees_said or _stem(minutes, _PARTS[1]) != stem or not stem:
        return ()
    most = any(_stem(name, _WORDS_FOR_EXTREMES) == stem != _words(name) for name in names)
    return () if most or {"m", "mm"} & set(_words(minutes)) else found


def _is_part(name: str, away: int, stem: tuple[str, ...], words: frozenset[str]) -> bool:
    """Tell whether a column is called as an angle and its part, or stands behind it and is called as a part alone."""
    rest = _stem(name, words)
    return rest != _words(name) and (rest == stem or (not rest and away == 0))


def _stem(heading: str, part: frozenset[str]) -> tuple[str, ...]:
    """Return a heading's words without those of a part, if any."""
    return tuple(word for word in _words(heading) if word not in part)


@lru_cache(maxsize=4096)
def _words(heading: str) -> tuple[str, ...]:
    """Return the words of a heading, and signs of degrees, minutes and seconds.

    Every column is held against every other for each angle of a file.
    """
    return tuple(words_of(heading, signs="°'\""))
