"""The words of a heading, whatever language and case it is written in."""

import re
import unicodedata

#: Letters that are no letter and accent to Unicode, as they are written without.
_LETTERS = str.maketrans(
    {"ß": "ss", "ø": "o", "Ø": "O", "æ": "ae", "Æ": "Ae", "œ": "oe", "Œ": "Oe", "ł": "l", "Ł": "L", "ı": "i"}
    | {"đ": "d", "Đ": "D"}
)
#: Where a word begins within letters: a capital behind a small letter, and the last of several before a small one.
#: Letters of scripts without capitals count as small.
_BEGINS = re.compile(r"(?<=[^\W\d_A-Z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z][^\W\d_A-Z])")


def plain_letters(text: str) -> str:
    """Return a text without the accents of its letters."""
    apart = unicodedata.normalize("NFKD", text.translate(_LETTERS))
    return "".join(letter for letter in apart if not unicodedata.combining(letter))


def set_apart(heading: str) -> str:
    """Return a heading with a blank where a capital begins a word: "Ortho Ht" of "OrthoHt", "UTC Offset"."""
    return _BEGINS.sub(" ", heading)
