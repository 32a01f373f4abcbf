"""From covariances to the 95 % figures of an issued point."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]

#: Coefficients of the cubic in C = b / a for the 95 % circle. As carried by GeodePy's statistics; ICSM SP1 and
#: FGDC-STD-007.2 are said to print the same (from memory). Within 0.17 % of the exact radius for every C.
CIRCLE_95 = (1.960790, 0.004071, 0.114276, 0.371625)

#: The two-sided 95 % point of the normal distribution, exact (the published 1.9600 is its rounding).
NORMAL_95 = 1.959963984540054


def error_ellipse(cov: ArrayLike) -> tuple[Floats, Floats]:
    """Return the semi-axes a >= b [m] of the standard error ellipse of east-north covariances (n, 2, 2) [m2].

    The roots of the eigenvalues, (C_ee + C_nn) / 2 +- sqrt(((C_ee - C_nn) / 2)2 + C_en2). A b2 that rounding left just
    below zero counts as zero; NaN stays NaN.
    """
    cov = np.asarray(cov, dtype=np.float64)
    middle = (cov[..., 0, 0] + cov[..., 1, 1]) / 2.0
    spread = np.hypot((cov[..., 0, 0] - cov[..., 1, 1]) / 2.0, cov[..., 0, 1])
    return np.sqrt(middle + spread), np.sqrt(np.maximum(middle - spread, 0.0))


def ellipse_bearing(cov: ArrayLike) -> Floats:
    """Return the bearing of the major semi-axis [deg, 0 to 180, clockwise from north] of covariances (n, 2, 2).

    tan(2 t) = 2 C_en / (C_nn - C_ee).
    """
    cov = np.asarray(cov, dtype=np.float64)
    twice = np.arctan2(2.0 * cov[..., 0, 1], cov[..., 1, 1] - cov[..., 0, 0])
    bearing: Floats = np.degrees(twice) / 2.0 % 180.0
    return bearing


def circle_95(a: ArrayLike, b: ArrayLike) -> Floats:
    """Return the radius [m] of the circle that holds 95 %, from the semi-axes a >= b [m] of the standard ellipse.

    r = a (1.960790 + 0.004071 C + 0.114276 C2 + 0.371625 C3), C = b / a; 0 where a is 0.
    """
    a, b = np.broadcast_arrays(np.asarray(a, dtype=np.float64), np.asarray(b, dtype=np.float64))
    ratio = np.divide(b, a, out=np.zeros_like(a), where=a != 0.0)
    c0, c1, c2, c3 = CIRCLE_95
    radius: Floats = a * (c0 + ratio * (c1 + ratio * (c2 + ratio * c3)))
    return radius


def horizontal_95(cov: ArrayLike) -> Floats:
    """Return the 95 % circular radius [m] of covariances (n, 2, 2) or larger [m2] with east and north first."""
    return circle_95(*error_ellipse(cov))


def vertical_95(sigma: ArrayLike) -> Floats:
    """Return 1.959964 times the standard uncertainty of the height [m]: its 95 % half-interval."""
    half: Floats = NORMAL_95 * np.asarray(sigma, dtype=np.float64)
    return half
