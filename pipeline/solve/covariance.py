"""How well the difference on an occupied mark is known: observed minus known, with what the two have in common.

The difference is raw position + shift - register coordinate. Its shift comes from ties, and those from register
coordinates and observations that may be the very ones of the difference. Where an observation touches the estimates,
least squares gives its covariance with them: with x = N^-1 A' P l and P^-1 the covariance of l, that of x with l is
N^-1 A'. So the shift has with the register coordinate that holds a mark the covariance that it has with the mark's
adjusted coordinate, and with a tie's own position the negative of (own covariance less that with its mark).
"""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats
from pipeline.geodesy.uncertainty import add_covariance

#: Metres. A tie that alone holds its session leaves no difference but the arithmetic's; nothing is known better.
LEAST = 1e-6


class Parts(Struct, frozen=True):
    """What the differences of (n,) occupations come from, in the local east, north and up of each mark, metres.

    Args:
        observation: (n, 3) standard uncertainty of the occupation, centring included.
        correlated: (n, 3) covariances of its east and north, east and up, north and up; None where there are none.
        known: (n, 3) standard uncertainty of the register's coordinates.
        geoid: standard uncertainty of the geoid separation.
        shift: (n, 3, 3) covariance of the session's shift.
        between: (n, 3, 3) covariance of the shift with the mark's adjusted coordinate, zero where the two do not hang
            together.
        held: (n, 3) whether the adjustment holds the component at the register's coordinate.
        tie: (n,) whether the occupation is itself a tie.
    """

    observation: Floats
    known: Floats
    geoid: float
    shift: Floats
    between: Floats
    held: Flags
    tie: Flags
    correlated: Floats | None = None


def covariance(parts: Parts) -> Floats:
    """Return (n, 3, 3) the covariance of observed minus known, square metres; NaN where the shift's is.

    The geoid counts as far as the height is not the mark's own, brought back to where it came from.
    """
    with_known = parts.between * parts.held[:, None, :]
    with_observation = np.where(parts.tie[:, None, None], parts.between - parts.shift, 0.0)
    common = with_observation - with_known
    total = parts.shift + common + common.transpose(0, 2, 1)
    add_covariance(total, np.hypot(parts.observation, parts.known), parts.correlated)
    share = with_known[:, 2, 2] / parts.known[:, 2] ** 2
    total[:, 2, 2] += ((1.0 - share) * parts.geoid) ** 2
    diagonal = np.diagonal(total, axis1=1, axis2=2)
    total[:, range(3), range(3)] = np.maximum(diagonal, LEAST**2)
    return total
