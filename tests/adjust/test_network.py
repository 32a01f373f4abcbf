"""The adjustment of sessions and marks, against closed forms, a dense numpy adjustment and simulated truth."""

import numpy as np
import pytest
from numpy.typing import NDArray
from tie_networks import Network, dense, directions, read_only, spread, tied_network

from pipeline.adjust import Adjustment, Observations, adjust, missing_ties
from pipeline.replace import replace

Floats = NDArray[np.float64]
SEEDS = range(6)


def _same(first: Adjustment, second: Adjustment, atol: float = 1e-10) -> None:
    """Both adjustments give the same shifts, marks, covariances and tests."""
    tests = ("redundancy", "standardised", "detectable")
    for name in ("shifts", "shift_covariance", "marks", "mark_covariance", "residuals", *tests):
        loose = 1e-6 if name in tests else atol
        np.testing.assert_allclose(getattr(first, name), getattr(second, name), rtol=0, atol=loose, err_msg=name)


def test_single_tie() -> None:
    """One tie in one session: shift = register - raw, covariance = the sum, no redundancy, no test."""
    random = np.random.default_rng(0)
    turn = directions(-36.9, 174.8)
    register_minus_raw = np.array([0.75, -1.25, 8.5])
    tie, control = spread(random), spread(random)
    result = adjust(
        read_only(
            Observations(
                session=np.array([0, -1]),
                mark=np.array([0, 0]),
                rotation=np.array([turn, turn]),
                observed=np.array([turn @ register_minus_raw, np.zeros(3)]),
                covariance=np.array([tie, control]),
                present=np.ones((2, 3), dtype=bool),
            )
        ),
        1,
        1,
    )
    np.testing.assert_allclose(result.shifts[0], register_minus_raw, rtol=0, atol=1e-12)
    np.testing.assert_allclose(result.shift_covariance[0], turn.T @ (tie + control) @ turn, rtol=0, atol=1e-15)
    np.testing.assert_allclose(result.mark_covariance[0], turn.T @ control @ turn, rtol=0, atol=1e-15)
    np.testing.assert_allclose(result.residuals, 0, rtol=0, atol=1e-12)
    assert (result.redundancy == 0).all()
    assert np.isnan(result.standardised).all() and np.isnan(result.detectable).all()
    assert result.degrees_of_freedom == 0
    assert result.variance_factor is None and result.chi_square is None


def test_two_ties_on_one_mark() -> None:
    """Two occupations of one control mark: the weighted mean, redundancies that share the errors by variance."""
    network = Network(np.random.default_rng(1), 1, 1)
    network.occupy(0, 0, covariance=np.eye(3) * 1e-4)
    network.occupy(0, 0, covariance=np.eye(3) * 4e-4)
    network.control(0, covariance=np.eye(3) * 1e-4)
    observations = network.observations()
    result = adjust(observations, 1, 1)
    mean = (4 * observations.observed[0] + observations.observed[1]) / 5 - observations.observed[2]
    np.testing.assert_allclose(network.rotation[0] @ result.shifts[0], mean, rtol=0, atol=1e-12)
    np.testing.assert_allclose(result.redundancy, [[0.2] * 3, [0.8] * 3, [0.0] * 3], rtol=0, atol=1e-12)
    difference = (observations.observed[1] - observations.observed[0]) / np.sqrt(5e-4)
    np.testing.assert_allclose(result.standardised[:2], [difference, -difference], rtol=0, atol=1e-9)
    # An error in either shows in their difference alone, of variance 5e-4.
    np.testing.assert_allclose(result.detectable[:2], 4.1321 * np.sqrt(5e-4), rtol=0, atol=1e-5)
    assert result.degrees_of_freedom == 3


