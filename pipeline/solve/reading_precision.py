"""How certain readings are by their exports and by the job: standard uncertainties and covariances."""

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.intake.positions import column_numbers
from pipeline.job.model import Points, Quality


class Precision(Struct, frozen=True):
    """How certain (n,) readings are, in the east, north and up of each.

    Args:
        sigma: (n, 3) standard uncertainties, metres.
        correlated: (n, 3) covariances of east with north, east with up, north with up, square metres; None where all
            are 0. They are the observation's own: neither distance from the base nor centring adds to them.
    """

    sigma: Floats
    correlated: Floats | None = None

    def pairs(self) -> Floats:
        """Return (n, 3) ``correlated``, zeros where there is none."""
        return np.zeros_like(self.sigma) if self.correlated is None else self.correlated

    def of(self, rows: Integers) -> "Precision":
        """Return that of some of the readings, by their places (k,)."""
        return Precision(self.sigma[rows], None if self.correlated is None else self.correlated[rows])

    def scaled(self, scale: Floats) -> "Precision":
        """Return it as a job takes it that scales each axis: ``scale`` (3,) or (n, 3)."""
        if (scale == 1.0).all():
            return self
        both = scale[..., [0, 0, 1]] * scale[..., [1, 2, 2]]
        return Precision(self.sigma * scale, None if self.correlated is None else self.correlated * both)


def observed_precision(
    batch: pa.RecordBatch | pa.Table, quality: Quality, distance: Floats, scale: Floats
) -> Precision:
    """Return what an export says of its readings, else the job's defaults, as the job takes it; without centring.

    A standard uncertainty of zero is none: rounding, or software that did not know, wrote it. ``distance`` (n,) metres
    is that from the base, ``scale`` (3,) or (n, 3) that of `scale_of`.
    """
    defaults = (quality.sigma_horizontal, quality.sigma_horizontal, quality.sigma_vertical)
    columns = []
    for name, default in zip(("sigma_east", "sigma_north", "sigma_up"), defaults, strict=True):
        values = column_numbers(batch, name)
        columns.append(np.where(values > 0.0, values, default))
    found = np.nan_to_num(np.column_stack([column_numbers(batch, name) for name in ("cov_en", "cov_eu", "cov_nu")]))
    sigma = with_distance(np.column_stack(columns), distance, quality.ppm)
    return Precision(sigma, found if found.any() else None).scaled(scale)


def with_distance(sigma: Floats, distance: Floats, ppm: float) -> Floats:
    """Return (n, 3) sigma with ``ppm`` of (n,) distance from the base added in quadrature; NaN adds nothing."""
    return np.hypot(sigma, np.nan_to_num(distance)[:, None] * ppm * 1e-6)


def with_centring(sigma: Floats, centring: float) -> Floats:
    """Return (n, 3) sigma with the standard uncertainty of a pole over its mark, metres, added in quadrature."""
    return np.hypot(sigma, [centring, centring, 0.0])


def scale_of(quality: Quality, points: Points) -> Floats:
    """Return (3,) how many times larger than stated the job takes uncertainties of a block's readings, axis by axis."""
    plan, height = quality.scales(points)
    return np.array([plan, plan, height])
