"""Covariances between the components of an observation, as exports give them beside the standard uncertainties."""

from collections.abc import Collection, Mapping

import numpy as np

from pipeline.arrays import Flags, Floats
from pipeline.job.job_rules import NOTHING_INDEPENDENT
from pipeline.limits import SIGMA

#: Our word of each covariance, and the standard uncertainties of the two components that it joins.
COVARIANCES = {
    "cov_en": ("sigma_east", "sigma_north"),
    "cov_eu": ("sigma_east", "sigma_up"),
    "cov_nu": ("sigma_north", "sigma_up"),
}
#: What an export may give for the standard uncertainties of east and of north.
_OF_BOTH = frozenset(("sigma_horizontal", "drms"))
_HORIZONTAL = frozenset(("sigma_east", "sigma_north"))

NOT_DEFINITE = "its covariances are impossible: with its standard uncertainties the matrix is not positive definite"


def lacking(mapped: Collection[str]) -> str | None:
    """Return in words which standard uncertainties a block does not map although it maps a covariance of theirs."""
    there = set(mapped) | (_HORIZONTAL if _OF_BOTH.intersection(mapped) else frozenset())
    for word, pair in COVARIANCES.items():
        missing = [sigma for sigma in pair if sigma not in there]
        if word in there and missing:
            return f"the columns map {word} but not {' and '.join(missing)}"
    return None


def impossible(sigma: Mapping[str, Floats], covariance: Mapping[str, Floats]) -> Flags:
    """Return (n,) which rows' covariances are none: their matrix is not positive definite.

    Args:
        sigma: (n,) metres each of the three standard uncertainties, NaN or 0 where there is none.
        covariance: (n,) square metres each of the three covariances, NaN where there is none.
    """
    parts = []
    for word, (one, other) in COVARIANCES.items():
        value = np.nan_to_num(covariance[word])
        size = sigma[one] * sigma[other]
        known = size > 0.0
        ratio = np.divide(value, size, out=np.zeros_like(value), where=known)
        parts.append(np.where(~known & (value != 0.0), np.inf, ratio))
    a, b, c = (np.clip(part, -SIGMA, SIGMA) for part in parts)
    determinant = 1.0 + 2.0 * a * b * c - a * a - b * b - c * c
    return np.asarray((np.abs([a, b, c]).max(axis=0) >= 1.0) | (determinant < NOTHING_INDEPENDENT), bool)