@pytest.mark.usefixtures("either_way")
@pytest.mark.parametrize("seed", SEEDS)
def test_against_a_dense_adjustment(seed: int) -> None:
    """Shifts, marks, every covariance and residual equal those of plain normal equations inverted whole."""
    network = tied_network(seed)
    observations = network.observations()
    result, reference = adjust(observations, 6, 6), dense(observations, 6, 6)
    np.testing.assert_allclose(
        np.concatenate([result.shifts, result.marks]).ravel(), reference.unknowns, rtol=0, atol=1e-9
    )
    blocks = reference.covariance.reshape(12, 3, 12, 3)[np.arange(12), :, np.arange(12), :]
    covariance = np.concatenate([result.shift_covariance, result.mark_covariance])
    np.testing.assert_allclose(covariance, blocks, rtol=0, atol=1e-12)
    row, component = reference.rows.T
    np.testing.assert_allclose(result.residuals[row, component], reference.residuals, rtol=0, atol=1e-9)
    assert np.isnan(result.residuals[~observations.present]).all()


@pytest.mark.usefixtures("either_way")
@pytest.mark.parametrize("seed", SEEDS)
def test_tests_against_a_dense_adjustment(seed: int) -> None:
    """Redundancy numbers, standardised residuals, detectable errors and global test by their definitions."""
    observations = tied_network(seed).observations()
    result, reference = adjust(observations, 6, 6), dense(observations, 6, 6)
    row, component = reference.rows.T
    share = reference.residual_covariance @ reference.weight
    np.testing.assert_allclose(result.redundancy[row, component], np.diag(share), rtol=0, atol=1e-7)
    weighted = reference.weight @ share
    controlled = np.diag(weighted) > 1e-6 * np.diag(reference.weight)
    root = np.sqrt(np.diag(weighted)[controlled])
    standardised = (reference.weight @ reference.residuals)[controlled] / root
    np.testing.assert_allclose(result.standardised[row, component][controlled], standardised, rtol=0, atol=1e-6)
    np.testing.assert_allclose(result.detectable[row, component][controlled] * root, 4.1321, rtol=0, atol=1e-4)
    assert np.isnan(result.detectable[row, component][~controlled]).all()
    assert result.degrees_of_freedom == len(row) - 36
    assert np.nansum(result.redundancy) == pytest.approx(result.degrees_of_freedom, abs=1e-6)
    square_sum = reference.residuals @ reference.weight @ reference.residuals
    assert result.chi_square is not None and result.variance_factor is not None
    assert result.chi_square.value == pytest.approx(square_sum, rel=1e-8)
    assert result.variance_factor == pytest.approx(square_sum / result.degrees_of_freedom, rel=1e-8)


