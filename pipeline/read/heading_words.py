"""The words of a heading, whatever language and case it is written in."""

import re
import unicodedata

#: Letters that are no letter and accent to Unicode, as they are written without.
_LETTERS = str.maketrans(
    {"ß": "ss", "ø": "o", "Ø": "O", "æ": "ae", "Æ": "Ae", "œ": "oe", "Œ": "Oe", "ł": "l", "Ł": "L", "ı": "i", "đ": "d"}
)
#: Where a word begins within letters: a capital behind a small letter, and the last of several before a small one.
_BEGINS = re.compile(r"(?<=[a-z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][a-z])")


def plain_letters(text: str) -> str:
    """Return a text without the accents of its letters."""
    apart = unicodedata.normalize("NFKD", text.translate(_LETTERS))
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


def set_apart(plain: str) -> str:
    """Return a heading without accents with a blank where capitals part its words: "Ortho Ht", "UTC Offset"."""
    return _BEGINS.sub(" ", plain)
