"""From covariances to the 95 % figures of an issued point.

The 95 % circle is meant by its definition: the circle that holds 95 % of a bivariate normal distribution. For a round
ellipse that is 2.4477 times the standard uncertainty of an axis, as FGDC-STD-007.3-1998 (3-A.1) prints it, and for a
flat one 1.9600. The same holds for what a register states and for what is issued.
"""

import math
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from pipeline.arrays import Floats

#: Radius of the circle that holds 95 % of two equal normal components in units of one: sqrt(-2 ln 0.05).
CIRCLE_95 = math.sqrt(-2.0 * math.log(0.05))

#: The two-sided 95 % point of the normal distribution; FGDC-STD-007.3-1998, 3-A.2 prints it as 1.9600.
NORMAL_95 = 1.959963984540054


def add_covariance(to: Floats, sigma: Floats, correlated: Floats | None) -> None:
    """Add to (n, 3, 3) covariances, in place, those of (n, 3) standard uncertainties.

    ``correlated`` (n, 3) are the covariances of the first and second component, the first and third, the second and
    third; None where there are none.
    """
    to[:, range(3), range(3)] += sigma**2
    if correlated is not None:
        for number, (one, other) in enumerate(((0, 1), (0, 2), (1, 2))):
            to[:, one, other] += correlated[:, number]
            to[:, other, one] += correlated[:, number]


def error_ellipse(cov: ArrayLike) -> tuple[Floats, Floats]:
    """Return the semi-axes a >= b [m] of the standard error ellipse of east-north covariances (n, 2, 2) [m2].

    The roots of the eigenvalues, (C_ee + C_nn) / 2 +- sqrt(((C_ee - C_nn) / 2)2 + C_en2). A b2 that rounding left just
    below zero counts as zero; NaN stays NaN.
    """
    cov = np.asarray(cov, dtype=np.float64)
    return semi_axes(cov[..., 0, 0], cov[..., 1, 1], cov[..., 0, 1])


def semi_axes(east: Floats, north: Floats, both: Floats) -> tuple[Floats, Floats]:
    """Return what `error_ellipse` does, from (n,) variances east and north and their covariances [m2]."""
    middle, spread = (east + north) / 2.0, np.hypot((east - north) / 2.0, both)
    return np.sqrt(middle + spread), np.sqrt(np.maximum(middle - spread, 0.0))


def circle_95(a: ArrayLike, b: ArrayLike) -> Floats:
    """Return radii [m] of circles that hold 95 %, from semi-axes a >= b [m] of standard ellipses, of any shape.

    Exact by the bivariate normal distribution to within 1e-7 of itself; 0 where a is 0.
    """
    a, b = np.broadcast_arrays(np.asarray(a, dtype=np.float64), np.asarray(b, dtype=np.float64))
    ratio = np.divide(b, a, out=np.zeros_like(a), where=a != 0.0)
    radius: Floats = a * np.interp(ratio, *_radii())
    return radius


@lru_cache(maxsize=1)
def _radii() -> tuple[Floats, Floats]:
    """Return (n,) ratios b / a from 0 to 1 and the exact radius of the 95 % circle at each, in units of a.

    In polar coordinates of the standardised ellipse the share outside a circle of radius r is the mean over all
    directions t of exp(-r2 / (2 (cos2 t + C2 sin2 t))): smooth and periodic, so that equal steps sum it exactly.
    Newton's method finds the r that leaves 5 %.
    """
    ratio = np.linspace(0.0, 1.0, 2049)
    angle = (np.arange(64) + 0.5) * np.pi / 128.0
    width = np.cos(angle) ** 2 + (ratio[:, None] * np.sin(angle)) ** 2
    radius = NORMAL_95 + (CIRCLE_95 - NORMAL_95) * ratio**2
    for _ in range(6):
        outside = np.exp(-(radius[:, None] ** 2) / (2.0 * width))
        radius += (outside.mean(axis=1) - 0.05) / (outside * radius[:, None] / width).mean(axis=1)
    return ratio, radius


def horizontal_95(cov: ArrayLike) -> Floats:
    """Return the 95 % circular radius [m] of covariances (n, 2, 2) or larger [m2] with east and north first."""
    return circle_95(*error_ellipse(cov))


def vertical_95(sigma: ArrayLike) -> Floats:
    """Return 1.959964 times standard uncertainties of heights [m], of any shape: the 95 % half-intervals."""
    half: Floats = NORMAL_95 * np.asarray(sigma, dtype=np.float64)
    return half
