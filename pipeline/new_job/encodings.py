"""Guesses the code page of a text that is not UTF-8: by known headings, then by the words it would give."""

import re
import unicodedata
from collections.abc import Callable, Sequence
from itertools import pairwise

from msgspec import Struct

from pipeline.new_job.languages import letters_of

#: Single-byte pages of other systems and of letters that few exports are in, and those of systems long gone.
_RARE = ("cp1255", "iso8859-7", "iso8859-2", "iso8859-5", "koi8-r", "koi8-u")
_OLD = ("cp850", "cp852", "mac_roman")
_UNUSUAL = frozenset((*_RARE, *_OLD))
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
#: What exports write beside letters and within words.
_SIGNS = frozenset("°ºª²³½¼¾§µ€£±·×–—‘’“”„«»…\u00a0ß、。・「」（）ー〜№")
#: Categories of other signs and figures: in pages of one byte a letter they stand by themselves, those of `_MARKS`
#: beside a word too; within words they are letters of another page.
_OTHERS = ("P", "S", "N", "Z")
_MARKS = "©®™•‰¦†‡"
#: A word with a letter beyond ASCII in it.
_WORD = re.compile(r"[^\W\d_]*[^\x00-\x7f\W][^\W\d_]*")
#: What stands behind letters, as in m².
_RAISED = "°ºª²³"
#: What has a sign beyond ASCII in it, up to the next blank or sign between columns.
_SIGNED = re.compile(r"[^\s,;|]*[^\x00-\x7f][^\s,;|]*")
#: A sign between small letters, where no language has one: of a wrong page.
_SIGN_WITHIN = re.compile(r"(?<=[^\W\d_A-Z])[§¤€£±×“”„«»…–—°](?=[^\W\d_A-Z])")
#: Kana of half width in a row: each may have a sign of voice, where it can be voiced, and a small one or a dash behind.
_KANA = re.compile(r"(?:(?:[ｳｶ-ﾄﾊ-ﾎ]ﾞ|[ﾊ-ﾎ]ﾟ|[ｦｱ-ﾝ])[ｧ-ｰ]?){2,}")
#: Letters beyond ASCII as they stand side by side in Latin words of wrong pages.
_SIDE_BY_SIDE = re.compile(r"[\u0080-\u024f]{3}")
#: A sign beyond ASCII behind a letter and before another, or before a figure: "Dó³1".
_SIGN_INSIDE = re.compile(r"(?<=[^\W\d_])[^\x00-\x7f](?=\w)")
#: The share of letters that are none of the language of the headings, at most, in the page that these choose.
_FOREIGN = 0.1
#: The share of odd words that a page has at most which is taken, beside others that have this or more of so many.
_PLAIN, _ODD, _ENOUGH = 0.1, 0.3, 3
#: Lines that are looked at, and words that are shown.
_LINES, _SHOWN = 2000, 3
#: Lines among which headings are looked for, to tell their language.
_HEADINGS = 60


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

    ``known`` counts the headings that are known in a text: pages that give fewer are left out. So are pages that read
    letters which the language of the headings does not have, beside one that reads those alone. None where no page
    reads it.
    """
    lines = [line for line in head.split(b"\n") if not line.isascii()][:_LINES]
    found = _sensible(lines, head, known)
    if not found:
        return None
    strange = {page: _strange(texts) for texts, page in found.items()}
    if len(found) > 1:
        chosen = _of_language(found, head)
        usual = any(odd <= _PLAIN for page, odd in strange.items() if page not in _UNUSUAL)
        if not usual or not _UNUSUAL.issuperset(chosen.values()):  # a name of abroad has letters of its own
            found = chosen
    for unusual in (_OLD, _RARE):
        if any(odd <= _PLAIN for page, odd in strange.items() if page not in (*unusual, *_OLD)):
            found = {texts: page for texts, page in found.items() if page not in unusual}
    pages = sorted(found.items(), key=lambda pair: strange[pair[1]])
    words = {word for word in _WORD.findall("\n".join(pages[0][0])) if len(word) > 1}
    if strange[pages[0][1]] <= _PLAIN and len(words) >= _ENOUGH:  # words of one script beside what no page writes
        pages = [(texts, page) for texts, page in pages if strange[page] < _ODD]
    return CodePages(tuple(page for _, page in pages), _told_apart([texts for texts, _ in pages]))


def _sensible(lines: Sequence[bytes], head: bytes, known: Callable[[str], int]) -> dict[tuple[str, ...], str]:
    """Return what pages read sensibly, the lines that are not plain ASCII, each with the first page that reads it so.

    Of the pages in which most headings are ``known``. Where none of these reads it sensibly, the usual ones are
    returned whose words are of one script each, else all of them that can read it: which is meant is asked then.
    """
    every = {page: texts for page in _PAGES if (texts := _read(lines, page)) is not None}
    read = {page: texts for page, texts in every.items() if page not in _OLD or _are_latin_words(texts, page)}
    worth = {page: known(head.decode(page, "replace")) for page in read}
    best = {page: texts for page, texts in read.items() if worth[page] == max(worth.values())}
    for is_good in (_makes_sense, _has_words, _is_printable):
        found: dict[tuple[str, ...], str] = {}
        for page, texts in best.items():
            if is_good(texts, page) and (is_good is _makes_sense or page not in _UNUSUAL):
                found.setdefault(tuple(texts), page)
        if len(found) > 1 and (kana := best.get("cp932")) and _are_kana(kana):
            found.setdefault(tuple(kana), "cp932")
        if found:
            return found
    return {}


def _are_kana(texts: Sequence[str]) -> bool:
    """Tell whether all words of a text are kana of half width, as Japanese has them."""
    words = _words(texts)
    return bool(words) and all(map(_KANA.fullmatch, words))


def _of_language(found: dict[tuple[str, ...], str], head: bytes) -> dict[tuple[str, ...], str]:
    """Return the pages that read the fewest letters which the language of the headings does not have.

    All of them where no language is known by its words, or none of them reads nearly all in it.
    """
    beginning = head.split(b"\n", _HEADINGS)[:_HEADINGS]
    letters = letters_of(line.decode(page, "replace") for line in beginning for page in found.values())
    foreign = {page: _foreign(texts, letters) for texts, page in found.items()}
    least = min(foreign.values())
    return {t: page for t, page in found.items() if foreign[page] == least} if letters and least <= _FOREIGN else found


def _foreign(texts: Sequence[str], letters: frozenset[str]) -> float:
    """Return the share of letters beyond ASCII that are none of ``letters``, signs within words among them."""
    there = [sign for text in texts for sign in text if not sign.isascii() and sign.isalpha() and sign not in "ªºµ"]
    inside = sum(not sign.isalpha() for text in texts for sign in _SIGN_INSIDE.findall(text))
    return (sum(sign not in letters for sign in there) + inside) / max(len(there) + inside, 1)


def _read(lines: Sequence[bytes], page: str) -> list[str] | None:
    try:
        return [line.decode(page) for line in lines]
    except UnicodeDecodeError:
        return None


def _makes_sense(texts: Sequence[str], page: str) -> bool:
    """Tell whether all that is read is letters, and signs where they may stand, and each word of one script."""
    signs = {sign for text in texts for sign in text if not sign.isascii()} - _SIGNS
    others = {sign for sign in signs if unicodedata.category(sign)[0] != "L"}
    if any(_is_half(sign) for sign in signs) or not all(map(_is_sign, others)) or not _has_words(texts, page):
        return False
    if page in _WIDE:
        words = _without_raised(texts)
        wide = [word for word in words if sum(not sign.isascii() for sign in word) > 1 or _stands_alone(word, page)]
        return 2 * len(wide) >= len(words) > 0
    return not any(_is_within(text, at) for text in texts for at, sign in enumerate(text) if sign in others)


def _has_words(texts: Sequence[str], page: str) -> bool:
    """Tell whether a text can be printed and no word of it mixes Latin letters with those of other scripts.

    In pages of two bytes a letter they may stand in front of these.
    """
    words = _without_raised(texts)
    if not _is_printable(texts, page):
        return False
    if page in _WIDE:
        return not any(re.search(r"[^\x00-\x7f][a-z]", word) for word in words)
    return not any(len({_is_latin(sign) for sign in word}) > 1 for word in words)


def _is_printable(texts: Sequence[str], _page: str) -> bool:
    """Tell whether all signs of a text are letters, marks, figures or signs: no control characters beyond ASCII."""
    return all(
        unicodedata.category(sign)[0] in "LMPSNZ" or sign == "\u00ad"
        for sign in {sign for text in texts for sign in text}
        if not sign.isascii()
    )


def _words(texts: Sequence[str]) -> list[str]:
    return [word for text in texts for word in _WORD.findall(text)]


def _without_raised(texts: Sequence[str]) -> list[str]:
    return [word.rstrip(_RAISED) for word in _words(texts)]


def _is_sign(sign: str) -> bool:
    return unicodedata.category(sign).startswith(_OTHERS)


def _is_within(text: str, at: int) -> bool:
    """Tell whether a sign stands within a word, or beside one that it does not belong to."""
    return (text[at - 1 : at].isalpha() + text[at + 1 : at + 2].isalpha()) > (text[at] in _MARKS)


def _are_latin_words(texts: Sequence[str], page: str) -> bool:
    """Tell whether what is read makes sense as Latin words, most of which have plain letters too.

    The pages of older systems have a letter for nearly every byte.
    """
    words = _words(texts)
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
    words = _words(texts)
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
