"""A base that moves between two occupations by less than the tolerance leaves: by simulated occupations of marks."""

from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest

from pipeline.arrays import Floats
from pipeline.examine.doubtful import Doubtful
from pipeline.solve.moved_within import moved_within_doubts
from pipeline.solve.reading_precision import Precision

SIGMA = np.array([0.008, 0.008, 0.015])


def doubts(marks: str, off: Floats) -> list[Doubtful]:
    """What is in doubt about a day with an occupation an hour, whose ties are the first and the last of all."""
    off = off - off[[0, -1]].mean(axis=0)
    count = len(marks)
    passed = (np.hypot(off[:, 0], off[:, 1]) <= 0.03) & (np.abs(off[:, 2]) <= 0.05)
    compared = SimpleNamespace(holds=np.ones((count, 2), bool), vectors=off, passed=passed, judged=np.ones(count, bool))
    on_marks = SimpleNamespace(
        compared=compared, temporary=np.zeros(count, bool), session=np.zeros(count, np.int64),
        precision=Precision(np.tile(SIGMA, (count, 1))), time=np.arange(count) * 3_600_000, marks=tuple(marks),
    )  # fmt: skip
    checks, quality = SimpleNamespace(horizontal=0.03, vertical=0.05), SimpleNamespace(centring=0.003)
    window = SimpleNamespace(index=0, session=SimpleNamespace(name="day"))
    survey = SimpleNamespace(job=SimpleNamespace(checks=checks, quality=quality), windows=(window,))
    return list(moved_within_doubts(cast(Any, survey), cast(Any, on_marks)))


def noise(count: int, times: float, seed: int) -> Floats:
    drawn: Floats = np.random.default_rng(seed).normal(size=(count, 3)) * SIGMA * times
    return drawn


@pytest.mark.parametrize("moved", [(0.0, 0.0, 0.08), (0.034, -0.024, 0.0)], ids=["in height", "in plan"])
@pytest.mark.parametrize("times", [0.0, 0.4], ids=["noise-free", "noise"])
def test_a_move_that_ties_before_and_after_share(moved: tuple[float, float, float], times: float) -> None:
    step = np.where(np.arange(6)[:, None] >= 3, moved, 0.0)
    (doubt,) = doubts("ABCABC", step + noise(6, times, 3))
    assert doubt.sessions == (0,) and "between 1970-01-01 02:00:00 and 1970-01-01 03:00:00 UTC" in doubt.what
    said = [float(part) for part in doubt.what.split("moved by (")[1].split(")")[0].split(", ")]
    assert said == pytest.approx([-part for part in moved], abs=0.015)


@pytest.mark.parametrize("marks", ["ABCBA", "ABABAB", "ABCA", "ABCDABCD"])
@pytest.mark.parametrize("times", [0.0, 1.0, 2.0, 3.0])
def test_noise_is_none_however_much_better_it_is_stated(marks: str, times: float) -> None:
    assert sum(len(doubts(marks, noise(len(marks), times, seed))) for seed in range(300)) == 0


@pytest.mark.parametrize("marks", ["AABB", "ABBA", "ABABAB", "AAABBB"])
def test_marks_whose_coordinates_are_off_differ_by_mark_and_not_by_time(marks: str) -> None:
    of_mark = np.array([[0.0, 0.0, 0.0] if mark == "A" else [0.02, 0.015, 0.045] for mark in marks])
    assert not doubts(marks, of_mark + noise(len(marks), 0.3, 5))


def test_a_steady_drift_is_no_move() -> None:
    drift = np.linspace(0.0, 1.0, 8)[:, None] * [0.0, 0.0, 0.09]
    assert not doubts("ABABABAB", drift + noise(8, 0.2, 7))


def test_three_occupations_tell_nothing() -> None:
    assert not doubts("ABA", np.array([[0.0, 0.0, 0.0], [0.0, 0.0, 0.08], [0.0, 0.0, 0.08]]))
