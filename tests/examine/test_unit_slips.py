"""Marks off their readings by another unit or by a base's error: told apart on invented numbers."""

import numpy as np
import pytest

from pipeline.examine.unit_slips import (
    another_foot,
    by_heights,
    feet_for_metres,
    high_for_feet,
    may_be_another_foot,
)

#: What two marks would be off by in the other foot: 2 parts in a million of the coordinates of a state plane.
OTHER = np.array([[-1.5, -6.2], [-1.5, -6.21]])


@pytest.mark.parametrize(
    ("base", "told"),
    [
        pytest.param((0.0, 0.0), True, id="known-base"),
        pytest.param((0.9, -1.1), True, id="averaged-base"),
        pytest.param((-4.0, 5.0), False, id="far-base"),
    ],
)
def test_the_other_foot(base: tuple[float, float], told: bool) -> None:
    assert another_foot(OTHER + base, OTHER) is told


def test_a_base_alone_is_no_foot() -> None:
    """Ten thousand bases that averaged their own positions, 0.75 m in each direction: none is taken for a foot."""
    bases = np.random.default_rng(3).normal(0.0, 0.75, (10_000, 2))
    assert not any(another_foot(base[None], OTHER[:1]) for base in bases)
    small = OTHER[:1] / 6.0  # a metre, within what a base is off by: chance alone comes as near one time in a hundred
    assert sum(another_foot(base[None], small) for base in bases) < 100


def test_a_usual_base_hides_no_other_foot() -> None:
    """Of ten thousand averaged bases in a zone whose feet differ by 5 m not one in a hundred hides that."""
    other = np.array([[5.0, 0.4]])
    bases = np.random.default_rng(4).normal(0.0, 0.75, (10_000, 2))
    assert sum(another_foot(other + base, other) for base in bases) > 9_900
    assert sum(another_foot(base[None], other) for base in bases) < 20


def test_a_base_beside_a_small_step_is_told_not_doubted() -> None:
    """A zone with 3.5 m between the feet, bases of 1.3 m in each direction: that one points there says little.

    One in twenty such bases may be the foot's, and one in a hundred takes a proof away. Of those that hide the foot
    four in five are told, and most of them doubted.
    """
    other = np.array([[1.4, 3.2]])
    bases = np.random.default_rng(7).normal(0.0, 1.3, (10_000, 1, 2))
    assert sum(another_foot(base, other) for base in bases) < 150
    assert sum(may_be_another_foot(base, other) for base in bases) < 600
    told = sum(may_be_another_foot(other + base, other) for base in bases)
    assert told > 7_000
    assert sum(another_foot(other + base, other) for base in bases) > 0.6 * told


@pytest.mark.parametrize("part", [-1.0, 1.0], ids=["against it", "with it"])
def test_a_base_error_along_the_step_of_the_foot(part: float) -> None:
    """A zone with 4.5 m between the feet: a base 2.4 m off along that makes 6.9 m, or 2.1 m as a base alone may."""
    other = np.array([[1.7, 4.15]])
    off = other * (1.0 + part * 2.4 / np.hypot(1.7, 4.15))
    assert another_foot(off, other) is (part > 0.0)


def test_many_bases_tell_what_one_cannot() -> None:
    """Two metres: the middle of nine averaged bases is off by a third of a metre."""
    other = np.tile([[1.8, 0.9]], (9, 1))
    bases = np.random.default_rng(5).normal(0.0, 0.75, (1_000, 9, 2))
    assert sum(another_foot(other + nine, other) for nine in bases) > 980
    assert sum(another_foot(nine, other) for nine in bases) < 5
    assert not any(another_foot(other[:1] + nine[:1], other[:1]) for nine in bases if np.hypot(*nine[0]) > 0.1)


def test_many_bases_tell_low_heights_in_feet() -> None:
    """A flat place 5 m high, in feet 11 m higher: no base tells it alone, sixteen of 4 m each do."""
    up = -11.4 + np.random.default_rng(6).normal(0.0, 4.0, 16)
    assert high_for_feet(up, up + 11.4)
    assert not any(high_for_feet(up[n : n + 1], up[n : n + 1] + 11.4) for n in range(16) if abs(up[n]) < 15.0)
    assert not high_for_feet(up + 11.4, up + 22.8)


