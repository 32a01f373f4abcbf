"""The 95 % circle of an error ellipse by its definition, integrated with scipy; nothing of the pipeline."""

import math
from functools import cache

from scipy import integrate, optimize


@cache
def circle(major: float, minor: float) -> float:
    """Return the radius of the circle that holds 95 % of a bivariate normal with these standard semi-axes.

    The share outside: what lies beyond the radius on the minor axis, and in each strip along it what the circle cuts.
    """
    if minor <= 0.0:
        return major * 1.959963984540054

    def outside(radius: float) -> float:
        def strip(x: float) -> float:
            half = math.sqrt(max(radius**2 - x**2, 0.0)) * major / minor
            return math.exp(-0.5 * x**2) * math.erfc(half / math.sqrt(2.0))

        inner = float(integrate.quad(strip, 0.0, radius, epsabs=1e-13, limit=200)[0])
        return 2.0 * inner / math.sqrt(2.0 * math.pi) + math.erfc(radius / math.sqrt(2.0)) - 0.05

    return major * float(optimize.brentq(outside, 1.5, 3.0, xtol=1e-13))
