"""The words of a heading, whatever language and case it is written in.

Whoever judges headings takes them apart by this, and says what of it differs for what it looks for.
"""

import re
import unicodedata

#: Letters that are no letter and accent to Unicode, as they are written without.
_LETTERS = str.maketrans(
    {"ß": "ss", "ẞ": "SS", "ø": "o", "Ø": "O", "æ": "ae", "Æ": "Ae", "œ": "oe", "Œ": "Oe", "ł": "l", "Ł": "L", "ı": "i"}
    | {"đ": "d", "Đ": "D"}
)
#: All letters but those of scripts without capitals: Hebrew and all behind it, once the accents are off. Greek and
#: Cyrillic ones are among them, as the sign of "σE" belongs to the letter behind it.
_CASED = r"\u0000-\u058f"
#: Where a word begins within letters: a capital behind a small letter, the last of several before a small one, and
#: where Latin letters stand beside those of a script without capitals. A class of the other letters, up to the last
#: there is, would take six times as long to compile.
_BEGINS = re.compile(
    rf"(?<=[^\W\d_A-Z])(?=[A-Z])|(?<=[A-Z])(?=[A-Z](?=[{_CASED}])[^\W\d_A-Z])"
    rf"|(?<=[A-Za-z])(?=[^\W\d_{_CASED}])|(?<=[^\W\d_{_CASED}])(?=[a-z])"
)
#: N° and its like: a number, where N alone is the north.
_NUMBER_SIGN = re.compile(r"\bn\s?[°º˚]", re.IGNORECASE)


def plain_letters(text: str) -> str:
    """Return a text without the accents of its letters, in Unicode's form C.

    Hangul, which comes apart into its letters as accents come off, is put together again.
    """
    apart = unicodedata.normalize("NFKD", text.translate(_LETTERS))
    return unicodedata.normalize("NFC", "".join(letter for letter in apart if not unicodedata.combining(letter)))


def set_apart(heading: str) -> str:
    """Return a heading with a blank where a word begins: "Ortho Ht" of "OrthoHt", "UTC Offset", "UTC 時間"."""
    return _BEGINS.sub(" ", heading)


def with_numbers(heading: str) -> str:
    """Return a heading with "No" for the sign of a number: "No point" of "N° point"."""
    return _NUMBER_SIGN.sub("No ", heading)


def words_as_written(heading: str, *, figures: bool = False, capitals: bool = True, signs: str = "") -> list[str]:
    """Return the words of a heading without accents, in the case in which they are written; see `words_of`."""
    plain = plain_letters(heading)
    word = r"[^\W_]+" if figures else r"[^\W\d_]+"
    return re.findall(f"{word}|[{re.escape(signs)}]" if signs else word, set_apart(plain) if capitals else plain)


def words_of(heading: str, *, figures: bool = False, capitals: bool = True, signs: str = "") -> list[str]:
    """Return the words of a heading in small letters without accents, those in brackets and units too.

    Args:
        heading: as it stands in the file.
        figures: whether figures are of the words ("hu95"), or part them and are left out ("Min_2" is "min").
        capitals: whether words begin within letters as `set_apart` has it ("LatDeg" is two); not where one letter of
            "dX" or "sE" would be taken for an axis.
        signs: those that are words too, each of its own.
    """
    written = words_as_written(heading, figures=figures, capitals=capitals, signs=signs)
    return [word.casefold() for word in written]


def run_together(heading: str) -> str:
    """Return the letters and figures of a heading alone, small and without accents: "pointno" of "Point No."."""
    return "".join(words_of(heading, figures=True, capitals=False))
