"""The 95 % circle of an error ellipse by its definition, integrated by Gauss and Legendre; nothing of the pipeline."""

import math
from functools import cache

import numpy as np

#: Angles between 0 and 90 degrees, and their weights.
_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(200)
_ANGLES = (_NODES + 1.0) * math.pi / 4.0
_BEYOND = np.frompyfunc(math.erfc, 1, 1)


@cache
def circle(major: float, minor: float) -> float:
    """Return the radius of the circle that holds 95 % of a bivariate normal with these standard semi-axes.

    The share outside: what lies beyond the radius on the major axis, and in each strip along it what the circle cuts.
    The strips are taken at the sines of angles, where the circle is smooth; the radius is found by halving.
    """
    if minor <= 0.0:
        return major * 1.959963984540054

    def outside(radius: float) -> float:
        along, half = radius * np.sin(_ANGLES), radius * np.cos(_ANGLES)
        cut = np.exp(-0.5 * along**2) * _BEYOND(half * major / minor / math.sqrt(2.0)).astype(float)
        inner = float(cut @ (_WEIGHTS * half)) * math.pi / 4.0
        return 2.0 * inner / math.sqrt(2.0 * math.pi) + math.erfc(radius / math.sqrt(2.0))

    low, high = 1.5, 3.0
    for _ in range(48):
        middle = (low + high) / 2.0
        low, high = (middle, high) if outside(middle) > 0.05 else (low, middle)
    return major * (low + high) / 2.0
