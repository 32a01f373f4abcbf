"""Least squares against published examples; the source stands beside each. The adjustment's own core computes them."""

import numpy as np
import pytest
from every import every
from numpy.typing import NDArray
from published_network import ADJUSTED, BASELINES, FIXED

from pipeline.adjust.normal import Equations, Factored, Solution
from pipeline.adjust.statistics import chi_square, critical_value, non_centrality, reliability

Floats = NDArray[np.float64]

# NIST StRD, https://www.itl.nist.gov/div898/strd/lls/data/LINKS/DATA/Norris.dat (public domain): x and y.
NORRIS_X = """
0.2 337.4 118.2 884.6 10.1 226.5 666.3 996.3 448.6 777.0 558.2 0.4 0.6 775.5 666.9 338.0 447.5 11.6 556.0 228.1
995.8 887.6 120.2 0.3 0.3 556.8 339.1 887.2 999.0 779.0 11.1 118.3 229.2 669.1 448.9 0.5
"""
NORRIS_Y = """
0.1 338.8 118.1 888.0 9.2 228.1 668.5 998.5 449.1 778.9 559.2 0.3 0.1 778.1 668.8 339.3 448.9 10.8 557.7 228.3
998.0 888.8 119.6 0.3 0.6 557.6 339.3 888.0 998.5 778.9 10.2 117.6 228.9 668.4 449.2 0.2
"""
# NIST StRD, .../DATA/Longley.dat (public domain): y, x1 to x6.
LONGLEY = """
60323 83.0 234289 2356 1590 107608 1947   61122 88.5 259426 2325 1456 108632 1948
60171 88.2 258054 3682 1616 109773 1949   61187 89.5 284599 3351 1650 110929 1950
63221 96.2 328975 2099 3099 112075 1951   63639 98.1 346999 1932 3594 113270 1952
64989 99.0 365385 1870 3547 115094 1953   63761 100.0 363112 3578 3350 116219 1954
66019 101.2 397469 2904 3048 117388 1955  67857 104.6 419180 2822 2857 118734 1956
68169 108.4 442769 2936 2798 120445 1957  66513 110.8 444546 4681 2637 121950 1958
68655 112.6 482704 3813 2552 123366 1959  69564 114.2 502601 3931 2514 125368 1960
69331 115.7 518173 4806 2572 127852 1961  70551 116.9 554894 4007 2827 130081 1962
"""
LONGLEY_CERTIFIED = np.array(
    [
        -3482258.63459582,
        15.0618722713733,
        -0.358191792925910e-01,
        -2.02022980381683,
        -1.03322686717359,
        -0.511041056535807e-01,
        1829.15146461355,
    ]
)
LONGLEY_DEVIATIONS = np.array(
    [84.9149257747669, 0.334910077722432e-01, 0.488399681651699, 0.214274163161675, 0.226073200069370, 455.478499142212]
)


def _numbers(text: str) -> Floats:
    values = np.array(text.split(), dtype=np.float64)
    values.setflags(write=False)
    return values


def _solve_columns(design: Floats, observed: Floats) -> Solution:
    """A plain problem of one column per unknown, all weights 1."""
    rows, columns = design.shape
    unknown = np.tile(np.arange(columns), (rows, 1))
    return Factored(
        Equations(unknown, design[:, :, None, None], observed[:, None], np.ones((rows, 1, 1))), columns
    ).solution()


def test_norris() -> None:
    """NIST StRD Norris: parameters, their deviations and the residual deviation to ten digits."""
    x, y = _numbers(NORRIS_X), _numbers(NORRIS_Y)
    solution = _solve_columns(np.column_stack([np.ones(36), x]), y)
    np.testing.assert_allclose(solution.parameters[:, 0], [-0.262323073774029, 1.00211681802045], rtol=1e-10, atol=0)
    deviation = np.sqrt(solution.square_sum / 34)
    assert deviation == pytest.approx(0.884796396144373, rel=1e-11)
    certified = [0.232818234301152, 0.429796848199937e-03]
    np.testing.assert_allclose(deviation * np.sqrt(solution.covariance[:, 0, 0]), certified, rtol=1e-10, atol=0)
    spread = np.sum((y - y.mean()) ** 2)
    assert 1 - solution.square_sum / spread == pytest.approx(0.999993745883712, rel=1e-13)


