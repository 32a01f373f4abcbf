"""Columns that hold a position or a height a second time: told where they scatter, not where they change smoothly.

Sites and differences are simulated, so what each column is is known; how far stakes are off a design, and poles and
geoids, are common practice.
"""

from collections.abc import Callable
from functools import partial

import numpy as np
import pytest

from pipeline.arrays import Floats
from pipeline.plausible.second_columns import second_columns

_ROWS = 40
Makes = Callable[[Floats, Floats, Floats, np.random.Generator], tuple[Floats, Floats, Floats]]


def _site(metre: float = 1.0, size: float = 400.0) -> tuple[Floats, Floats, Floats, np.random.Generator]:
    some = np.random.default_rng(7)
    east, north = 512_000.0 + some.uniform(0, size, _ROWS), 5_431_000.0 + some.uniform(0, size, _ROWS)
    east, north, height = (np.round(each / metre, 3) for each in (east, north, 230.0 + some.uniform(0, 12, _ROWS)))
    return east, north, height, some


def _rounded(values: Floats) -> Floats:
    return np.round(values, 3)


def _found(
    makes: Makes, heads: tuple[str, str, str], *, metre: float = 1.0, size: float = 400.0, mapped: str = ""
) -> tuple[list[tuple[str, ...]], list[tuple[str, ...]]]:
    """Return which columns are second ones, in plan and in height."""
    east, north, height, some = _site(metre, size)
    columns = dict(zip(heads, makes(east, north, height, some), strict=True))
    readers = {name: partial(_rounded, values) for name, values in columns.items()}
    where = east * metre, north * metre
    plan = second_columns([(f"{mapped}E", east), (f"{mapped}N", north)], [readers] * 2, where, [metre] * 2)
    up = second_columns([(f"{mapped}Z", height)], [readers], where, [metre], companion=bool(plan))
    return [one.columns for one in plan], [one.columns for one in up]


def _off(sigma: float) -> Makes:
    def makes(e: Floats, n: Floats, h: Floats, some: np.random.Generator) -> tuple[Floats, Floats, Floats]:
        off = some.normal(0.0, sigma, (3, _ROWS))
        return e + off[0], n + off[1], h + off[2]

    return makes


@pytest.mark.parametrize("heads", [("E as-staked", "N as-staked", "Z as-staked"), ("E2", "N2", "Z2"),
                                   ("Rechtswert Ist", "Hochwert Ist", "Höhe Ist"), ("F7", "F8", "F9"),
                                   ("E des points", "N des points", "Z des points")])  # fmt: skip
def test_what_was_staked_out_is_told_whatever_its_heading(heads: tuple[str, str, str]) -> None:
    assert _found(_off(0.025), heads) == ([heads[:2]], [heads[2:]])


def test_in_feet_too() -> None:
    assert _found(_off(0.08), ("E2", "N2", "Z2"), metre=0.3048) == ([("E2", "N2")], [("Z2",)])


@pytest.mark.parametrize("said", ["Design {}", "{} Soll", "Base {}", "Antenna {}", "{} previous", "{} diseño", "{}proj",
                                  "{} návrh", "Teor. {}", "Setout {}", "Proposed {}", "{} théo",
                                  "Des {}", "{} suunn", "Planum {}", "Rasante {}", "{} niveleta",
                                  "Surf {}"])  # fmt: skip
def test_what_a_heading_says_to_be_of_something_else_is_not(said: str) -> None:
    assert _found(_off(0.025), (said.format("E"), said.format("N"), said.format("Z"))) == ([], [])


def test_a_plain_column_beside_one_that_says_that_it_was_measured_is_not() -> None:
    assert _found(_off(0.025), ("E", "N", "Z"), mapped="Measured ") == ([], [])


def _localised(e: Floats, n: Floats, h: Floats, _: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """Return a site calibration: shift, turn, scale and an inclined plane."""
    x, y = e - e[0], n - n[0]
    return (e + 0.7 + 3e-4 * x - 2e-3 * y, n - 0.4 + 2e-3 * x + 3e-4 * y, h + 0.3 + 2e-5 * x - 4e-5 * y)


def _geoid(e: Floats, n: Floats, h: Floats, _: np.random.Generator) -> tuple[Floats, Floats, Floats]:
    """Return heights above a geoid that slopes by 5 cm per km, and the slope by a fifth of it."""
    x, y = (e - e[0]) / 1000.0, (n - n[0]) / 1000.0
    return (e, n, h - 33.0 + 0.05 * x + 0.01 * x * y)


@pytest.mark.parametrize(
    "makes",
    [
        lambda e, n, h, some: (e, n, h),
        lambda e, n, h, some: (np.round(e, 1), np.round(n, 1), np.round(h, 1)),
        lambda e, n, h, some: (np.floor(e), np.floor(n), np.floor(h)),
        _localised,
        _geoid,
        lambda e, n, h, some: (e, n, h + some.choice([1.8, 2.0, 2.3], _ROWS)),
        lambda e, n, h, some: (e + np.where(np.arange(_ROWS) > 19, 0.8, 0.1), n, h + 0.1 * (np.arange(_ROWS) > 9)),
        lambda e, n, h, some: (np.full(_ROWS, e[0]), np.full(_ROWS, n[0]), np.full(_ROWS, h[0])),
        lambda e, n, h, some: (some.normal(0, 0.02, _ROWS), some.normal(0, 0.02, _ROWS), some.uniform(5, 20, _ROWS)),
        lambda e, n, h, some: (e, n, h - some.uniform(1.0, 3.5, _ROWS)),
        _off(0.006),
    ],
    ids=["copies", "decimetres", "cut off", "calibrated", "geoid", "poles", "two sessions", "one base", "qualities",
         "depths", "another epoch"],
)  # fmt: skip
@pytest.mark.parametrize("size", [30.0, 400.0, 6000.0])
def test_what_is_no_second_position(makes: Makes, size: float) -> None:
    assert _found(makes, ("E2", "N2", "Z2"), size=size) == ([], [])


def test_two_readings_and_their_mean() -> None:
    east, north, _, some = _site()
    off = np.round(some.normal(0.0, 0.03, (2, _ROWS)), 3)
    readers = [
        {"A": partial(np.add, each, by), "B": partial(np.subtract, each, by)}
        for each, by in zip((east, north), off, strict=True)
    ]
    assert not second_columns([("E", east), ("N", north)], readers, (east, north), (1.0, 1.0))


def test_beside_a_second_position_any_scatter_of_heights_counts() -> None:
    """Heights of a design are met within 2 cm, which no tolerance would tell: they belong to their position."""
    east, north, height, some = _site()
    second = {"Z2": partial(_rounded, height + some.normal(0.05, 0.015, _ROWS))}
    alone, beside = (
        second_columns([("Z", height)], [second], (east, north), [1.0], companion=companion)
        for companion in (False, True)
    )
    assert ([one.columns for one in alone], [one.columns for one in beside]) == ([], [("Z2",)])
