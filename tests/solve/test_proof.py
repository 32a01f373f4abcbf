"""The proof word of a time, and the verdict of a session, case by case as the trade reads them."""

import numpy as np
import pytest
from every import every

from pipeline.solve.proof import PROOFS, Evidence, place, verdict, worst
from pipeline.words import Place, Proof, Verdict


def words(passed: list[bool], times: list[int], *, independent: bool = True) -> list[Proof]:
    """Evidence stands at 10, 20, 30, ...; return the words at the given times."""
    evidence = Evidence(np.arange(1, len(passed) + 1) * 10, np.array(passed, bool), independent)
    return [PROOFS[code] for code in evidence.words(np.array(times, np.int64))]


def test_between_two_passing_occupations_a_point_is_bracketed() -> None:
    assert words([True, True], [10, 15, 20]) == [Proof.BRACKETED] * 3


def test_after_the_last_and_before_the_first_passing_one_it_is_unclosed() -> None:
    assert words([True, True], [5, 25]) == [Proof.UNCLOSED] * 2


def test_a_failing_closing_check_makes_suspect_what_follows_the_last_passing_one_and_nothing_else() -> None:
    assert words([True, True, False], [15, 25, 35]) == [Proof.BRACKETED, Proof.SUSPECT, Proof.SUSPECT]


def test_a_failing_check_in_the_middle_leaves_the_rest_of_the_day_alone() -> None:
    found = words([True, True, False, True, True], [15, 25, 35, 45])
    assert found == [Proof.BRACKETED, Proof.SUSPECT, Proof.SUSPECT, Proof.BRACKETED]


def test_a_failing_first_occupation_makes_suspect_what_is_before_it() -> None:
    assert words([False, True], [5]) == [Proof.SUSPECT]


def test_without_an_independent_check_everything_is_unchecked_but_what_lies_beside_a_failing_tie() -> None:
    assert words([True, True], [15, 25], independent=False) == [Proof.UNCHECKED] * 2
    assert words([True, False], [15], independent=False) == [Proof.SUSPECT]
    assert words([], [15], independent=False) == [Proof.UNCHECKED]


def test_occupations_of_one_time_are_neither_before_nor_after_a_point() -> None:
    """A column of dates, or the time of an export, that every reading has: a base may have moved at any moment."""
    evidence = Evidence(np.full(3, 10), np.ones(3, bool), independent=True)
    assert [PROOFS[code] for code in evidence.words(np.array([10, 12]))] == [Proof.UNCLOSED] * 2
    assert verdict(evidence, True, 10, 10) is Verdict.UNCLOSED


@pytest.mark.parametrize(
    ("passed", "independent", "tied", "span", "expected"),
    [
        ([True, True], True, True, (12, 18), Verdict.PROVEN),
        ([True, True], True, True, (12, 28), Verdict.UNCLOSED),
        ([True, True], True, True, (5, 18), Verdict.UNCLOSED),
        ([True, True], True, True, (None, None), Verdict.PROVEN),
        ([True, False], True, True, (12, 18), Verdict.FAILED),
        ([True, True], False, True, (12, 18), Verdict.UNCHECKED),
        ([True, True], True, False, (12, 18), Verdict.UNTIED),
        ([], False, True, (12, 18), Verdict.UNCHECKED),
    ],
)
def test_the_verdict_of_a_session(
    passed: list[bool], independent: bool, tied: bool, span: tuple[int | None, int | None], expected: Verdict
) -> None:
    evidence = Evidence(np.arange(1, len(passed) + 1) * 10, np.array(passed, bool), independent)
    assert verdict(evidence, tied, *span) is expected


def test_a_job_is_as_good_as_its_worst_session() -> None:
    assert worst([Verdict.PROVEN, Verdict.UNCLOSED]) is Verdict.UNCLOSED
    assert worst([Verdict.UNTIED, Verdict.FAILED, Verdict.PROVEN]) is Verdict.FAILED
    assert worst([]) is Verdict.UNCHECKED


def test_the_place_of_an_occupation_among_the_points() -> None:
    assert [place(time, 10, 20) for time in (5, 10, 15, 20, 25)] == [
        Place.OPENING, Place.OPENING, Place.BETWEEN, Place.CLOSING, Place.CLOSING
    ]  # fmt: skip
    assert place(15, None, None) is Place.OPENING


def stretches(passed: list[bool], start: int, end: int, *, independent: bool = True) -> list[tuple[int, int, Proof]]:
    times = np.arange(1, len(passed) + 1) * 10
    times.setflags(write=False)
    return Evidence(times, np.array(passed, bool), independent).stretches(start, end)


def test_a_session_falls_into_stretches_of_one_word_each() -> None:
    """Occupations at 10, 20, 30, 40; neighbours with one word are one stretch, and all of the session is covered."""
    assert stretches([True, True, True], 5, 35) == [
        (5, 10, Proof.UNCLOSED), (10, 30, Proof.BRACKETED), (30, 35, Proof.UNCLOSED),
    ]  # fmt: skip
    assert stretches([True, True, False, True], 0, 50) == [
        (0, 10, Proof.UNCLOSED), (10, 20, Proof.BRACKETED), (20, 40, Proof.SUSPECT), (40, 50, Proof.UNCLOSED),
    ]  # fmt: skip
    assert stretches([True, True], 5, 35, independent=False) == [(5, 35, Proof.UNCHECKED)]
    assert stretches([], 5, 35) == [(5, 35, Proof.UNCLOSED)]


def test_stretches_are_true_of_every_time_within_them_however_short() -> None:
    random = np.random.default_rng(5)
    for _ in range(50):
        times = np.sort(random.integers(0, 40, random.integers(0, 8)))
        evidence = Evidence(times, random.random(len(times)) < 0.6, bool(random.random() < 0.7))
        found = evidence.stretches(0, 40)
        assert (found[0][0], found[-1][1]) == (0, 40)
        for since, until, word in every(found):
            inside = np.setdiff1d(np.arange(since + 1, until), times)  # an occupation itself belongs to both sides
            assert {PROOFS[code] for code in evidence.words(inside)} <= {word}
