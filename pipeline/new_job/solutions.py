"""Finds which words of a solution column clearly mean fixed."""

from collections import Counter

from pipeline.job.toml_text import listed
from pipeline.letter_case import folded
from pipeline.new_job.headings import bare
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.values import MOSTLY
from pipeline.read.solution_words import FIXED, KNOWN, is_float
from pipeline.read.solution_words import is_fixed as says_fixed

#: Indicators of quality in NMEA 0183: 4 is a fixed, 5 a float solution. Columns of figures may count otherwise.
_NMEA = "4"


def is_fixed(word: str) -> bool:
    """Tell whether a word clearly means a fixed solution."""
    return bare(word) in FIXED


def tell_float(words: Counter[str]) -> bool:
    """Tell whether a column's words, with their counts, are of solutions and tell float ones from others."""
    return any(map(is_float, words)) and are_solutions(words)


def are_solutions(words: Counter[str]) -> bool:
    """Tell whether a column's words, with their counts, are mostly of solutions, some of them fixed or float ones."""
    clear = {word for word in words if says_fixed(word) or is_float(word)}
    known = sum(count for word, count in words.items() if word in clear or bare(word) in KNOWN)
    return bool(clear) and known >= MOSTLY * sum(words.values())


def solutions(words: Counter[str]) -> State:
    """Return the state of ``quality.solutions`` for the words that are there with their counts; None for none."""
    if not words:
        return None
    shown = ", ".join(f"{word} ({count:,})" for word, count in words.most_common(12))
    clear = sorted({folded(word) for word in words if bare(word) in FIXED})
    if clear:
        others = ", ".join(f"{word} ({count:,})" for word, count in words.most_common(12) if bare(word) not in FIXED)
        return Known(listed(clear), f"not accepted: {others}" if others else "")
    first = [_NMEA] if _NMEA in words else []
    every = [*first, *(word for word, _ in words.most_common(6) if word != _NMEA)]
    why = {_NMEA: "fixed, if these are the indicators of NMEA 0183"}
    candidates = [Candidate(listed([word]), why.get(word, "")) for word in every]
    asks = (
        f"which words mean a fixed solution? there are {shown}; if these are not solutions, delete the line solution"
        " above"
    )
    return Question("quality.solutions", asks, tuple(candidates))
