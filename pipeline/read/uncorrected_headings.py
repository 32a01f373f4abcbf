"""Headings that say that the numbers below them are those before a correction: "Raw Height", "E (unkorrigiert)".

Plain words of the trade, in some languages from memory; what is left of such a heading is compared with the others.
"""

import re
from collections.abc import Iterable
from functools import lru_cache

from pipeline.files.heading_words import plain_letters, run_together, set_apart
from pipeline.letter_case import folded


def _set_of(words: str) -> frozenset[str]:
    return frozenset(folded(plain_letters(word)) for word in words.split())


#: What has not been corrected, by one word.
_RAW = _set_of(
    """
    raw rawvalue uncorrected uncorr unadjusted uncalibrated unshifted precorrection precorr original orig roh
    rohwert rohwerte rohdaten unkorrigiert unkorrigierte unkorr unverbessert unverbesserte brut brute bruts
    brutes bruto bruta brutos brutas crudo cruda crudos crudas grezzo grezza grezzi grezze ruw ruwe
    ongecorrigeerd ongecorrigeerde raverdi radata ukorrigert ukorrigeret okorrigerad okorrigerat ravarde raaka
    korjaamaton surowy surowa surowe nieskorygowany nieskorygowana nieskorygowane surovy surova surove
    nekorigovany nekorigovana nyers korrigalatlan necorectat necorectata sirovi sirova sirovo nekorigirano ham
    duzeltilmemis mentah исходный исходная исходные сырой сырая неисправленный неисправленная неисправленные
    ακατεργαστο αδιορθωτο
    """
)
#: Words before a word for a correction by which there was none yet, or is none.
_NOT_YET = _set_of(
    """
    before pre not without no vor ohne nicht avant sans non antes sin nao sem prima senza voor zonder niet for
    uten ikke uden fore innan utan inte ennen ilman przed bez nie pred ne inainte fara prije до без не πριν
    χωρισ
    """
)
_ARTICLES = _set_of(
    """
    the of der die das de la le les el da do du di della dell het den las os any
    """
)
#: How words for a correction begin.
_CORRECTION = (
    "correc", "corr", "korr", "korek", "korig", "korj", "skoryg", "corig", "gecorr", "adjust", "shift", "calibr",
    "kalibr", "ausgleich", "verschieb", "localis", "localiz", "lokalis", "calage", "ajuste", "rettif", "oprav",
    "коррек", "поправ", "исправ", "διορθ",
)  # fmt: skip
#: The same in writings without blanks between words.
_WITHOUT_BLANKS = ("補正前", "改正前", "校正前", "修正前", "未補正", "未改正", "原始", "보정전", "원시")
_WORD = re.compile(r"[^\W\d_]+")
_EMPTY = re.compile(r"[(\[{]\W*[)\]}]")
_EDGES = " \t_-.:/,"


@lru_cache(maxsize=4096)
def but_for_uncorrected(heading: str) -> str | None:
    """Return a heading without the words by which its numbers are those before a correction; None where none says so.

    "" where nothing else is left.
    """
    text = heading
    for sign in _WITHOUT_BLANKS:
        text = text.replace(sign, " ")
    apart = set_apart(text)
    kept, said = _without(apart)
    return kept if said or text != heading else None


@lru_cache(maxsize=4096)
def _plain(heading: str) -> str:
    """Return a heading run together but for words that say that its numbers were corrected: "E" of "Corrected E"."""
    words = [each[0] for each in _WORD.finditer(set_apart(heading)) if not _says_done(each[0])]
    figures = re.findall(r"\d+", heading)
    return run_together(" ".join(words)) + "".join(figures)


def uncorrected_twin(heading: str, others: Iterable[str]) -> str | None:
    """Return which of other headings is the same but for the words that say "before a correction"; None for none."""
    bare = but_for_uncorrected(heading)
    if not bare:
        return None
    plain = _plain(bare)
    return next((name for name in others if but_for_uncorrected(name) is None and _plain(name) == plain), None)


def _says_done(word: str) -> bool:
    return folded(plain_letters(word)).startswith(_CORRECTION)


def _without(text: str) -> tuple[str, bool]:
    """Return a text without what says that nothing was corrected, and whether anything does."""
    words = [(each.start(), each.end(), folded(plain_letters(each[0]))) for each in _WORD.finditer(text)]
    cut: list[tuple[int, int]] = []
    at = 0
    while at < len(words):
        begin, end, word = words[at]
        behind = at + 1
        while behind < len(words) and words[behind][2] in _ARTICLES:
            behind += 1
        if word in _RAW:
            cut.append((begin, end))
        elif word in _NOT_YET and behind < len(words) and words[behind][2].startswith(_CORRECTION):
            cut.append((begin, words[behind][1]))
            at = behind
        at += 1
    for begin, end in reversed(cut):
        text = f"{text[:begin]} {text[end:]}"
    return " ".join(_EMPTY.sub(" ", text).split()).strip(_EDGES), bool(cut)
