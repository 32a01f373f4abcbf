"""By chance or by a system: what bases have in common is no error of theirs. Expectations by hand, from the rules."""

import numpy as np
import pytest

from pipeline.examine.systematic import alike, by_separation, near_separation, one_height, some_by_separation


def off(*rows: tuple[float, float, float]) -> np.ndarray:
    return np.array(rows, float)


def bases(count: int) -> np.ndarray:
    return np.arange(count)


@pytest.mark.parametrize(("separation", "sign"), [(33.0, 1), (-33.0, -1)])
def test_one_session_tells_what_no_base_is_off_by(separation: float, sign: int) -> None:
    assert by_separation(bases(1), off((0.9, 0.4, 28.1)), np.array([separation])).tolist() == [sign]
    assert by_separation(bases(1), off((0.9, 0.4, -28.1)), np.array([separation])).tolist() == [-sign]


def test_what_one_base_may_be_off_by_tells_nothing() -> None:
    assert by_separation(bases(1), off((0.9, 0.4, 9.5)), np.array([10.5])).tolist() == [0]
    assert by_separation(bases(1), off((0.9, 0.4, 19.0)), np.array([47.0])).tolist() == [0]
    assert by_separation(bases(1), off((0.9, 0.4, 0.1)), np.array([47.0])).tolist() == [0]


def test_many_bases_tell_what_one_cannot() -> None:
    ups = off(*((1.0 * n, 0.7, up) for n, up in enumerate([5.0, 12.0, 9.0, 6.5, 8.8, 4.9, 10.1, 7.7, 9.9])))
    assert by_separation(bases(9), ups, np.full(9, 8.0)).tolist() == [1] * 9
    assert by_separation(np.zeros(9, int), ups[[0] * 9], np.full(9, 8.0)).tolist() == [0] * 9  # one base, one error


@pytest.mark.parametrize("sign", [1, -1])
def test_two_bases_that_are_both_off_by_the_separation(sign: int) -> None:
    """Of bases off by 5 m, two are within 0.3 m of 10.6 by chance one time in ten thousand; of 3 m, one in 300."""
    two, far = off((0.3, -0.2, 10.74), (-0.5, 0.4, 10.38)), np.full(2, 10.58)
    two[:, 2] *= sign
    assert by_separation(bases(2), two, far).tolist() == [sign, sign]
    assert by_separation(bases(2), two, -far).tolist() == [-sign, -sign]
    assert by_separation(bases(1), two[:1], far[:1]).tolist() == [0]
    assert by_separation(np.zeros(2, int), two[[0, 0]], far).tolist() == [0, 0]  # one base, left as it was
    assert by_separation(bases(2), two * [1, 1, -1] ** np.array([[0], [1]]), far).tolist() == [0, 0]  # one up, one down
    assert by_separation(bases(2), two - [0, 0, sign * 0.5], far).tolist() == [0, 0]
    assert by_separation(bases(2), two - [0, 0, sign * 7.58], far - 7.58).tolist() == [0, 0]


def test_one_base_that_is_off_by_the_separation_is_worth_a_word() -> None:
    ups = off((0.3, -0.2, 10.9), (0.3, -0.2, -10.3), (0.3, -0.2, 9.9), (0.3, -0.2, np.nan))
    assert near_separation(ups, np.full(4, 10.58)).tolist() == [1, -1, 0, 0]
    assert near_separation(ups - [0, 0, 7.0], np.full(4, 3.58)).tolist() == [0, 0, 0, 0]


def test_a_base_that_is_right_in_plan_has_no_reason_to_be_off_in_height() -> None:
    assert by_separation(bases(1), off((0.03, -0.02, 4.6)), np.array([4.5])).tolist() == [1]
    assert by_separation(bases(1), off((0.03, -0.02, 2.0)), np.array([4.5])).tolist() == [0]  # an antenna height
    assert by_separation(bases(1), off((0.9, -0.02, 4.6)), np.array([4.5])).tolist() == [0]


def test_sessions_without_heights_tell_nothing() -> None:
    nothing = off((0.3, 0.2, np.nan), (0.9, -1.0, np.nan))
    assert by_separation(bases(2), nothing, np.full(2, 20.0)).tolist() == [0, 0]
    assert by_separation(bases(2), nothing, np.full(2, np.nan)).tolist() == [0, 0]
    some = off((0.3, 0.2, 19.0), (0.9, -1.0, np.nan), (1.0, 1.0, 22.0))
    assert by_separation(bases(3), some, np.full(3, 20.0)).tolist() == [1, 0, 1]


def test_some_sessions_only() -> None:
    found = by_separation(bases(3), off((1.0, 0.3, -3.0), (0.2, 0.9, 44.0), (-0.8, 0.1, 6.0)), np.full(3, 47.0))
    assert found.tolist() == [0, 1, 0]


def test_ellipsoidal_heights_on_both_sides_tell_nothing() -> None:
    assert by_separation(bases(2), off((0.0, 0.0, 12.0), (1.0, 0.0, 12.0)), np.zeros(2)).tolist() == [0, 0]
    assert by_separation(np.zeros(0, int), np.zeros((0, 3)), np.zeros(0)).tolist() == []


def test_bases_that_are_off_alike() -> None:
    one, other = (0.61, 1.52, -0.1), (0.70, 1.50, 0.05)
    assert alike(bases(2), off(one, other)).tolist() == [True, True]
    assert alike(np.zeros(2, int), off(one, other)).tolist() == [False, False]  # one base, left where it stood
    assert alike(bases(2), off(one, (0.9, 1.5, 0.0))).tolist() == [False, False]
    assert alike(bases(3), off(one, other, (3.0, -1.0, 5.0))).tolist() == [True, True, False]
    assert not alike(bases(4), off(one, other, (3.0, -1.0, 5.0), (-2.0, 0.4, 1.0))).any()  # not more than half
    assert not alike(bases(2), off((np.nan, np.nan, 1.0), other)).any()


def test_heights_that_were_never_filled_in() -> None:
    assert one_height(np.array([0.0, 0.0]))
    assert one_height(np.array([-9999.0, -9999.0]))
    assert one_height(np.array([12.345, 12.345, 12.345]))
    assert not one_height(np.array([12.345, 12.345]))  # two marks on one floor
    assert not one_height(np.array([310.0, 310.0]))
    assert not one_height(np.array([0.0]))
    assert not one_height(np.array([0.0, 0.001]))


@pytest.mark.parametrize("base", [0.0, 6.3])
@pytest.mark.parametrize("separation", [-41.0, 52.0])
def test_some_marks_of_a_register_may_be_off_by_the_separation_alone(base: float, separation: float) -> None:
    """Whichever of them are fewer, and wherever the base is; else it is nothing that the separation explains."""
    up = np.array([0.01, separation - 0.02, 0.0, separation + 0.01])
    left = some_by_separation(base + up, separation)
    assert left is not None and left < 0.05
    assert some_by_separation(base + np.array([0.01, -0.02, 0.0]), separation) is None
    assert some_by_separation(base + np.array([0.01, separation - 0.02, 7.0]), separation) is None
    assert some_by_separation(base + np.array([0.0, 0.6]), 0.6) is None


def test_heights_in_feet_are_not_off_by_the_separation_alone() -> None:
    """Marks of 1.8, 2.6 and 14.2 m, read as so many feet, are off by 70 % of what they should be."""
    assert some_by_separation(np.array([1.8, 2.6, 14.2]) * 2.28, -41.0) is None
