"""The positions of a batch of readings: as the export has them, and in the working frame; and their uncertainties."""

import numpy as np
import pyarrow as pa

from pipeline.arrays import Floats
from pipeline.duplicates import height_rounding, metres_of, plan_rounding
from pipeline.geodesy.epochs import decimal_year
from pipeline.geodesy.transform import Operation
from pipeline.read.columns import lengths_of
from pipeline.read.exports import Export
from pipeline.sphere import DEGREE
from pipeline.tables import milliseconds


def raw_positions(batch: pa.RecordBatch | pa.Table) -> tuple[Floats, Floats, Floats]:
    """Return (n,) first, second and third raw coordinate of a batch of readings."""
    first, second, third = (column_numbers(batch, name) for name in ("first", "second", "third"))
    return first, second, third


def axis_metres(second: Floats, export: Export) -> tuple[float, float, float]:
    """Return how many metres one unit of raw coordinates is along each axis: one, save for degrees.

    ``second`` (n,) are northings or latitudes. Feet are none: readings are in metres whatever their export counts in
    (`tables.READING`).
    """
    if not lengths_of(export.points).degrees:
        return 1.0, 1.0, 1.0
    latitude = second[np.isfinite(second)]
    parallel = float(np.cos(np.radians(latitude.mean()))) if len(latitude) else 1.0
    return DEGREE * max(parallel, 0.01), DEGREE, 1.0


def local_metres(place: tuple[Floats, Floats, Floats], export: Export) -> tuple[Floats, Floats, Floats]:
    """Return raw coordinates, (n,) each, in metres along their axes: good enough for how far rows lie apart.

    They are those of an export with longitudes and latitudes, or with eastings and northings, not geocentric ones. On
    both sides of the meridian at 180 degrees, longitudes count on beyond it.
    """
    first, second, third = place
    east, north, up = axis_metres(second, export)
    if lengths_of(export.points).degrees and len(first) and np.ptp(first) > 180.0:
        first = np.where(first < 0.0, first + 360.0, first)
    return first * east, second * north, third * up


def finest_digit(values: Floats, axis: int, export: Export) -> float:
    """Return how many metres the last digit of some raw coordinates (n,) along an axis is worth, at the finest.

    Zero where more digits are written than can be told; infinite where no value is known.
    """
    known, counted = values[np.isfinite(values)], lengths_of(export.points)
    if not len(known):
        return np.inf
    if axis == 2:
        codes = height_rounding(known, counted.up)
    else:
        unit = None if counted.degrees else counted.plan
        codes, _ = plan_rounding(known, known[:0], unit, export.points.angles == "dms")
    return float(metres_of(codes).min())


def base_positions(batch: pa.RecordBatch | pa.Table) -> Floats:
    """Return (n, 3) the positions of the bases as an export has them, NaN where it has none."""
    return np.column_stack([column_numbers(batch, name) for name in ("base_first", "base_second", "base_third")])


def stated_sigmas(batch: pa.RecordBatch | pa.Table) -> tuple[Floats, Floats, Floats]:
    """Return (n,) stated standard uncertainties to the east, the north and upwards, metres; NaN where there is none."""
    east, north, up = (column_numbers(batch, name) for name in ("sigma_east", "sigma_north", "sigma_up"))
    return east, north, up


def column_numbers(batch: pa.RecordBatch | pa.Table, name: str) -> Floats:
    """Return (n,) numbers of one column of a batch, NaN where there is none."""
    return np.asarray(batch.column(name), np.float64)


def working_positions(batch: pa.RecordBatch | pa.Table, operation: Operation, epochs: Floats) -> Floats:
    """Return (n, 3) raw positions in the working frame.

    Where the operation depends on time, each moves from its own of the (n,) ``epochs`` [decimal year] of the
    coordinates; where that is NaN, from the time of its observation.
    """
    time = None
    if operation.time_dependent:
        time = np.where(np.isfinite(epochs), epochs, decimal_year(milliseconds(batch)))
    return np.column_stack(operation.forward(*raw_positions(batch), time=time))
