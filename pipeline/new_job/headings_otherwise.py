"""Known headings that are written otherwise: cut to the ten letters of an old table format, or in two languages."""

import re
from collections.abc import Callable, Iterable, Mapping

from pipeline.files.heading_words import run_together, words_of
from pipeline.read.correction_headings import without_brackets

#: Letters, or bytes, of a name that are left of a longer one; how many may be missing where no sign joins its words, as
#: a short word may be whole.
_CUT, _FEW_MISSING = 10, 2
#: What parts the languages of one heading.
_PARTED = re.compile(r"\s*[/|\r\n]+\s*|\s+[-\u2013\u2014]\s+")
#: Words behind which a heading says something of another point or thing, whatever stands beside them.
_OF_ELSE = frozenset(
    ["base", "ref", "reference", "master", "antenna", "ant", "antenne", "antena", "pole", "rod", "stab", "design",
     "target", "soll", "delta", "diff", "residual", "speed", "velocity", "zone"]
)  # fmt: skip


def uncut(heading: str, meanings: Mapping[str, frozenset[str]]) -> str:
    """Return a known heading that one of ten letters is cut from; "" where it is none, or several meanings fit.

    ``meanings`` are known headings, bare, with our words that each stands for.
    """
    name = heading.strip()
    if _CUT not in (len(name), len(name.encode())) or not re.fullmatch(r"\w+", name):
        return ""
    short = run_together(name)
    if short in meanings:
        return ""
    missing = len(name) if "_" in name else _FEW_MISSING
    whole = [each for each in meanings if each.startswith(short) and len(each) - len(short) <= missing]
    alike = len({meanings[each] for each in meanings if each.startswith(short)}) == 1
    return whole[0] if whole and alike else ""


def in_languages(heading: str, is_known: Callable[[str], bool]) -> tuple[str, ...]:
    """Return the parts of a heading that are known, each in a language of its own; none where it has one part.

    Where some are not known, none of their words may say that it is of something else.
    """
    parts = [part for part in _PARTED.split(without_brackets(heading)) if part.strip()]
    if len(parts) < 2:
        return ()
    known = tuple(part for part in parts if is_known(part))
    others: Iterable[str] = (word for part in parts if part not in known for word in words_of(part))
    return () if _OF_ELSE.intersection(others) else known
