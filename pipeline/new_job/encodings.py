"""Guesses the code page of a text that is not UTF-8: by known headings, then by the words it would give."""

import re
import unicodedata
from collections.abc import Callable, Sequence
from itertools import pairwise

from msgspec import Struct

#: Single-byte pages of other systems and of letters that few exports are in, and those of systems long gone.
_RARE = ("cp1255", "iso8859-7", "iso8859-2", "iso8859-5", "koi8-r", "koi8-u")
_OLD = ("cp850", "cp852", "mac_roman")
#: Code pages by how usual they are; of those that read alike the first is taken. The last are of two bytes a letter.
_PAGES = (
    "cp1252",
    "cp1250",
    "cp1251",
    "cp1253",
    "cp1254",
    "cp1257",
    *_RARE,
    *_OLD,
    *(_WIDE := ("cp932", "cp936", "cp949", "cp950", "euc_jp")),
)
#: What exports write beside letters.
_SIGNS = frozenset("°ºª²³½¼¾§µ€£±·×–—‘’“”„«»…\u00a0ß、。・「」（）ー〜№")
#: A word with a letter beyond ASCII in it.
_WORD = re.compile(r"[^\W\d_]*[^\x00-\x7f\W][^\W\d_]*")
#: What stands behind letters, as in m².
_RAISED = "°ºª²³"
#: What has a sign beyond ASCII in it, up to the next blank or sign between columns.
_SIGNED = re.compile(r"[^\s,;|]*[^\x00-\x7f][^\s,;|]*")
#: A sign between small letters, where no language has one: of a wrong page.
_SIGN_WITHIN = re.compile(r"(?<=[^\W\d_A-Z])[§¤€£±×“”„«»…–—°](?=[^\W\d_A-Z])")
#: Letters beyond ASCII as they stand side by side in Latin words of wrong pages.
_SIDE_BY_SIDE = re.compile(r"[\u0080-\u024f]{3}")
#: The share of odd words that a page has at most which is taken, beside others that have this or more of so many.
_PLAIN, _ODD, _ENOUGH = 0.1, 0.3, 3
#: Lines that are looked at, and words that are shown.
_LINES, _SHOWN = 2000, 3


class CodePages(Struct, frozen=True):
    """Code pages that a text may be in, the likeliest first, each with words that it reads otherwise than others.

    Where there is only one, with the first words that it reads.
    """

    names: tuple[str, ...]
    words: tuple[tuple[str, ...], ...]

    def first(self, name: str | None) -> "CodePages":
        """Return them with one before all others, if it is among them."""
        if name not in self.names:
            return self
        order = sorted(range(len(self.names)), key=lambda at: self.names[at] != name)
        return CodePages(tuple(self.names[at] for at in order), tuple(self.words[at] for at in order))


def code_pages(head: bytes, known: Callable[[str], int]) -> CodePages | None:
    """Return the code pages that read the beginning of a text sensibly, as far as they read it differently.

    ``known`` counts the headings that are known in a text: pages that give fewer are left out. None where no page
    reads it.
    """
    found = _sensible(head, known)
    if not found:
        return None
    strange = {page: _strange(texts) for texts, page in found.items()}
    for unusual in (_OLD, _RARE):
        if any(odd <= _PLAIN for page, odd in strange.items() if page not in (*unusual, *_OLD)):
            found = {texts: page for texts, page in found.items() if page not in unusual}
    pages = sorted(found.items(), key=lambda pair: strange[pair[1]])
    words = {word for word in _WORD.findall("\n".join(pages[0][0])) if len(word) > 1}
    if strange[pages[0][1]] <= _PLAIN and len(words) >= _ENOUGH:  # words of one script beside what no page writes
        pages = [(texts, page) for texts, page in pages if strange[page] < _ODD]
    return CodePages(tuple(page for _, page in pages), _told_apart([texts for texts, _ in pages]))


def _sensible(head: bytes, known: Callable[[str], int]) -> dict[tuple[str, ...], str]:
    """Return what pages read sensibly, the lines that are not plain ASCII, each with the first page that reads it so.

    Of the pages in which most headings are ``known``.
    """
    lines = [line for line in head.split(b"\n") if not line.isascii()][:_LINES]
    every = {page: texts for page in _PAGES if (texts := _read(lines, page)) is not None}
    read = {page: texts for page, texts in every.items() if page not in _OLD or _are_latin_words(texts, page)}
    worth = {page: known(head.decode(page, "replace")) for page in read}
    best = max(worth.values(), default=0)
    found: dict[tuple[str, ...], str] = {}
    for page, texts in read.items():
        if worth[page] == best and _makes_sense(texts, page):
            found.setdefault(tuple(texts), page)
    return found


