"""Yes and no, true and false, in many languages: what a column says of each reading that says no more."""

import unicodedata
from collections.abc import Iterable

from pipeline.letter_case import folded

#: What says yes, and then no; from memory, as dictionaries have them.
_PAIRED = (
    "y n", "yes no", "true false", "t f", "1 0", "-1 0", "j n", "ja nein", "ja nee", "ja nej", "ja nei", "oui non",
    "o n", "si no", "sí no", "sì no", "s n", "sim não", "sim nao", "k e", "kyllä ei", "tak nie", "t n", "ano ne",
    "a n", "da ne", "d n", "igen nem", "i n", "áno nie", "da nu", "taip ne", "jā nē", "да нет", "д н", "так ні",
    "да не", "evet hayır", "e h", "是 否", "はい いいえ", "예 아니오", "ναι όχι", "jah ei", "já nei", "ya tidak",
    "có không", "نعم لا", "כן לא", "हाँ नहीं", "ใช่ ไม่ใช่",
    "wahr falsch", "w f", "vrai faux", "v f", "verdadero falso", "verdadeiro falso", "vero falso", "waar onwaar",
    "sand falsk", "sant usant", "sann falsk", "sant falskt", "tosi epätosi", "prawda fałsz", "pravda nepravda",
    "točno netočno", "tacno netacno", "istina laž", "istina neistina", "igaz hamis", "adevărat fals", "doğru yanlış",
    "tõene väär", "tiesa melas", "истина ложь", "правда ложь", "істина хиба", "αληθής ψευδής", "真 假", "真 偽",
    "참 거짓", "benar salah", "đúng sai", "صحيح خطأ", "सत्य असत्य", "จริง เท็จ",
)  # fmt: skip
_PAIRS = tuple(tuple(map(folded, pair.split())) for pair in _PAIRED)
#: Each pair.
YES_NO = tuple(map(frozenset, _PAIRS))
#: Other words that say no by themselves, whatever stands beside them.
_NO = frozenset(map(folded, ("n", "0", "none", "not", "lozno", "ложно", "ložno", "netocno", "off")))


def denying(words: Iterable[str]) -> set[str]:
    """Return those of the words of one column that say no: words for it, and a letter for it beside that for yes."""
    every = {word: folded(word) for word in words}
    there = set(every.values())
    no = {second for first, second in _PAIRS if _is_word(second) or {first, second} == there}
    return {word for word, bare in every.items() if bare in no or bare in _NO}


def are_yes_or_no(words: Iterable[str]) -> bool:
    """Tell whether words are some of one pair, and one at least."""
    there = {folded(word) for word in words}
    return bool(there) and any(there <= pair for pair in YES_NO)


def _is_word(text: str) -> bool:
    """Tell whether a text is a word, of whatever script: a letter alone means much else."""
    return len(text) > 1 or unicodedata.category(text) == "Lo"
