"""Arrays into the plain numbers of a trace."""

from typing import Any

import numpy as np

from pipeline.trace.model import Vector


def vector(values: Any) -> Vector:
    """Return three numbers."""
    x, y, z = np.asarray(values, np.float64).reshape(3).tolist()
    return x, y, z


def known(values: Any) -> Vector | None:
    """Return three numbers, None where one of them is not finite."""
    return vector(values) if np.isfinite(np.asarray(values, np.float64)).all() else None


def each(values: Any) -> tuple[float | None, ...]:
    """Return numbers, None for each that is not finite."""
    return tuple(number(value) for value in np.asarray(values, np.float64).reshape(-1).tolist())


def number(value: float) -> float | None:
    """Return a number, None where it is not finite."""
    return float(value) if np.isfinite(value) else None