def _read(lines: Sequence[bytes], page: str) -> list[str] | None:
    try:
        return [line.decode(page) for line in lines]
    except UnicodeDecodeError:
        return None


def _makes_sense(texts: Sequence[str], page: str) -> bool:
    """Tell whether all that is read is letters and usual signs, and no word mixes Latin letters with others."""
    signs = {sign for text in texts for sign in text if not sign.isascii()} - _SIGNS
    if any(unicodedata.category(sign)[0] != "L" or _is_half(sign) for sign in signs):
        return False
    words = [word.rstrip(_RAISED) for text in texts for word in _WORD.findall(text)]
    if page in _WIDE:
        if any(re.search(r"[^\x00-\x7f][a-z]", word) for word in words):
            return False
        wide = [word for word in words if sum(not sign.isascii() for sign in word) > 1 or _stands_alone(word, page)]
        return 2 * len(wide) >= len(words) > 0
    return not any(len({_is_latin(sign) for sign in word}) > 1 for word in words)


def _are_latin_words(texts: Sequence[str], page: str) -> bool:
    """Tell whether what is read makes sense as Latin words, most of which have plain letters too.

    The pages of older systems have a letter for nearly every byte.
    """
    words = [word for text in texts for word in _WORD.findall(text)]
    mixed = sum(any(sign.isascii() for sign in word) for word in words)
    return _makes_sense(texts, page) and 2 * mixed >= len(words) > 0


def _stands_alone(word: str, page: str) -> bool:
    """Tell whether a word is one sign of two bytes that are both beyond ASCII, as a letter and a number name a mark.

    In Latin letters that is two of them side by side and no other letter about.
    """
    return len(word) == 1 and min(word.encode(page)) > 0x7F


def preferred(of_files: Sequence[CodePages]) -> str | None:
    """Return the code page in which all of a folder's files may be, the likeliest in the one that leaves fewest open.

    None where there is none.
    """
    least = min(of_files, key=lambda pages: len(pages.names), default=None)
    names = least.names if least is not None else ()
    return next((name for name in names if all(name in pages.names for pages in of_files)), None)


def _is_half(sign: str) -> bool:
    """Tell whether a letter is one of half width, which wrong pages are full of."""
    return "\uff61" <= sign <= "\uffdc"


def _is_latin(sign: str) -> bool:
    return unicodedata.name(sign, "").startswith(("LATIN", "FEMININE", "MASCULINE", "MICRO"))


def _strange(texts: Sequence[str]) -> float:
    """Return the share of words that no language writes so: by letters side by side, capitals or signs within."""
    words = [word for text in texts for word in _WORD.findall(text)]
    odd = sum(bool(_SIDE_BY_SIDE.search(word)) or _has_odd_capitals(word) for word in words)
    parted = sum(len(_SIGN_WITHIN.findall(text)) for text in texts)
    return round(min((odd + parted) / max(len(words), parted, 1), 1.0), 1)


def _has_odd_capitals(word: str) -> bool:
    """Tell whether a capital stands behind a small letter; both are beyond ASCII, as programs write "HeightAbove"."""
    return any(
        one.islower() and other.isupper() and not (one.isascii() and other.isascii()) for one, other in pairwise(word)
    )


def _told_apart(read: Sequence[Sequence[str]]) -> tuple[tuple[str, ...], ...]:
    """Return of each page the first words that are not the same in all."""
    differing = [at for at, texts in enumerate(zip(*read, strict=True)) if len(set(texts)) > 1 or len(read) == 1]
    of_pages = [
        [word for at in differing for word in (_WORD.findall(texts[at]) or _SIGNED.findall(texts[at]))]
        for texts in read
    ]
    if len({len(words) for words in of_pages}) == 1:
        # words that most pages read each in its own way, the first of them first
        rows = sorted(dict.fromkeys(zip(*of_pages, strict=True)), key=lambda row: -len(set(row)))[:_SHOWN]
        return tuple(zip(*rows, strict=True)) if rows else tuple(() for _ in read)
    shown: list[tuple[str, ...]] = []
    for texts in read:
        words, signs = (dict.fromkeys(text for at in differing for text in look.findall(texts[at]))
                        for look in (_WORD, _SIGNED))  # fmt: skip
        shown.append(tuple(words or signs)[:_SHOWN])
    return tuple(shown)
