"""Corrects readings: raw to geocentric, field shift out, session's shift in, to the grid and height datum."""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.geodesy.frames import local_variances
from pipeline.geodesy.uncertainty import circle_95, semi_axes, vertical_95
from pipeline.intake.operations import Operations
from pipeline.solve.reading_precision import Precision


class SessionShifts(Struct, frozen=True):
    """What is added to each session's raw positions.

    Args:
        shift: (S, 3) X, Y, Z, metres; NaN where the session is untied.
        covariance: (S, 3, 3) of X, Y, Z, square metres.
        grid: (S, 3) easting, northing, height instead of ``shift``, for ``model = "grid"``; None otherwise.
    """

    shift: Floats
    covariance: Floats
    grid: Floats | None = None


class Corrected(Struct, frozen=True):
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
VALUES = tuple(Corrected.__struct_fields__)


def correct(
    operations: Operations, xyz: Floats, session: Integers, precision: Precision, shifts: SessionShifts
) -> Corrected:
    """Apply each reading's session shift and transform to the issued frame.

    Args:
        operations: the chosen ones; the uncertainties of the geoid and of a localisation that they lead to are added.
        xyz: (n, 3) raw positions, working frame, field shifts taken out.
        session: (n,) index of each reading's session.
        precision: that of the observations.
        shifts: the sessions' shifts.
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
    known = np.isfinite(longitude) & np.isfinite(latitude)
    places = (np.where(known, degrees, 0.0) for degrees in (longitude, latitude))
    local = local_variances(shifts.covariance, session, *places)
    hu95, vu95 = _uncertainty(
        local, precision, operations.geoid_sigma, None if site is None else site.uncertainty(easting, northing)
    )
    return Corrected(
        easting=easting,
        northing=northing,
        height=height,
        longitude=longitude,
        latitude=latitude,
        ellipsoid_height=ellipsoid_height,
        hu95=np.where(known, hu95, np.nan),
        vu95=np.where(known, vu95, np.nan),
    )


def _uncertainty(
    shift: tuple[Floats, Floats, Floats, Floats],
    precision: Precision,
    geoid_sigma: float,
    site: tuple[Floats, Floats] | None,
) -> tuple[Floats, Floats]:
    """Return (n,) 95 % radius and height uncertainty: shift, observation, geoid, localisation, in own east, north, up.

    ``shift`` is what `local_variances` makes of the sessions' shifts. The few degrees between the grid's north and the
    point's make no difference to the localisation's part.
    """
    east, north, up, both = shift
    for total, own in zip((east, north, up), np.hypot(precision.sigma, [0.0, 0.0, geoid_sigma]).T, strict=True):
        total += own**2
    if precision.correlated is not None:
        both += precision.correlated[:, 0]
    if site is not None:
        east += site[0][:, 0, 0]
        north += site[0][:, 1, 1]
        both += site[0][:, 0, 1]
        up += site[1]
    return circle_95(*semi_axes(east, north, both)), vertical_95(np.sqrt(up))