def test_longley_centred() -> None:
    """NIST StRD Longley on centred columns, as the pipeline subtracts approximate values: ten digits and more."""
    table = _numbers(LONGLEY).reshape(16, 7)
    mean = table.mean(axis=0)
    solution = _solve_columns(table[:, 1:] - mean[1:], table[:, 0] - mean[0])
    slopes = solution.parameters[:, 0]
    np.testing.assert_allclose(slopes, LONGLEY_CERTIFIED[1:], rtol=1e-11, atol=0)
    assert mean[0] - mean[1:] @ slopes == pytest.approx(LONGLEY_CERTIFIED[0], rel=1e-11)
    deviation = np.sqrt(solution.square_sum / 9)
    assert deviation == pytest.approx(304.854073561965, rel=1e-11)
    np.testing.assert_allclose(
        deviation * np.sqrt(solution.covariance[:, 0, 0]), LONGLEY_DEVIATIONS, rtol=1e-10, atol=0
    )


def test_longley_as_it_stands() -> None:
    """The same without centring, condition number 4.86e9: scaling and refinement still keep nine digits and more."""
    table = _numbers(LONGLEY).reshape(16, 7)
    solution = _solve_columns(np.column_stack([np.ones(16), table[:, 1:]]), table[:, 0])
    np.testing.assert_allclose(solution.parameters[:, 0], LONGLEY_CERTIFIED, rtol=1e-9, atol=0)


# Level net: open course of the OSGeo laboratory, Budapest; OSGeoLabBp/tutorials,
# english/data_processing/level_net.rst. Point 4 is fixed; standard deviation 0.7 mm times km (not its root).
LEVEL_FIXED = 101.345
LEVELLED = np.array(
    [  # from, to (-1: the fixed point 4), height difference, km
        [0, 1, -0.749, 1.1],
        [0, 2, -1.274, 1.8],
        [0, -1, -2.890, 1.4],
        [1, 2, -0.530, 1.5],
        [1, -1, -2.141, 1.9],
        [2, -1, -1.614, 0.9],
    ]
)


def _level_net() -> Equations:
    unknown = LEVELLED[:, :2].astype(np.int64)
    observed = LEVELLED[:, 2] - np.where(unknown[:, 1] < 0, LEVEL_FIXED, 0.0)
    design = np.tile(np.array([-1.0, 1.0])[:, None, None], (6, 1, 1, 1))
    weight = (0.0007 * LEVELLED[:, 3]) ** -2.0
    return Equations(unknown, design, observed[:, None], weight[:, None, None])


def test_level_net_heights_and_residuals() -> None:
    """Heights, their deviations, m0, v' P v and residuals as the course prints them."""
    solution = Factored(_level_net(), 3).solution()
    np.testing.assert_allclose(solution.parameters[:, 0], [104.2350, 103.4868, 102.9588], rtol=0, atol=0.6e-4)
    deviation = np.sqrt(solution.square_sum / 3)
    # The course scales the deviations of its heights by m0, and prints m0 cut to two decimals.
    np.testing.assert_allclose(
        1000 * deviation * np.sqrt(solution.covariance[:, 0, 0]), [1.13, 1.19, 0.91], rtol=0, atol=0.6e-2
    )
    assert deviation == pytest.approx(1.65, abs=1e-2)
    assert solution.square_sum == pytest.approx(8.217, abs=0.6e-3)
    np.testing.assert_allclose(
        1000 * solution.residuals[:, 0], [0.81, -2.18, 0.00, 2.01, -0.81, 0.18], rtol=0, atol=0.6e-2
    )


def test_level_net_tests() -> None:
    """Redundancy numbers and standardised residuals of the course; the one-sided global test at 5 % fails."""
    equations = _level_net()
    solution = Factored(equations, 3).solution()
    tests = reliability(solution.residuals, equations.weight, solution.fitted, non_centrality(0.001, 0.80))
    np.testing.assert_allclose(tests.redundancy[:, 0], [0.3, 0.7, 0.5, 0.5, 0.7, 0.2], rtol=0, atol=0.0501)
    assert tests.redundancy.sum() == pytest.approx(3, abs=1e-9)
    np.testing.assert_allclose(np.abs(tests.standardised[:, 0]), [1.9, 2.1, 0.0, 2.6, 0.7, 0.6], rtol=0, atol=0.0501)
    upper_five_percent = chi_square(solution.square_sum, 3, 0.10)
    assert upper_five_percent.high == pytest.approx(7.815, abs=0.6e-3)
    assert not upper_five_percent.passed


