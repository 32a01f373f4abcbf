"""Columns that may say how positions were solved, by what they hold, where no heading or word is known."""

from collections import Counter

import pytest

from pipeline.read.solution_columns import may_show_solutions

#: Sixty readings, and how often their values begin anew.
ROWS, RUNS = 60, 9


@pytest.mark.parametrize(
    ("heading", "values"),
    [
        ("Läge", {"R": 55, "F": 5}),
        ("Nøyaktighetsklasse", {"1": 56, "2": 4}),
        ("Anything", {"4": 50, "5": 7, "1": 3}),
        ("Kvaliteti", {"e lidhur": 55, "e lire": 5}),
        ("დონე", {"კარგი": 50, "ცუდი": 10}),
        ("Spojeno", {"DA": 56, "NE": 4}),
    ],
)
def test_few_short_values_that_come_and_go_may_be_solutions(heading: str, values: dict[str, int]) -> None:
    assert may_show_solutions(heading, Counter(values), ROWS, RUNS)


@pytest.mark.parametrize(
    ("heading", "values", "runs"),
    [
        ("Layer", {"A": 55, "B": 5}, RUNS),
        ("Photo", {"N": 55, "J": 5}, RUNS),
        ("Tilt", {"Y": 55, "N": 5}, RUNS),
        ("Wetterlage", {"sonnig": 40, "trocken": 20}, RUNS),
        ("Anything", {"A": 60}, 1),  # one for all
        ("Anything", {"A": 30, "B": 30}, 2),  # one day and the next
        ("Anything", {"A": 3, "B": 1}, RUNS),  # hardly filled
        ("Anything", {"12.3": 55, "12.4": 5}, RUNS),
        ("Anything", {"CORS1": 55, "CORS2": 5}, RUNS),
        ("Anything", {letter: 7 for letter in "ABCDEFGH"}, RUNS),
        ("Anything", {letter: 15 for letter in "ABCD"}, RUNS),  # none is the rule
    ],
)
def test_attributes_bases_and_figures_are_none(heading: str, values: dict[str, int], runs: int) -> None:
    assert not may_show_solutions(heading, Counter(values), ROWS, runs)
