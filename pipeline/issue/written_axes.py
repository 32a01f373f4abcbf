"""The axes of an issue's coordinates, as its record has them."""

from pipeline.geodesy.axes import Axes, Axis
from pipeline.issue.record_types import AxisWritten, Record


def axes_written(record: Record) -> Axes:
    """Return how the coordinates of an issue are written."""
    axes = record["target"]["axes"]
    return Axes(_axis(axes["easting"]), _axis(axes["northing"]), _axis(axes["height"]))


def _axis(axis: AxisWritten) -> Axis:
    return Axis(axis["unit"], axis["metres"], axis["direction"])
