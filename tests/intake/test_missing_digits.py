"""A digit that was replaced by another throughout a column is missed; columns that are as they were written miss none.

What is honest is made as exports, conversions and generators make it (common practice, no source).
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from sifted_batches import sifted_batch

from pipeline.arrays import Floats
from pipeline.intake.missing_digits import MissingDigits, missing_digits
from pipeline.job.model import Columns, Points
from pipeline.read.exports import Export

Random = np.random.Generator


def replaced(values: Floats, decimals: int, digit: int, by: int) -> Floats:
    """Replace a digit as a spreadsheet does, in the text of every number."""
    return np.array([float(f"{value:.{decimals}f}".replace(str(digit), str(by))) for value in values])


@pytest.mark.parametrize(("digit", "by"), [(5, 6), (0, 8), (9, 0), (1, 7)])
@pytest.mark.parametrize(("decimals", "middle", "spread"), [(3, 100.0, 3.0), (9, 50.1, 3e-4), (3, 300_000.0, 80.0)])
@pytest.mark.parametrize("count", [200, 1_000])
def test_a_digit_that_was_replaced_is_missed(
    count: int, decimals: int, middle: float, spread: float, digit: int, by: int
) -> None:
    for seed in range(20):
        values = middle + np.random.default_rng(seed).normal(0.0, spread, count)
        (one,) = missing_digits(replaced(values, decimals, digit, by))
        assert (one.digit, one.instead, one.start, one.stop) == (digit, by, 0, count)
        assert 2 <= one.places <= decimals and 0.5 * count <= one.count <= count


@pytest.mark.parametrize("decimals", [3, 4, 9])
def test_so_is_one_of_a_part_of_the_rows(decimals: int) -> None:
    for seed in range(20):
        values = (50.0 + np.random.default_rng(seed).normal(0.0, 10.0 ** (3 - decimals), 1_000)).round(decimals)
        values[600:850] = replaced(values[600:850], decimals, 5, 6)
        (one,) = missing_digits(values)
        assert (one.digit, one.instead) == (5, 6) and 580 <= one.start <= 600 and 850 <= one.stop <= 870


@pytest.mark.parametrize(("count", "decimals", "spread"), [(90, 3, 30.0), (70, 4, 30.0), (60, 9, 1e-3)])
def test_few_numbers_tell_it_where_they_have_decimals_enough(count: int, decimals: int, spread: float) -> None:
    """Of 80 random draws three fail the other rule: a digit that comes too rarely, or another too often."""
    told = 0
    for seed in range(80):
        random = np.random.default_rng(seed)
        digit, by = random.choice(10, 2, replace=False)
        found = missing_digits(replaced(50.1 + random.normal(0.0, spread, count), decimals, digit, by))
        told += [(one.digit, one.instead) for one in found] == [(digit, by)]
    assert told >= 60


def told(values: Floats, batch: int) -> list[tuple[int, int, int, int, int, bool]]:
    """What is told of an export in metres that has these heights, and places at random, in batches of so many rows."""
    count, found = len(values), MissingDigits()
    place = np.column_stack([np.random.default_rng(9).normal(3e5, 99.0, (count, 2)).round(3), values])
    named = Columns(name="Name", time="Time", easting="E", northing="N", height="H")
    points = Points(files=("one.csv",), crs="EPSG:32632", columns=named)
    export = Export(Path("one.csv"), "one.csv", 0, points, "", ())
    for rows in np.split(np.arange(count), range(batch, count, batch)):
        columns = dict(zip(("first", "second", "third"), place[rows].T, strict=True))
        found.take(sifted_batch(pa.RecordBatch.from_pydict({**columns, "source_row": rows + 2}), export))
    return [(one.axis, one.digit, one.instead, one.first, one.last, one.whole) for one in found.found()]


@pytest.mark.parametrize("batch", [7_000, 20_000, 65_536])
def test_all_rows_of_a_large_export_are_looked_at(batch: int) -> None:
    """A digit that is missing throughout is told once, and one of rows far behind by the rows that lack it."""
    values = (50.0 + np.random.default_rng(1).normal(0.0, 3.0, 50_000)).round(3)
    assert told(values, batch) == []
    assert told(replaced(values, 3, 5, 6), batch) == [(2, 5, 6, 2, 50_001, True)]
    values[45_000:46_000] = replaced(values[45_000:46_000], 3, 5, 6)
    ((axis, digit, instead, first, last, whole),) = told(values, batch)
    assert (axis, digit, instead, whole) == (2, 5, 6, False)
    assert 44_980 <= first <= 45_002 and 46_001 <= last <= 46_021


def scattered(random: Random) -> Floats:
    return random.normal(100.0, 3.0, 400).round(3)


def few(random: Random) -> Floats:
    return random.normal(100.0, 3.0, 60).round(3)


def degrees(random: Random) -> Floats:
    return (50.1 + random.normal(0.0, 3e-4, 3_000)).round(9)


def as_computed(random: Random) -> Floats:
    """All the bits of it."""
    return 50.1 + random.normal(0.0, 3e-4, 3_000)


def to_fives(random: Random) -> Floats:
    return (random.normal(100.0, 3.0, 3_000) / 0.005).round() * 0.005


def even(random: Random) -> Floats:
    return (random.normal(100.0, 3.0, 3_000) / 0.002).round() * 0.002


def from_feet(random: Random) -> Floats:
    return ((random.normal(300.0, 9.0, 3_000)).round(2) * 0.3048).round(3)


def from_inches(random: Random) -> Floats:
    return ((random.normal(300.0, 99.0, 3_000) / 0.0254).round() * 0.0254).round(3)


def in_two_bytes(random: Random) -> Floats:
    return random.normal(20.0, 9.0, 3_000).astype(np.float16).astype(np.float64).round(3)


def in_four_bytes(random: Random) -> Floats:
    return random.normal(300_000.0, 99.0, 3_000).astype(np.float32).astype(np.float64).round(3)


def degrees_in_four_bytes(random: Random) -> Floats:
    return random.normal(50.1, 1e-2, 3_000).astype(np.float32).astype(np.float64).round(7)


def lattice(random: Random) -> Floats:
    return (np.arange(3_000) * 1.25 + float(random.integers(1_000))).round(3)


def thirds(random: Random) -> Floats:
    return ((np.arange(3_000) + random.integers(1_000)) / 3.0).round(4)


def seventh(random: Random) -> Floats:
    """Steps of a seventh, whose decimals have six of the ten digits alone."""
    return ((np.arange(3_000) + random.integers(1_000)) / 7.0).round(6)


def ninths(random: Random) -> Floats:
    return (random.integers(0, 100_000, 900) / 9.0).round(3)


def chainages(random: Random) -> Floats:
    return (np.arange(3_000) * 0.011 + float(random.integers(1_000))).round(3)


def standing(random: Random) -> Floats:
    """A static occupation, logged for an hour."""
    return (100.0 + random.normal(0.0, 0.004, 3_600)).round(4)


def level(random: Random) -> Floats:
    return (100.0 + random.normal(0.0, 0.01, 3_000)).round(3)


def mixed(random: Random) -> Floats:
    """Some rows with fewer decimals."""
    values = random.normal(100.0, 3.0, 2_000)
    return np.concatenate([values[:500].round(2), values[500:].round(3)])


@pytest.mark.parametrize(
    "honest",
    [scattered, few, degrees, as_computed, to_fives, even, from_feet, from_inches, in_two_bytes, in_four_bytes,
     degrees_in_four_bytes, lattice, thirds, seventh, ninths, chainages, standing, level, mixed],
)  # fmt: skip
def test_honest_numbers_miss_none(honest: Callable[[Random], Floats]) -> None:
    for seed in range(40):
        assert missing_digits(honest(np.random.default_rng(seed))) == [], seed


def test_numbers_from_any_lattice_miss_none() -> None:
    """Multiples of any step, rounded: steps of a unit, a fraction or a screen, and others."""
    random, usual = np.random.default_rng(0), [0.3048, 0.0254, 1 / 3, 1 / 7, 1 / 9, 1 / 11, 1 / 13, 1 / 32, 0.7, 0.011]
    for number in range(2_000):
        step = (
            float(random.choice(usual)) * 10.0 ** -random.integers(0, 4) if number % 2 else 10 ** random.uniform(-4, 0)
        )
        most = 10 ** int(random.integers(2, 5))
        values = random.integers(0, most, random.integers(100, 3_000)) * step + random.uniform(0, 999) * (number % 3)
        assert missing_digits(values.round(random.integers(2, 7))) == [], number


@pytest.mark.parametrize("value", [1e300, 1e15, 0.0])
@pytest.mark.parametrize("count", [0, 1, 300])
def test_numbers_that_are_no_coordinates_do_no_harm(value: float, count: int) -> None:
    assert missing_digits(np.full(count, value)) == []