@pytest.mark.parametrize("seed", SEEDS)
def test_truth_without_noise(seed: int) -> None:
    """Without noise in the observations, and with true control, shifts and marks come out as they were simulated."""
    network = tied_network(seed)
    result = adjust(network.observations(noise=0.0), 6, 6)
    np.testing.assert_allclose(result.shifts, network.shifts, rtol=0, atol=1e-9)
    np.testing.assert_allclose(result.marks, network.corrections, rtol=0, atol=1e-9)
    np.testing.assert_allclose(result.residuals[~np.isnan(result.residuals)], 0, rtol=0, atol=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_order_of_observations_does_not_matter(seed: int) -> None:
    """Observations shuffled, sessions and marks numbered anew: the same results in the new order."""
    observations = tied_network(seed).observations()
    result = adjust(observations, 6, 6)
    random = np.random.default_rng(seed)
    order, session, mark = random.permutation(len(observations.mark)), random.permutation(6), random.permutation(6)
    shuffled = Observations(*(getattr(observations, name)[order] for name in Observations.__struct_fields__))
    shuffled = replace(
        shuffled,
        session=np.where(shuffled.session >= 0, np.argsort(session)[shuffled.session], -1),
        mark=np.where(shuffled.mark >= 0, np.argsort(mark)[shuffled.mark], -1),
    )
    expected = replace(
        result,
        shifts=result.shifts[session],
        shift_covariance=result.shift_covariance[session],
        marks=result.marks[mark],
        mark_covariance=result.mark_covariance[mark],
        **{name: getattr(result, name)[order] for name in ("residuals", "redundancy", "standardised", "detectable")},
    )
    _same(adjust(read_only(shuffled), 6, 6), expected)


@pytest.mark.parametrize("seed", SEEDS)
def test_turning_everything_turns_the_results(seed: int) -> None:
    """Turn the axes X, Y, Z: shifts, marks and covariances turn with them, residuals and tests stay."""
    observations = tied_network(seed).observations()
    result = adjust(observations, 6, 6)
    turn = np.linalg.qr(np.random.default_rng(seed).normal(size=(3, 3)))[0]
    turned = adjust(read_only(replace(observations, rotation=observations.rotation @ turn.T)), 6, 6)
    expected = replace(
        result,
        shifts=result.shifts @ turn.T,
        marks=result.marks @ turn.T,
        shift_covariance=turn @ result.shift_covariance @ turn.T,
        mark_covariance=turn @ result.mark_covariance @ turn.T,
    )
    _same(turned, expected)


def test_position_through_one_mark_and_height_through_another() -> None:
    """A session tied in position at one mark and in height at another, 20 km off: the three equations' solution."""
    network = Network(np.random.default_rng(4), 1, 2)
    network.rotation = np.array([directions(-37.0, 175.0), directions(-36.82, 175.0)])
    network.control(0, "position")
    network.control(1, "height")
    network.occupy(0, 0)
    network.occupy(0, 1)
    observations = network.observations()
    result = adjust(observations, 1, 2)
    directions_seen = np.array([network.rotation[0, 0], network.rotation[0, 1], network.rotation[1, 2]])
    seen = observations.observed[2:] - np.nan_to_num(observations.observed[:2])
    inverse = np.linalg.inv(directions_seen)
    np.testing.assert_allclose(result.shifts[0], inverse @ [seen[0, 0], seen[0, 1], seen[1, 2]], rtol=0, atol=1e-9)
    own = observations.covariance[:2] + observations.covariance[2:]
    joint = np.zeros((3, 3))
    joint[:2, :2], joint[2, 2] = own[0, :2, :2], own[1, 2, 2]
    np.testing.assert_allclose(result.shift_covariance[0], inverse @ joint @ inverse.T, rtol=0, atol=1e-12)
    assert result.ties.position.all() and result.ties.height.all()
    assert missing_ties(result.ties) == ()
    assert result.degrees_of_freedom == 0


@pytest.mark.usefixtures("either_way")
@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_untied_disturbs_nothing(seed: int) -> None:
    """A group without control beside a tied network changes none of its results, and is itself NaN."""
    network = tied_network(seed)
    wider = Network(network.random, 8, 8)
    wider.shifts[:6], wider.corrections[:6], wider.rotation[:6] = network.shifts, network.corrections, network.rotation
    wider.rows = [*network.rows]
    for session, mark in ((6, 6), (6, 7), (7, 7), (7, 6)):
        wider.occupy(session, mark)
    observations = wider.observations()
    count = len(network.rows)
    alone = Observations(*(getattr(observations, name)[:count] for name in Observations.__struct_fields__))
    expected, result = adjust(alone, 6, 6), adjust(observations, 8, 8)
    assert np.isnan(result.shifts[6:]).all() and np.isnan(result.shift_covariance[6:]).all()
    assert np.isnan(result.marks[6:]).all() and np.isnan(result.mark_covariance[6:]).all()
    by_row = ("residuals", "redundancy", "standardised", "detectable")
    _same(
        replace(
            result,
            shifts=result.shifts[:6],
            shift_covariance=result.shift_covariance[:6],
            marks=result.marks[:6],
            mark_covariance=result.mark_covariance[:6],
            **{name: getattr(result, name)[:count] for name in by_row},
        ),
        expected,
    )
    # The group is a closed ring: its shape is checked though its place is unknown.
    assert result.degrees_of_freedom == expected.degrees_of_freedom + 3
    assert np.nansum(result.redundancy) == pytest.approx(result.degrees_of_freedom, abs=1e-5)


@pytest.mark.usefixtures("either_way")
@pytest.mark.parametrize("seed", SEEDS)
def test_partly_tied_against_a_dense_adjustment(seed: int) -> None:
    """Parallel verticals, sessions that lack height or position: what is tied, residuals and tests as by pinv."""
    random = np.random.default_rng(seed)
    network = Network(random, 4, 5, flat=True)
    network.control(0)
    network.control(1, "position")
    network.control(2, "height")
    for session, mark, holds in ((0, 0, "3d"), (1, 1, "3d"), (1, 3, "3d"), (2, 2, "3d"), (2, 2, "3d"), (3, 4, "3d")):
        network.occupy(session, mark, holds)
    network.occupy(1, 1)
    network.occupy(0, 3, "position")  # closes a loop in position alone
    network.occupy(0, 2, "height")
    observations = network.observations()
    result, reference = adjust(observations, 4, 5), dense(observations, 4, 5)
    row, component = reference.rows.T
    np.testing.assert_allclose(result.residuals[row, component], reference.residuals, rtol=0, atol=1e-8)
    share = np.diag(reference.residual_covariance @ reference.weight)
    np.testing.assert_allclose(result.redundancy[row, component], share, rtol=0, atol=1e-5)
    assert result.degrees_of_freedom == round(share.sum())
    turn = np.tile(directions(-37, 175), (4, 1, 1))
    shifts = np.einsum("sij,sj->si", turn, result.shifts)
    covariance = turn @ result.shift_covariance @ turn.transpose(0, 2, 1)
    expected = np.einsum("sij,sj->si", turn, reference.unknowns[:12].reshape(4, 3))
    blocks = reference.covariance.reshape(9, 3, 9, 3)[np.arange(4), :, np.arange(4), :]
    blocks = turn @ blocks @ turn.transpose(0, 2, 1)
    tied = np.array([[1, 1, 1], [1, 1, 0], [0, 0, 1], [0, 0, 0]], dtype=bool)
    ties = result.ties
    np.testing.assert_array_equal(np.column_stack([ties.session_position] * 2 + [ties.session_height]), tied)
    np.testing.assert_allclose(shifts[tied], expected[tied], rtol=0, atol=1e-8)
    both = tied[:, :, None] & tied[:, None, :]
    np.testing.assert_allclose(covariance[both], blocks[both], rtol=0, atol=1e-9)


def test_an_unknown_height_is_not_pressed_into_the_position() -> None:
    """Two marks of position only, 20 km apart, height shift 8 m: the tilt of the vertical is no residual.

    In the plane it would be 8 m / 6371 km * 20 km = 25 mm between the two.
    """
    network = Network(np.random.default_rng(7), 1, 2)
    network.rotation = np.array([directions(-37.0, 175.0), directions(-36.82, 175.0)])
    network.shifts[0] = np.array([0.5, -0.3, 8.0]) @ network.rotation[0]
    for mark in (0, 1):
        network.control(mark, "position", covariance=np.eye(3) * 1e-6)
        network.occupy(0, mark, covariance=np.eye(3) * 1e-6)
    result = adjust(network.observations(noise=0.0), 1, 2)
    assert np.nanmax(np.abs(result.residuals)) < 1e-3
    assert result.ties.session_position.all() and not result.ties.session_height.any()
    shift = network.rotation[0] @ result.shifts[0]
    np.testing.assert_allclose(shift[:2], [0.5, -0.3], rtol=0, atol=1e-3)
    marks, covariance = result.local_marks(network.rotation)
    assert np.isnan(marks[:, 2]).all() and np.isfinite(covariance[:, :2, :2]).all()


def test_a_stated_shift_without_uncertainty() -> None:
    """A variance of zero is taken as a tenth of a millimetre: the shift stays as stated, a temporary mark gets it."""
    network = Network(np.random.default_rng(8), 1, 1)
    network.state(0, covariance=np.zeros((3, 3)) + np.diag([1e-30] * 3))
    network.occupy(0, 0, covariance=np.eye(3) * 1e-4)
    result = adjust(network.observations(noise=0.0), 1, 1)
    np.testing.assert_allclose(result.shifts, network.shifts, rtol=0, atol=1e-9)
    np.testing.assert_allclose(result.shift_covariance[0], np.eye(3) * 1e-8, rtol=0, atol=1e-14)
    np.testing.assert_allclose(result.mark_covariance[0], np.eye(3) * (1e-4 + 1e-8), rtol=0, atol=1e-12)


def test_nothing_at_all() -> None:
    """No observations: nothing is tied, nothing is determined, nothing fails."""
    result = adjust(_empty(), 2, 1)
    assert np.isnan(result.shifts).all() and np.isnan(result.marks).all()
    assert result.degrees_of_freedom == 0 and result.chi_square is None
    assert len(missing_ties(result.ties)) == 2
    assert adjust(_empty(), 0, 0).shifts.shape == (0, 3)


def _empty() -> Observations:
    nobody = np.empty(0, dtype=np.int64)
    blocks = np.empty((0, 3, 3))
    return read_only(Observations(nobody, nobody, blocks, np.empty((0, 3)), blocks, np.empty((0, 3), dtype=bool)))


@pytest.fixture(scope="module")
def of_noise() -> list[Adjustment]:
    """One network with simulated noise over 400 runs."""
    network = tied_network(4)
    return [adjust(network.observations(), 6, 6) for _ in range(400)]


def test_standardised_residuals_of_noise_have_unit_variance(of_noise: list[Adjustment]) -> None:
    """Every tie's standardised residual has variance 1, and few lie beyond 3.29."""
    values = np.array([result.standardised for result in of_noise])
    values = values[:, ~np.isnan(values).any(axis=0)]
    # The variance of one over 400 runs is 1 +- sqrt(2 / 400); five of those, for some fifty residuals.
    np.testing.assert_allclose((values**2).mean(axis=0), 1.0, rtol=0, atol=5 * np.sqrt(2 / 400))
    assert (values**2).mean() == pytest.approx(1.0, abs=0.06)
    assert np.mean(np.abs(values) > 3.29) < 0.003


def test_global_test_of_noise(of_noise: list[Adjustment]) -> None:
    """Noise passes the test at 5 % in about 95 % of the runs, and averages a factor of 1."""
    passed = np.mean([result.chi_square is not None and result.chi_square.passed for result in of_noise])
    assert passed == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / 400))
    factors = np.array([result.variance_factor for result in of_noise])
    freedom = of_noise[0].degrees_of_freedom
    assert factors.mean() == pytest.approx(1.0, abs=4 * np.sqrt(2 / freedom / 400))


def test_a_detectable_error_is_detected_with_the_stated_power() -> None:
    """An error of the detectable size in one tie moves its standardised residual by delta0: 80 % beyond 3.29."""
    network = tied_network(5)
    clean = network.observations(noise=0.0)
    detectable = adjust(clean, 6, 6).detectable
    row, component = (int(place) for place in np.argwhere(~np.isnan(detectable))[-1])
    found = []
    for _ in range(400):
        observations = network.observations()
        observed = observations.observed.copy()
        observed[row, component] += detectable[row, component]
        result = adjust(replace(observations, observed=observed), 6, 6)
        found.append(abs(result.standardised[row, component]) > result.critical)
    assert np.mean(found) == pytest.approx(0.80, abs=4 * np.sqrt(0.8 * 0.2 / 400))