@pytest.mark.parametrize(
    ("heights", "base", "told"),
    [
        pytest.param([180.0, 184.0], 6.0, True, id="two-heights"),
        pytest.param([180.0, 180.0], 6.0, True, id="one-height-high"),
        pytest.param([4.0, 4.0], 6.0, False, id="one-height-low"),
        pytest.param([180.0, 184.0], 60.0, False, id="another-cause"),
    ],
)
def test_heights_in_feet(heights: list[float], base: float, told: bool) -> None:
    other = np.array(heights) * (1.0 - 1.0 / 0.3048)
    assert feet_for_metres(other + base, np.full(2, base), other) is told


def test_nothing_known_tells_nothing() -> None:
    assert not may_be_another_foot(np.full((2, 2), np.nan), OTHER)
    assert not feet_for_metres(np.full(2, np.nan), np.ones(2), np.ones(2))
    assert not feet_for_metres(np.zeros(0), np.zeros(0), np.zeros(0))


def test_marks_of_different_heights_deny_feet() -> None:
    """Two marks 20 m apart in height that are off alike are in the right unit, whatever all are off by."""
    up, heights = np.array([47.0, 47.02]), np.array([60.0, 80.0])
    made = heights * (1.0 - 0.3048)
    assert not feet_for_metres(up, up - made, made)
    assert feet_for_metres(made, heights * 0.0, made)


def session_of(heights: np.ndarray, base: float, noise: float, feet: bool, seed: int) -> tuple[np.ndarray, ...]:
    """Marks over the readings on them, as read in metres and if in feet, and what feet alone make: (n,) metres up."""
    observed = heights - base + np.random.default_rng(seed).normal(0.0, noise, len(heights))
    read = observed / 0.3048 if feet else observed
    return heights - read, heights - read * 0.3048, heights - heights / 0.3048


@pytest.mark.parametrize("noise", [0.0, 0.02, 0.06])
@pytest.mark.parametrize("spread", [0.0, 0.15, 0.5, 4.0])
@pytest.mark.parametrize("base", [-10.6, -14.0, 9.0])
def test_a_base_on_a_shore_is_no_foot(base: float, spread: float, noise: float) -> None:
    """Marks 3 m above the sea, and a base that broadcasts as much as such heights are more in feet, or less."""
    for seed in range(200):
        heights = 3.0 + spread * np.random.default_rng(seed + 1_000).normal(0.0, 1.0, 2 + seed % 4)
        assert not feet_for_metres(*session_of(heights, base, noise, feet=False, seed=seed))


@pytest.mark.parametrize("noise", [0.0, 0.02])
@pytest.mark.parametrize("ground", [4.0, 25.0, 430.0])
def test_heights_in_feet_on_a_shore_are_told(ground: float, noise: float) -> None:
    """Marks whose heights differ by some decimetres among four: nine in ten days are in doubt."""
    told = 0
    for seed in range(200):
        heights = ground + 0.4 * np.random.default_rng(seed + 1_000).normal(0.0, 1.0, 4)
        told += feet_for_metres(*session_of(heights, 0.0, noise, feet=True, seed=seed))
    assert told >= 180


def test_sessions_together_deny_feet() -> None:
    """Sixteen bases that broadcast 6 m too low each, two marks each: feet by their size, not by what heights say."""
    random = np.random.default_rng(8)
    session = np.repeat(np.arange(16), 2)
    heights = 3.0 + random.normal(0.0, 0.4, 32)
    for feet in (False, True):
        read = heights - (0.0 if feet else -6.0) + random.normal(0.0, 0.03, 32)
        read = read / 0.3048 if feet else read
        made = heights - heights / 0.3048
        assert by_heights(heights - read, made, session) is feet
        assert by_heights(heights - read, np.full(32, -6.0), session) is None  # all marks at one height
