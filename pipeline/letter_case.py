"""Names, codes and words as two are compared: upper and lower case alike, and however their accents are encoded.

One definition serves texts and columns, as every library has its own view of the letters that are no pair of a capital
and a small one: of İ and ı, of Σ and the ς at the end of a word, of ß. Where it is applied to both sides they cannot
differ.
"""

import unicodedata

#: i with the dot of a capital İ set apart, as small letters are made of it, and an i without one, whose capital is I.
_DOTTED, _DOTLESS = "i\u0307", "ı"


def folded(text: str | None) -> str:
    """Return a text as it is compared, without blanks around it; "" for none.

    That is Unicode's default caseless matching of canonical equivalents, with all four letters i alike: programs
    write İ, I, i and ı for one another, as their language is set.
    """
    text = (text or "").strip()
    return text.lower() if text.isascii() else fold_letters(text)


def fold_letters(text: str) -> str:
    """Return a text as `folded` has it, with its blanks; each letter by itself, so that texts may be folded in one."""
    small = one_form(text).casefold().replace(_DOTTED, "i").replace(_DOTLESS, "i")
    return one_form(small)


def one_form(text: str) -> str:
    """Return a text with every accent in the letter that it belongs to (Unicode's form C); case stays."""
    return unicodedata.normalize("NFC", text)
