"""Whitening by groups, against the whole matrix and numpy's inverse; and which predictions are worked out at all."""

import numpy as np
import pytest
from few_occupations import TOLERANCE, matrix_of

from pipeline.blunders.grouped_errors import Covariance, InCommon, Whitener
from pipeline.blunders.outlook import Outlook
from pipeline.blunders.score import Hypothesis, Kind, WeighedDifferences, explain


def drawn(rng: np.random.Generator, rows: int, sessions: int, marks: int, most: float) -> tuple[Covariance, np.ndarray]:
    """A covariance by its groups, and (3, n, n) the same added up pair by pair."""
    own = rng.uniform(0.002, 0.02, (rows, 3))
    of = rng.integers(-1, sessions, rows), rng.integers(-1, marks, rows)
    sigma = rng.uniform(0, most, (sessions, 3)), rng.uniform(0, most, (marks, 3))
    whole = np.stack([np.diag(own[:, axis] ** 2) for axis in range(3)])
    for group, size in zip(of, sigma, strict=True):
        for one in range(rows):
            for other in range(rows):
                if group[one] == group[other] >= 0:
                    whole[:, one, other] += size[group[one]] ** 2
    return Covariance(own, *(InCommon(group, size) for group, size in zip(of, sigma, strict=True))), whole


@pytest.mark.parametrize("most", [0.02, 5.0])
def test_white_differences_have_the_inverse_of_the_whole_covariance(most: float) -> None:
    rng = np.random.default_rng(4)
    for rows, sessions, marks in [(1, 1, 1), (6, 2, 5), (23, 9, 3), (30, 4, 12)]:
        groups, whole = drawn(rng, rows, sessions, marks, most)
        known = rng.random((rows, 3)) < 0.8
        white = matrix_of(Whitener(groups, known), rows)
        for axis in range(3):
            seen = np.flatnonzero(known[:, axis])
            inverse = np.linalg.inv(whole[axis][np.ix_(seen, seen)])
            found = white[axis].T @ white[axis]
            least = 1e-7 * np.abs(inverse).max(initial=1.0)
            np.testing.assert_allclose(found[np.ix_(seen, seen)], inverse, rtol=0, atol=least)
            assert not found[:, ~known[:, axis]].any()


def test_an_error_in_common_of_any_size_costs_no_digits() -> None:
    """Of rows that share an error of a kilometre only their differences say anything: sum of squares about the mean."""
    values = np.array([0.01, -0.02, 0.04])[:, None] + np.zeros(3)
    common = InCommon(np.zeros(3, int), np.full((1, 3), 1000.0))
    for groups in (Covariance(np.full((3, 3), 0.01), common), Covariance(np.full((3, 3), 0.01), marks=common)):
        white = Whitener(groups, np.ones((3, 3), bool))(values)
        expected = (((values - values.mean(axis=0)) / 0.01) ** 2).sum(axis=0)
        np.testing.assert_allclose((white**2).sum(axis=0), expected, rtol=1e-8, atol=0)


def test_the_work_and_memory_are_of_the_rows_not_of_their_square() -> None:
    """Twenty thousand rows: as a matrix they would take 10 GB and hours."""
    rng = np.random.default_rng(5)
    count = 20_000
    groups = Covariance(
        np.full((count, 3), 0.005),
        InCommon(np.arange(count) // 10, np.full((count // 10, 3), 0.01)),
        InCommon(rng.integers(0, 8, count), np.full((8, 3), 0.004)),
    )
    white = Whitener(groups, np.ones((count, 3), bool))(rng.normal(0, 0.005, (count, 3)))
    # noise of the rows alone: of a session's ten directions the common one is left 1 / (1 + 10 * 4) of its square
    assert (white**2).mean() == pytest.approx(0.9 + 0.1 / 41, abs=0.02)


def test_what_may_fit_is_told_by_a_few_rows_and_never_loses_an_explanation() -> None:
    rng = np.random.default_rng(6)
    difference = rng.normal(0, 0.005, (40, 3))
    difference[[3, 17, 29, 30, 31, 38]] += [0.3, -0.2, 0.4]
    seen = WeighedDifferences(difference, np.ones((40, 3), bool), Covariance(np.full((40, 3), 0.005)))
    fits = np.zeros((40, 3))
    fits[[3, 17, 29, 30, 31, 38]] = [0.3, -0.2, 0.4]
    shapes = np.concatenate([fits + rng.normal(0, size, (50, 40, 3)) for size in (0.003, 0.01, 0.02, 1.0)])
    slack = np.where(np.arange(200) % 10 == 0, 0.5, 0.0)
    outlook = Outlook.of([seen], np.array([0, 39]), TOLERANCE)
    near = outlook.may_fit(shapes[:, outlook.rows], slack)
    tried = [Hypothesis(Kind.DATUM, str(number), shape, slack=slack[number]) for number, shape in enumerate(shapes)]
    explained = {int(one.hypothesis.text) for one in explain(seen, tried, TOLERANCE)}
    assert len(explained) > 20 and explained <= set(np.flatnonzero(near).tolist())
    assert near.sum() < 150
    # with a first cause taken out that leaves none of them a chance, and one that leaves all differences as they are
    none = WeighedDifferences(difference + 50.0, seen.known, seen.covariance)
    both = Outlook.of([none, seen], np.array([0, 39]), TOLERANCE)
    assert explained <= set(np.flatnonzero(both.may_fit(shapes[:, both.rows], slack)).tolist())
    assert not Outlook.of([none], np.array([0]), TOLERANCE).may_fit(shapes[:, :5], slack).any()
