"""What a network of sessions and marks is adjusted from: observations in local directions, checked and weighted."""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers

#: Metres. No component is taken to be known better than this, so one stated without uncertainty is adjusted with it:
#: weights further apart would let rounding into the results, and a tenth of a millimetre is none in the field.
FIRM = 1e-4


class Observations(Struct, frozen=True):
    """``n`` observations, each of up to three components in local directions: east, north, up.

    The equation of each is ``rotation @ (d[session] - x[mark]) = observed + v``, d or x left out where the index is
    -1. So for an occupation ``observed`` is approximate mark minus raw position (and minus an approximate shift); for
    control (a mark alone) it is approximate minus register coordinate, 0 where the register's is the approximate one;
    for a stated shift (a session alone) it is the shift.

    ``session``, ``mark`` (n,): indices, -1 where none takes part; ``rotation`` (n, 3, 3): rows are the local
    directions in X, Y, Z; ``observed`` (n, 3) metres; ``covariance`` (n, 3, 3) square metres, a variance below
    `FIRM` squared is taken as that; ``present`` (n, 3): the components observed, east and north together. What
    ``observed`` and ``covariance`` hold for absent components is not looked at.
    """

    session: Integers
    mark: Integers
    rotation: Floats
    observed: Floats
    covariance: Floats
    present: Flags


def check(observations: Observations, sessions: int, marks: int) -> None:
    """Raise `ValueError`, naming the observation, for arrays that do not fit together or cannot be adjusted.

    Covariances are judged by `weights`.
    """
    _check_shapes(observations)
    session, mark, present = observations.session, observations.mark, observations.present
    pairs = present[:, :, None] & present[:, None, :]
    square = observations.rotation @ observations.rotation.transpose(0, 2, 1)
    number = np.isfinite(observations.observed)
    faults = {
        "names a session that does not exist": (session >= sessions) | (session < -1),
        "names a mark that does not exist": (mark >= marks) | (mark < -1),
        "names neither a session nor a mark": (session < 0) & (mark < 0),
        "observes only one of east and north": present[:, 0] != present[:, 1],
        "has an observed value that is not finite": (present & ~number).any(axis=1),
        "has a covariance that is not finite": (pairs & ~np.isfinite(observations.covariance)).any(axis=(1, 2)),
        "has local directions that are not orthonormal": ~(np.abs(square - np.eye(3)) < 1e-9).all(axis=(1, 2)),
    }
    for fault, found in faults.items():
        if found.any():
            raise ValueError(f"observation {np.flatnonzero(found)[0]} {fault}")


def _check_shapes(observations: Observations) -> None:
    count = len(observations.session)
    shapes = {"mark": (count,), "observed": (count, 3), "present": (count, 3)}
    shapes |= {"rotation": (count, 3, 3), "covariance": (count, 3, 3)}
    for name, shape in shapes.items():
        found = getattr(observations, name).shape
        if found != shape:
            raise ValueError(f"{name} has the shape {found}, not {shape}")


def weights(observations: Observations) -> Floats:
    """Return the weight matrices (n, 3, 3): the present components' covariances inverted, zero rows for absent ones.

    Raises `ValueError` for a covariance that is not symmetric and positive definite.
    """
    present, covariance = observations.present, observations.covariance
    both = present[:, :, None] & present[:, None, :]
    variance = np.diagonal(covariance, axis1=1, axis2=2)
    sigma = np.sqrt(np.where(present, np.maximum(variance, FIRM**2), 1.0))
    scale = sigma[:, :, None] * sigma[:, None, :]
    correlation = np.where(both & ~np.eye(3, dtype=np.bool_), covariance, 0.0) / scale + np.eye(3)
    wrong = (present & (variance < 0)).any(axis=1)
    wrong |= (np.abs(correlation - correlation.transpose(0, 2, 1)) > 1e-6).any(axis=(1, 2))
    wrong |= np.linalg.eigvalsh(correlation)[:, 0] < 1e-9
    if wrong.any():
        raise ValueError(f"the covariance of observation {np.flatnonzero(wrong)[0]} is not positive definite")
    return np.where(both, np.linalg.inv(correlation) / scale, 0.0)