# GNSS baseline network: Ghilani, Adjustment Computations, 5th ed. 2010, sections 17.6 to 17.8, see `published_network`.
STATIONS = "CDEFAB"


def _baseline_network() -> Equations:
    """The network about station A, so that the numbers are small; unknowns C, D, E, F."""
    origin = np.array(FIXED["A"])
    lines = [line.split() for line in BASELINES.split("\n") if line]
    ends = np.array([[STATIONS.index(name) for name in line[:2]] for line in lines])
    numbers = np.array([line[2:] for line in lines], dtype=np.float64)
    known = np.zeros((6, 3))
    known[4:] = [np.array(FIXED[name]) - origin for name in "AB"]
    observed = numbers[:, :3] - known[ends[:, 1]] + known[ends[:, 0]]
    unknown = np.where(ends < 4, ends, -1)
    weight = np.linalg.inv(numbers[:, 3:][:, [0, 1, 2, 1, 3, 4, 2, 4, 5]].reshape(-1, 3, 3))
    design = np.tile(np.array([-1.0, 1.0])[:, None, None] * np.eye(3), (13, 1, 1, 1))
    return Equations(unknown, design, observed, np.asarray(weight, np.float64))


@pytest.mark.parametrize("eliminated", ["", "CE"])
def test_baseline_network(eliminated: str) -> None:
    """Station C as the book prints it, the others as recomputed; v' P v, global test, the largest residuals."""
    equations = _baseline_network()
    solution = Factored(equations, 4, np.array([name in eliminated for name in "CDEF"])).solution()
    stations = solution.parameters + np.array(FIXED["A"])
    np.testing.assert_allclose(stations[0], [12046.5808, -4649394.0826, 4353160.0634], rtol=0, atol=1e-4)
    np.testing.assert_allclose(stations, [ADJUSTED[name] for name in "CDEF"], rtol=0, atol=1.1e-5)
    np.testing.assert_allclose(1000 * np.sqrt(np.diag(solution.covariance[3])), [3.77, 3.98, 3.95], rtol=0, atol=0.6e-2)
    assert solution.square_sum == pytest.approx(16.56510, abs=1e-5)
    test = chi_square(solution.square_sum, 27, 0.05)
    assert (test.low, test.high) == pytest.approx((14.573, 43.195), abs=0.6e-3)
    assert test.passed


def test_baseline_network_residuals() -> None:
    """The largest standardised residuals are A-E in X and F-A in Z, and the redundancy numbers sum to 27."""
    equations = _baseline_network()
    solution = Factored(equations, 4).solution()
    tests = reliability(solution.residuals, equations.weight, solution.fitted, non_centrality(0.001, 0.80))
    assert tests.redundancy.sum() == pytest.approx(27, abs=1e-9)
    size = np.abs(tests.standardised)
    largest = [divmod(int(place), 3) for place in np.argsort(size, axis=None)[::-1][:2]]
    assert largest == [(1, 0), (6, 2)]
    covariance = np.linalg.inv(equations.weight) - solution.fitted
    over_own_deviation = np.abs(solution.residuals) / np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
    assert [over_own_deviation[place] for place in largest] == pytest.approx([2.084, 2.009], abs=0.6e-3)
    # The test for correlated components differs from that in the third decimal here.
    assert [size[place] for place in largest] == pytest.approx([2.084, 2.009], abs=6e-3)
    assert [1000 * solution.residuals[place] for place in largest] == pytest.approx([26.45, -15.63], abs=0.6e-2)


def test_chi_square_bounds() -> None:
    """Chi-square over f at 0.95 for several f: tables of the distribution, computed with scipy for check values."""
    expected = {1: 3.8415, 2: 2.9957, 3: 2.6049, 5: 2.2141, 10: 1.8307, 20: 1.5705, 30: 1.4591}
    for freedom, ratio in every(expected.items()):
        assert chi_square(1.0, freedom, 0.10).high / freedom == pytest.approx(ratio, abs=0.6e-4)


def test_detectable_error_factor() -> None:
    """delta0 for power 80 %: 4.1321 at 0.1 %, 2.8016 at 5 %; the bounds of the normal distribution beside them."""
    assert non_centrality(0.001, 0.80) == pytest.approx(4.1321, abs=0.6e-4)
    assert non_centrality(0.05, 0.80) == pytest.approx(2.8016, abs=0.6e-4)
    assert critical_value(0.001) == pytest.approx(3.2905, abs=0.6e-4)
    assert critical_value(0.05) == pytest.approx(1.9600, abs=0.6e-4)
