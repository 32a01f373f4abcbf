"""The names nearest to one that is not there, for a message: only what is really near, so that none misleads."""

import difflib
import os
import re
import unicodedata
from collections.abc import Iterable

#: So much of two spellings has to agree (`difflib`'s ratio); below it lie words that merely share letters.
_ALIKE = 0.75

#: A name that begins or ends another one is near it from this length on: "Lat" and "Latitude".
_PIECE = 3

#: What may stand between the signs of a name and tells no two apart.
BETWEEN = r"[\s_./-]+"

#: Listed names beyond these are only counted.
_LISTED = 12


def plain(text: str) -> str:
    """Return a name as it is compared: in small letters, one Unicode form, any blanks (hard ones too) as one."""
    return " ".join(unicodedata.normalize("NFKC", text).replace("\ufeff", " ").casefold().split())


def nearest(word: str, known: Iterable[str], most: int = 3) -> list[str]:
    """Return up to ``most`` of ``known`` that are spelled nearly like ``word``, the likeliest first.

    Names that differ in a figure are other names ("CM7" is not "CM1" misspelled), unless figures changed places or
    got lost.
    """
    if not plain(word):
        return []
    found = []
    for name in dict.fromkeys(known):
        worth = _worth(_bare(word), _bare(name))
        if worth >= _ALIKE:
            found.append((-worth, name))
    return [name for _, name in sorted(found)[:most]]


def misspelled(word: str, known: Iterable[str], most: int = 3) -> list[str]:
    """Return up to ``most`` of ``known`` that ``word`` may be meant for: the nearest, then those one letter off.

    "TM1" is one letter off "CM1", as a slip of the keyboard or the ear is; it may as well be a name of its own.
    """
    every = list(dict.fromkeys(known))
    found = nearest(word, every, most)
    found += [name for name in every if name not in found and _one_letter_off(_bare(word), _bare(name))]
    return found[:most]


def _one_letter_off(word: str, name: str) -> bool:
    """Tell whether two names of the same figures differ in one letter: another, one more, one less, or two swapped."""
    short, long = sorted((word, name), key=len)
    if not _same_figures(word, name) or re.sub(r"\D", "", word) != re.sub(r"\D", "", name) or len(long) < _PIECE:
        return False
    if len(short) != len(long):
        return any(short == long[:at] + long[at + 1 :] for at in range(len(long)))
    unlike = [at for at, (one, other) in enumerate(zip(short, long, strict=True)) if one != other]
    swapped = len(unlike) == 2 and unlike[1] == unlike[0] + 1 and sorted(short) == sorted(long)
    return len(unlike) == 1 or swapped


def beside(path: str) -> list[str]:
    """Return the files in a path's folder whose names are nearly like its own, with or without an ending."""
    at, name = os.path.split(path)
    try:
        there = sorted(entry.name for entry in os.scandir(at or ".") if entry.is_file())
    except OSError:
        return []
    bare = {os.path.splitext(each)[0]: each for each in there}
    return nearest(name, there) or [bare[each] for each in nearest(name, bare)]


def listed(names: Iterable[str], sign: str = "") -> str:
    """Return names as a list in words, each between ``sign``; of many the first and how many more there are."""
    every = list(dict.fromkeys(names))
    shown = [f"{sign}{name}{sign}" for name in every[:_LISTED]]
    return ", ".join(shown) + and_more(len(every) - _LISTED)


def and_more(left: int, before: str = " ") -> str:
    """Return how many there are besides those of a list that are told: " and 3 more"; "" where none is left."""
    return f"{before}and {left:,} more" if left > 0 else ""


def _bare(name: str) -> str:
    return re.sub(BETWEEN, " ", plain(name)).strip()


def _worth(word: str, name: str) -> float:
    if word.replace(" ", "") == name.replace(" ", ""):
        return 1.0
    if not _same_figures(word, name):
        return 0.0
    short, long = sorted((word, name), key=len)
    if len(short) >= _PIECE and (long.startswith(short) or long.endswith(short)) and len(long) <= 3 * len(short):
        return max(_ALIKE, len(short) / len(long))
    matcher = difflib.SequenceMatcher(None, name, word, autojunk=False)
    return matcher.ratio() if matcher.real_quick_ratio() >= _ALIKE and matcher.quick_ratio() >= _ALIKE else 0.0


def _same_figures(word: str, name: str) -> bool:
    mine, its = (re.sub(r"\D", "", text) for text in (word, name))
    return sorted(mine.lstrip("0")) == sorted(its.lstrip("0")) or len(mine) != len(its)
