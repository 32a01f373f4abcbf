"""The tests of an adjustment: redundancy, standardised residuals, detectable errors and the global test.

With P an observation's weight matrix (its components may be correlated), Q its residuals' covariance and v its
residuals, for an error in component i alone (e_i its unit vector; the data-snooping test of Baarda, 1968, in the form
for correlated observations):

- redundancy number  r_i = (Q P)_ii; all of them sum to the degrees of freedom. For uncorrelated components it lies
  between 0 and 1 and is the share of an error in i that shows in its own residual; correlated ones may leave it.
- standardised residual  w_i = (P v)_i / sqrt((P Q P)_ii), standard normal if the weights are right; without
  correlation the residual over its own standard deviation.
- detectable error  delta0 / sqrt((P Q P)_ii), delta0 = z(1 - alpha / 2) + z(power): the smallest error in i that the
  two-sided test of w_i at alpha finds with that power; without correlation delta0 sigma_i / sqrt(r_i).
"""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats

#: A component with a smaller share than this is uncontrolled: (P Q P)_ii / P_ii, which is r_i without correlation and
#: between 0 and 1 with it. Below lie rounding, and the height that a position has through the tilt of the vertical.
_CONTROLLED = 1e-6
#: The chance that a sound observation is called a blunder, and that a blunder of the detectable size is found.
SIGNIFICANCE, POWER = 0.001, 0.80


@dataclass(frozen=True)
class Reliability:
    """By observation and component (n, m), NaN where a component is not observed.

    ``redundancy`` numbers, without unit, 0 below a millionth; ``standardised`` residuals, without unit, and
    ``detectable`` errors in the observations' unit, both also NaN where nothing controls the component.
    """

    redundancy: Floats
    standardised: Floats
    detectable: Floats


class ChiSquare(Struct, frozen=True):
    """The global test: v' P v against the two-sided bounds of chi-square with the degrees of freedom."""

    value: float
    low: float
    high: float

    @property
    def passed(self) -> bool:
        """Whether the value lies between the bounds."""
        return self.low <= self.value <= self.high


def critical_value(significance: float) -> float:
    """Return the two-sided bound of a standard normal value, z(1 - significance / 2): 3.29 for 0.001."""
    return -NormalDist().inv_cdf(_probability(significance) / 2.0)


def non_centrality(significance: float, power: float) -> float:
    """Return delta0 = z(1 - significance / 2) + z(power): 4.13 for 0.001 and 0.80.

    The far tail of the two-sided test is left out, as usual. Raises `ValueError` outside (0, 1).
    """
    return critical_value(significance) + NormalDist().inv_cdf(_probability(power))


def chi_square(value: float, degrees_of_freedom: int, significance: float) -> ChiSquare:
    """Test ``value`` (v' P v) two-sidedly at ``significance``, for at least one degree of freedom (`ValueError`)."""
    if degrees_of_freedom < 1:
        raise ValueError("the global test needs at least one degree of freedom")
    tail = _probability(significance) / 2.0
    from scipy.special import chdtri  # a tenth of a second that jobs without redundancy need not wait for

    low, high = chdtri(degrees_of_freedom, 1.0 - tail), chdtri(degrees_of_freedom, tail)
    return ChiSquare(value, float(low), float(high))


def reliability(residuals: Floats, weight: Floats, fitted: Floats, delta0: float) -> Reliability:
    """Work out redundancy, standardised residuals and detectable errors.

    ``residuals`` (n, m), adjusted minus observed; ``weight`` (n, m, m), zero rows where not observed; ``fitted``
    (n, m, m), the covariance of the adjusted values, so that Q = P^-1 - fitted and P Q P = P - P fitted P.
    """
    own = np.diagonal(weight, axis1=1, axis2=2)
    observed = own > 0
    product = fitted @ weight
    shown = own - np.diagonal(weight @ product, axis1=1, axis2=2)
    controlled = observed & (shown > _CONTROLLED * own)
    redundancy = 1.0 - np.diagonal(product, axis1=1, axis2=2)
    redundancy = np.where(np.abs(redundancy) > _CONTROLLED, redundancy, 0.0)
    root = np.sqrt(np.where(controlled, shown, np.nan))
    return Reliability(
        redundancy=np.where(observed, redundancy, np.nan),
        standardised=(weight @ residuals[:, :, None])[..., 0] / root,
        detectable=delta0 / root,
    )


def _probability(value: float) -> float:
    if not 0.0 < value < 1.0:
        raise ValueError(f"a probability between 0 and 1 was expected, not {value}")
    return value
