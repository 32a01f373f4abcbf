"""Finds which words of a solution column clearly mean fixed."""

from collections import Counter
from collections.abc import Sequence

from pipeline.files.heading_words import words_of
from pipeline.job.toml_text import listed
from pipeline.letter_case import folded
from pipeline.new_job.headings import bare
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.values import MOSTLY
from pipeline.read.solution_words import FIXED, KNOWN, is_float
from pipeline.read.solution_words import is_fixed as says_fixed
from pipeline.read.yes_no import denying

#: Indicators of quality in NMEA 0183: 4 is a fixed, 5 a float solution. Columns of figures may count otherwise.
_NMEA = "4"
#: What measures: beside a word for fixed it says that a solution is.
_METHODS = frozenset(("rtk", "nrtk", "ppk", "gnss", "rtn"))
#: Words that stand beside one for fixed in a column of solutions, at the most, and letters of each.
_BESIDE, _LONG = 5, 30


def is_fixed(word: str) -> bool:
    """Tell whether a word clearly means a fixed solution."""
    return bare(word) in FIXED and says_fixed(word) and "?" not in word


def tell_float(words: Counter[str]) -> bool:
    """Tell whether a column's words, with their counts, are of solutions and tell float ones from others."""
    return any(map(is_float, words)) and are_solutions(words)


def are_fixed_mostly(words: Counter[str], rows: int) -> bool:
    """Tell whether at least half of a column's rows say fixed, and few other words stand beside it, none for long."""
    fixed = sum(count for word, count in words.items() if says_fixed(word))
    others = [word for word in words if not says_fixed(word)]
    return 2 * fixed >= rows and 1 <= len(others) <= _BESIDE and all(len(word) <= _LONG for word in others)


def are_always_fixed(words: Counter[str]) -> bool:
    """Tell whether all of a column's words say a fixed solution of RTK, PPK or GNSS: no pole is called so."""
    return bool(words) and all(says_fixed(word) and _METHODS & set(words_of(word)) for word in words)


def are_solutions(words: Counter[str]) -> bool:
    """Tell whether a column's words, with their counts, are mostly of solutions, some of them fixed or float ones."""
    clear = {word for word in words if says_fixed(word) or is_float(word)}
    known = sum(count for word, count in words.items() if word in clear or bare(word) in KNOWN)
    return bool(clear) and known >= MOSTLY * sum(words.values())


def solutions(words: Counter[str], open_pages: Sequence[Sequence[str]] = ()) -> State:
    """Return the state of ``quality.solutions`` for the words that are there with their counts; None for none.

    ``open_pages`` are the code pages of each file of which it is open in which it is, that in which it was read first:
    its words are accepted as any of them spells them, so that they stay right whichever is answered.
    """
    if not words:
        return None
    shown = ", ".join(f"{word} ({count:,})" for word, count in words.most_common(12))
    spelt = {word: _spellings(word, open_pages) for word in words}
    clear = {word for word, ways in spelt.items() if any(bare(way) in FIXED for way in ways)}
    if clear:
        others = ", ".join(f"{word} ({count:,})" for word, count in words.most_common(12) if word not in clear)
        accepted = sorted({folded(way) for word in clear for way in spelt[word]})
        return Known(listed(accepted), f"not accepted: {others}" if others else "")
    first = [_NMEA] if _NMEA in words else []
    every = [*first, *(word for word, _ in words.most_common(6) if word != _NMEA)]
    why = {_NMEA: "fixed, if these are the indicators of NMEA 0183"}
    as_read = {word: "as each code page reads it" for word in every if len(spelt[word]) > 1}
    no = denying(words)
    candidates = [Candidate(listed(spelt[word]), (why | as_read).get(word, "")) for word in every if word not in no]
    asks = (
        f"which words mean a fixed solution? there are {shown}; if these are not solutions, delete the line solution"
        " above"
    )
    return Question("quality.solutions", asks, tuple(candidates))


def _spellings(word: str, open_pages: Sequence[Sequence[str]]) -> list[str]:
    """Return a word as each of the pages reads it that its file may be in, as it is first."""
    ways = [word]
    for first, *others in open_pages if not word.isascii() else ():
        try:
            ways += [word.encode(first).decode(page) for page in others]
        except UnicodeError:  # of another file
            continue
    return list(dict.fromkeys(ways))
