"""Names for layers made of what people type: cleaned to what a format allows, and told apart where they meet."""

import re
import unicodedata
from collections.abc import Iterable

#: What signs are called that serve as codes; others have the name by which the standard of characters lists them.
_CALLED = {
    "+": "plus", "-": "minus", "*": "star", "#": "hash", "?": "question", "!": "exclamation", ".": "dot", ",": "comma",
    ":": "colon", ";": "semicolon", "/": "slash", "\\": "backslash", "|": "bar", "_": "underscore", "=": "equals",
    "<": "less", ">": "greater", "&": "and", "@": "at", "%": "percent", "$": "dollar", "^": "caret", "~": "tilde",
    "'": "apostrophe", '"': "quote", "`": "backquote",
}  # fmt: skip
_NOT_WORD = re.compile(r"\W+")

_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+")


def one_line(text: str) -> str:
    """Return a text with line breaks and other control characters as single spaces."""
    return _CONTROL.sub(" ", text)


def shortened(text: str, longest: int) -> str:
    """Return a text cut to ``longest`` bytes of UTF-8, which is what readers of drawings and tables count."""
    if len(text) <= longest // 4:  # no character takes more than four
        return text
    return text.encode()[:longest].decode(errors="ignore")


def cleaned(text: str, unwanted: re.Pattern[str], longest: int) -> str:
    """Return a text with runs of what is ``unwanted`` as an underscore, cut to so many bytes, without outer blanks."""
    return shortened(unwanted.sub("_", one_line(text).strip()), longest).strip()


def signs_in_words(text: str, longest: int) -> str:
    """Return what the signs of a text are called, such as "plus" or "question_question", cut to so many bytes."""
    called = (
        _CALLED.get(sign) or unicodedata.name(sign, f"u{ord(sign):04x}").lower() for sign in "".join(text.split())
    )
    return shortened("_".join(_NOT_WORD.sub("_", name) for name in called), longest).strip("_")


def unique_name(wanted: Iterable[str], taken: Iterable[str] = ()) -> list[str]:
    """Return a name for each one wanted: itself, or with a number where it is taken; case makes no difference."""
    used = {name.casefold() for name in taken}
    given = []
    for stem in wanted:
        name, count = stem, 1
        while name.casefold() in used:
            count += 1
            name = f"{stem}_{count}"
        used.add(name.casefold())
        given.append(name)
    return given
