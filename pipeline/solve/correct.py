"""Corrects readings: raw to geocentric, field shift out, session's shift in, to the grid and height datum."""

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from pipeline.arrays import Floats, Integers
from pipeline.geodesy.frames import local_variances
from pipeline.geodesy.uncertainty import circle_95, semi_axes, vertical_95
from pipeline.intake.operations import Operations
from pipeline.intake.positions import column_numbers
from pipeline.job.model import Points, Quality


@dataclass(frozen=True)
class SessionShifts:
    """What is added to each session's raw positions.

    Args:
        shift: (S, 3) X, Y, Z, metres; NaN where the session is untied.
        covariance: (S, 3, 3) of X, Y, Z, square metres.
        grid: (S, 3) easting, northing, height instead of ``shift``, for ``model = "grid"``; None otherwise.
    """

    shift: Floats
    covariance: Floats
    grid: Floats | None = None


@dataclass(frozen=True)
class Corrected:
    """Issued coordinates, (n,) each: metres in grid and height datum, degrees and metres on the grid's ellipsoid.

    ``hu95`` is the radius of the 95 % circle and ``vu95`` the 95 % uncertainty of the height. Where a point lies
    outside a grid's coverage, or its session is untied, the coordinates are not finite.
    """

    easting: Floats
    northing: Floats
    height: Floats
    longitude: Floats
    latitude: Floats
    ellipsoid_height: Floats
    hu95: Floats
    vu95: Floats

    @property
    def places(self) -> Floats:
        """Return (n, 3) easting, northing, height."""
        return np.column_stack([self.easting, self.northing, self.height])


#: The corrected values of a point, as the layer ``points`` has them.
VALUES = tuple(Corrected.__dataclass_fields__)


def observed_sigma(batch: pa.RecordBatch | pa.Table, quality: Quality) -> Floats:
    """Return (n, 3) standard uncertainty east, north, up in metres: the export's, else the job's defaults.

    Zero is none: rounding, or software that did not know, wrote it.
    """
    defaults = (quality.sigma_horizontal, quality.sigma_horizontal, quality.sigma_vertical)
    columns = []
    for name, default in zip(("sigma_east", "sigma_north", "sigma_up"), defaults, strict=True):
        values = column_numbers(batch, name)
        columns.append(np.where(values > 0.0, values, default))
    return np.column_stack(columns)


def observed_covariance(batch: pa.RecordBatch | pa.Table) -> Floats | None:
    """Return (n, 3) covariances of east with north, east with up, north with up, square metres; None where all are 0.

    They are the observation's own: neither the distance from the base nor the centring of a pole adds to them.
    """
    values = np.column_stack([column_numbers(batch, name) for name in ("cov_en", "cov_eu", "cov_nu")])
    found = np.nan_to_num(values)
    return found if found.any() else None


def with_distance(sigma: Floats, distance: Floats, ppm: float) -> Floats:
    """Return (n, 3) sigma with ``ppm`` of (n,) distance from the base added in quadrature; NaN adds nothing."""
    return np.hypot(sigma, np.nan_to_num(distance)[:, None] * ppm * 1e-6)


def scale_of(quality: Quality, points: Points) -> Floats:
    """Return (3,) how many times larger than stated the job takes uncertainties of a block's readings, axis by axis."""
    plan, height = quality.scales(points)
    return np.array([plan, plan, height])


def scaled(sigma: Floats, correlated: Floats | None, scale: Floats) -> tuple[Floats, Floats | None]:
    """Return standard uncertainties (n, 3) and covariances (n, 3) as the job takes them; ``scale`` (3,) or (n, 3)."""
    if (scale == 1.0).all():
        return sigma, correlated
    both = np.stack([scale[..., 0] * scale[..., 1], scale[..., 0] * scale[..., 2], scale[..., 1] * scale[..., 2]], -1)
    return sigma * scale, None if correlated is None else correlated * both


def correct(
    operations: Operations,
    xyz: Floats,
    session: Integers,
    *,
    sigma: Floats,
    shifts: SessionShifts,
    geoid_sigma: float = 0.0,
    correlated: Floats | None = None,
) -> Corrected:
    """Apply each reading's session shift and transform to the issued frame.

    Args:
        operations: the chosen ones; the uncertainty of a localisation that they lead to is added.
        xyz: (n, 3) raw positions, working frame, field shifts taken out.
        session: (n,) index of each reading's session.
        sigma: (n, 3) standard uncertainty of the observation east, north, up, metres.
        shifts: the sessions' shifts.
        geoid_sigma: standard uncertainty of the geoid separation, metres, added to the heights'.
        correlated: (n, 3) covariances of the observation's components, as `observed_covariance` gives them.
    """
    frames, site = operations.frames, operations.site
    if shifts.grid is None:
        moved = xyz + shifts.shift[session]
        easting, northing, height = frames.to_issued.forward(*moved.T)
    else:
        easting, northing, height = (
            raw + added for raw, added in zip(frames.to_issued.forward(*xyz.T), shifts.grid[session].T, strict=True)
        )
        moved = np.column_stack(frames.to_issued.inverse(easting, northing, height))
    longitude, latitude, ellipsoid_height = frames.to_geographic.forward(*moved.T)
    own, local = np.hypot(sigma, [0.0, 0.0, geoid_sigma]), None if site is None else site.uncertainty(easting, northing)
    hu95, vu95 = _uncertainty(longitude, latitude, session, own, correlated, shifts.covariance, local)
    return Corrected(
        easting=easting,
        northing=northing,
        height=height,
        longitude=longitude,
        latitude=latitude,
        ellipsoid_height=ellipsoid_height,
        hu95=hu95,
        vu95=vu95,
    )


def _uncertainty(
    longitude: Floats,
    latitude: Floats,
    session: Integers,
    sigma: Floats,
    correlated: Floats | None,
    covariance: Floats,
    site: tuple[Floats, Floats] | None,
) -> tuple[Floats, Floats]:
    """Return (n,) 95 % radius and height uncertainty: observation, shift, localisation, in own east, north, up.

    The few degrees between the grid's north and the point's make no difference to the localisation's part.
    """
    known = np.isfinite(longitude) & np.isfinite(latitude)
    places = (np.where(known, degrees, 0.0) for degrees in (longitude, latitude))
    east, north, up, both = local_variances(covariance, session, *places)
    for total, own in zip((east, north, up), sigma.T, strict=True):
        total += own**2
    if correlated is not None:
        both += correlated[:, 0]
    if site is not None:
        east += site[0][:, 0, 0]
        north += site[0][:, 1, 1]
        both += site[0][:, 0, 1]
        up += site[1]
    hu95, vu95 = circle_95(*semi_axes(east, north, both)), vertical_95(np.sqrt(up))
    return np.where(known, hu95, np.nan), np.where(known, vu95, np.nan)
