"""What the adjustment refuses, naming the observation, and the weights of correlated and absent components."""

from collections.abc import Callable

import numpy as np
import pytest
from every import every
from numpy.typing import NDArray
from tie_networks import tied_network

from pipeline.adjust import Observations, adjust
from pipeline.adjust.observations import weights
from pipeline.adjust.statistics import chi_square, critical_value
from pipeline.replace import replace


def _changed(name: str, change: Callable[[NDArray[np.float64]], None]) -> Observations:
    observations = tied_network(0).observations()
    array = np.array(getattr(observations, name))
    change(array)
    return replace(observations, **{name: array})


def _set(place: tuple[int, ...], value: float) -> Callable[[NDArray[np.float64]], None]:
    return lambda array: array.__setitem__(place, value)


@pytest.mark.parametrize(
    ("name", "place", "value", "says"),
    [
        ("session", (7,), 6, "observation 7 names a session that does not exist"),
        ("mark", (7,), 6, "observation 7 names a mark that does not exist"),
        ("mark", (4,), -1, "observation 4 names neither"),
        ("present", (7, 0), False, "observation 7 observes only one of east and north"),
        ("observed", (7, 1), np.nan, "observation 7 has an observed value that is not finite"),
        ("covariance", (7, 1, 2), np.inf, "observation 7 has a covariance that is not finite"),
        ("covariance", (7, 1, 2), 1e-3, "covariance of observation 7 is not positive definite"),
        ("covariance", (7, 2, 2), -1e-4, "covariance of observation 7 is not positive definite"),
        ("rotation", (7, 0, 0), 0.5, "observation 7 has local directions that are not orthonormal"),
    ],
)
def test_refused(name: str, place: tuple[int, ...], value: float, says: str) -> None:
    """Each fault is refused with the number of the observation that has it."""
    observations = _changed(name, _set(place, value))
    if says.startswith("observation 4"):
        observations = replace(observations, session=np.where(np.arange(len(observations.mark)) == 4, -1, 0))
    with pytest.raises(ValueError, match=says):
        adjust(observations, 6, 6)


def test_shapes_are_checked() -> None:
    """An array of another length is refused by name."""
    observations = tied_network(0).observations()
    with pytest.raises(ValueError, match="observed has the shape"):
        adjust(replace(observations, observed=observations.observed[:-1]), 6, 6)


def test_weights_of_what_is_present() -> None:
    """Absent components have no weight, present ones the inverse of their own covariance, correlation included."""
    observations = tied_network(1).observations()
    found = weights(observations)
    for row, present in every(enumerate(observations.present)):
        own = np.ix_(present, present)
        expected = np.zeros((3, 3))
        expected[own] = np.linalg.inv(observations.covariance[row][own])
        np.testing.assert_allclose(found[row], expected, rtol=1e-9, atol=1e-6)


def test_probabilities_and_freedom_are_checked() -> None:
    """A significance of 5 for 5 %, and a global test without redundancy, are refused."""
    with pytest.raises(ValueError, match="between 0 and 1"):
        critical_value(5.0)
    with pytest.raises(ValueError, match="degree of freedom"):
        chi_square(1.0, 0, 0.05)
