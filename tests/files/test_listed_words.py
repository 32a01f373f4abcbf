"""Every word of every list is one that an export's can be equal to.

Words and headings of exports are compared without accents. One that is listed with an accent, or in another form of
Unicode, would never be found.
"""

import importlib
import pkgutil
from collections.abc import Iterator
from types import ModuleType

import pytest

import pipeline
from pipeline.files.heading_words import plain_letters, run_together, words_as_written, words_of
from pipeline.new_job import solutions
from pipeline.new_job.headings import CALLED, bare, rank
from pipeline.read.correction_headings import CALLED as CORRECTIONS
from pipeline.read.correction_headings import ELSEWHERE, correction_heading
from pipeline.read.solution_words import FIXED, FLOATING, KNOWN, is_coarse, is_fixed, is_float

#: What takes words apart, without their accents: a room that has it compares by it.
_TAKERS = (plain_letters, words_of, words_as_written, run_together, bare)
#: Lists that are no words to compare so: what is compared as written, and what is made plain where it is used.
_ELSE = {"ELSEWHERE", "COORDINATES", "LENGTHS_SAID", "YES_NO", "_PAIRS", "_PAIRED"}


def _rooms() -> list[ModuleType]:
    names = [one.name for one in pkgutil.walk_packages(pipeline.__path__, "pipeline.") if "__main__" not in one.name]
    rooms = [importlib.import_module(name) for name in names]
    return [room for room in rooms if any(one in _TAKERS for one in vars(room).values() if callable(one))]


def _words(value: object, depth: int = 0) -> Iterator[str]:
    if isinstance(value, str) and depth:
        yield value
    elif isinstance(value, dict) and depth < 4:
        yield from _words([*value.keys(), *value.values()], depth + 1)
    elif isinstance(value, list | tuple | set | frozenset) and depth < 4:
        for one in value:
            yield from _words(one, depth + 1)


def test_no_listed_word_has_accents_where_words_are_compared_without() -> None:
    dead = {
        f"{room.__name__}.{name}": bad
        for room in _rooms()
        for name, value in vars(room).items()
        if not name.startswith("__") and name not in _ELSE and room.__name__ != "pipeline.new_job.languages"
        if (bad := [one for one in _words(value) if one.isalpha() and plain_letters(one.casefold()) != one.casefold()])
    }
    assert not dead


def test_hangul_keeps_its_syllables_and_accents_go() -> None:
    assert plain_letters("고정해") == "고정해"
    assert plain_letters("Rögzített ФИКСИРОВАННЫЙ Cố định") == "Rogzitett ФИКСИРОВАННЫИ Co dinh"


@pytest.mark.parametrize(("word", "headings"), CALLED.items())
def test_every_heading_is_found_as_it_is_listed(word: str, headings: tuple[str, ...]) -> None:
    assert [one for one in headings if rank(word, one) is None] == []


@pytest.mark.parametrize("word", CORRECTIONS)
def test_every_heading_of_corrections_is_found_as_it_is_written(word: str) -> None:
    listed = f"{CORRECTIONS[word]} {ELSEWHERE.get(word, '')}".split()
    assert [one for one in listed if correction_heading(one) != word] == []


def test_every_word_of_solutions_is_found() -> None:
    assert [one for one in FIXED if not (is_fixed(one) and solutions.is_fixed(one))] == []
    assert [one for one in FLOATING if not (is_float(one) and is_coarse(one))] == []
    assert [one for one in KNOWN - FIXED - {"ppp"} if not is_coarse(one)] == []
