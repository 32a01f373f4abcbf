"""Asks which column says how positions were solved, where none is known to and one may."""

from collections import Counter
from collections.abc import Sequence
from itertools import chain, groupby

from pipeline.job.toml_text import value_text
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.headings import is_known, rank, says_height
from pipeline.new_job.questions import Candidate, Question
from pipeline.new_job.values import words
from pipeline.read.correction_headings import correction_heading, says_crew, says_other_place, says_rover
from pipeline.read.deleted_headings import says_deleted
from pipeline.read.setting_headings import setting_heading
from pipeline.read.solution_columns import may_show_solutions
from pipeline.read.solution_words import is_coarse
from pipeline.read.yes_no import denying

_ASKS = (
    "which column says how positions were solved? float solutions must not pass as fixed, and without it all count as"
    " fixed. State the values that mean fixed in quality.solutions too; if none of these columns does, delete these"
    " lines"
)


def solution_questions(one: FileFound) -> list[Question]:
    """Return the question after an export's solutions; none where a column is known to have them, or none may."""
    candidates = [
        Candidate(value_text(one.look.named({"solution": name})["solution"]), _shown(counts))
        for name, counts in _may_be(one)
    ]
    return [Question("solution", _ASKS, tuple(candidates))] if candidates else []


def words_that_may_mean_fixed(exports: Sequence[FileFound]) -> list[str]:
    """Return the words of the columns that exports are asked about, but those that say no, the commonest first."""
    every: list[str] = []
    for _, counts in chain.from_iterable(map(_may_be, exports)):
        no = denying(counts)
        every += [word for word, _ in counts.most_common() if word not in no and not is_coarse(word)]
    return list(dict.fromkeys(every))


def _may_be(one: FileFound) -> list[tuple[str, Counter[str]]]:
    """Return the columns of an export that may have its solutions, each with its words; none where one is known to."""
    found, look = one.mapped, one.look
    if "solution" in found.columns or "solution" in found.rivals:
        return []
    taken = {*found.columns.values(), *chain.from_iterable(found.rivals.values()), found.poles, found.slant}
    taken |= {found.naming, found.still, found.separation, *(name for name, _ in found.left), *found.heights}
    codes = look.columns.get(found.columns.get("code", ""), ())
    some = []
    for name in look.names:
        texts = look.columns[name]
        if name in taken or _is_else(name) or _follows(texts, codes):
            continue
        counts, runs = words(texts), sum(1 for text, _ in groupby(text for text in texts if text))
        if may_show_solutions(name, counts, len(texts), runs):
            some.append((name, counts))
    return some


def _shown(counts: Counter[str]) -> str:
    return "it holds " + ", ".join(f"{word} ({count:,})" for word, count in counts.most_common())


def _is_else(name: str) -> bool:
    """Tell whether a heading says something else, a rover, a crew, a setting or a feature's code among it."""
    if rank("solution", name) is not None or correction_heading(name) == "solution":
        return False
    said = is_known(name) or says_height(name) or says_rover(name) or says_crew(name) or says_other_place(name)
    return said or bool(correction_heading(name) or setting_heading(name) or says_deleted(name))


def _follows(texts: Sequence[str], codes: Sequence[str]) -> bool:
    """Tell whether all readings of a code have one value, as layers and materials have: (n,) values and codes."""
    of_code: dict[str, set[str]] = {}
    for text, code in zip(texts, codes, strict=False):
        if code:
            of_code.setdefault(code, set()).add(text)
    return len(of_code) > 1 and all(len(values) == 1 for values in of_code.values())
