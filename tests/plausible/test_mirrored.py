"""Readings whose minus was lost, planted in the track of somebody who walks a field in lanes across zero degrees."""

import numpy as np
import pytest

from pipeline.plausible import Look, mirrored, on_sphere
from pipeline.plausible.mirrored import Mirrored

#: Degrees in a metre, at the equator.
_DEGREE = 1.0 / 111_195.0


def lanes(count: int = 300, step: float = 12.0, half: float = 240.0) -> np.ndarray:
    """(n, 2) metres: to and fro from ``-half`` to ``half``, every lane a step beside the one before."""
    per = round(2 * half / step) + 1
    lane, at = np.divmod(np.arange(count), per)
    across = np.where(lane % 2 == 0, -half + step * at, half - step * at)
    return np.column_stack([across, 5.0 + step * lane])


def found(plan: np.ndarray, axis: int = 0, marks: tuple[int, ...] = (), middle: float = 0.0) -> tuple[int, Look] | None:
    """Look at a plan across the meridian (axis 0) or the equator (1); ``middle`` is the longitude, 0 or 180."""
    first, second = (plan if axis == 0 else plan[:, ::-1]).T * _DEGREE
    let_be = np.isin(np.arange(len(plan)), marks)
    places = on_sphere(middle + first, second) if axis == 0 else on_sphere(7.0 + first, second)
    of = mirrored(places, np.zeros(len(plan), np.int64), let_be)
    return None if of is None else (of.leaps, of.look)


def test_those_who_also_go_elsewhere_may_have_gone_there() -> None:
    """One trip of two comes down where the mirror would put it by chance, four of five do not; these are no doubt."""
    plan = lanes()
    plan[150] = [180.0, 400.0]
    assert found(plan) is None
    plan[[3, 87, 130, 210]] *= [-1.0, 1.0]
    of = mirrored(on_sphere(*(plan * _DEGREE).T), np.zeros(len(plan), np.int64), np.zeros(len(plan), bool))
    assert of is not None and (of.row, of.leaps, of.by_turns) == (3, 8, True)


def test_a_row_next_to_a_mark_leaps_from_that() -> None:
    plan = lanes()
    plan[3] *= [-1.0, 1.0]
    assert found(plan, marks=(4,)) == found(plan) == (2, Look.LONGITUDE_SIGN)


def test_lanes_that_all_begin_on_one_side_are_quiet() -> None:
    """The way back to the beginning of the next one leads from a place to its mirror image."""
    lane, at = np.divmod(np.arange(300), 41)
    assert found(np.column_stack([12.0 * at - 240.0, 5.0 + 12.0 * lane])) is None


@pytest.mark.parametrize("axis", [0, 1])
def test_rows_without_their_minus_leap_there_and_back(axis: int) -> None:
    plan = lanes()
    plan[[3, 4, 87, 170]] *= [-1.0, 1.0]  # all of them at least 100 m west of zero
    assert (np.abs(plan[[3, 4, 87, 170], 0]) > 100.0).all()
    assert found(plan, axis) == (6, (Look.LONGITUDE_SIGN, Look.LATITUDE_SIGN)[axis])


def test_degrees_change_their_sign_at_the_antimeridian_too() -> None:
    plan = lanes()
    plan[[3, 4, 87]] *= [-1.0, 1.0]
    assert found(plan, middle=180.0) == (4, Look.LONGITUDE_SIGN)


def test_honest_ways_across_zero_are_quiet() -> None:
    plan = lanes()
    assert found(plan) is None
    rng = np.random.default_rng(2)
    assert found(rng.permutation(plan)) is None
    assert found(rng.uniform(-300.0, 300.0, (200, 2))) is None
    away = plan.copy()
    away[[40, 41, 42]] = [[200.0, 150.0], [205.0, 160.0], [190.0, 170.0]]
    away[120:122] = [[-220.0, 250.0], [-210.0, 255.0]]
    assert found(away) is None  # trips to the other side that lead elsewhere
    assert found(np.abs(plan)) is None  # all are on one side
    mark = plan.copy()
    mark[3] *= [-1.0, 1.0]
    assert found(mark, marks=(3,)) is None


def test_a_road_along_the_meridian_measured_by_its_edges_is_quiet() -> None:
    number = np.arange(200)
    edges = np.column_stack([np.where(number % 2, 25.0, -25.0), 10.0 * (number // 2)])
    assert found(edges) is None


def banks(middle: float, marks: bool) -> Mirrored | None:
    """Look at two banks 120 m apart, measured by turns in stretches of 30 points, with a mark on either or none."""
    number = np.arange(180)
    side = np.where(number // 30 % 2 == 0, -1.0, 1.0)
    plan = np.column_stack([middle + 60.0 * side, 10.0 * number])
    let_be = np.isin(number, [2, 50, 100, 140]) & marks
    return mirrored(on_sphere(plan[:, 0] * _DEGREE, plan[:, 1] * _DEGREE), np.zeros(180, np.int64), let_be)


def test_two_banks_with_marks_on_either_may_be_measured_by_turns() -> None:
    """The mirror image of one bank is the other one, where zero lies in their middle: common practice, no source."""
    there, without = banks(1.0, marks=True), banks(1.0, marks=False)
    assert there is not None and without is not None
    assert (there.leaps, there.by_turns) == (without.leaps, True) == (5, not without.by_turns)
    plan = lanes()  # across zero step by step: nobody works by turns, whatever marks there are
    plan[[3, 4, 87, 170]] *= [-1.0, 1.0]
    let_be = np.isin(np.arange(len(plan)), [60, 61, 100, 110])
    assert (plan[let_be, 0].min() < 0.0) and (plan[let_be, 0].max() > 0.0)
    places = on_sphere(plan[:, 0] * _DEGREE, plan[:, 1] * _DEGREE)
    walked = mirrored(places, np.zeros(len(plan), np.int64), let_be)
    assert walked is not None and not walked.by_turns


def test_ways_to_marks_do_not_count_among_the_usual_ones() -> None:
    plan = lanes()
    plan[[13, 14, 87, 170]] *= [-1.0, 1.0]
    marks = (30, 31, 60, 90, 120, 150, 180, 210, 240, 250, 260, 270, 280, 290)
    plan[list(marks), 1] += 700.0
    assert found(plan, marks=marks) == (6, Look.LONGITUDE_SIGN)
