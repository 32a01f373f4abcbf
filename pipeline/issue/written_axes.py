"""The axes of an issue's coordinates, as its record has them."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pipeline.geodesy.axes import Axes, Axis
    from pipeline.issue.record_types import AxisWritten, Record


def written_plainly(record: Record) -> bool:
    """Tell whether the coordinates of an issue are metres to the east, to the north and upwards, as mostly."""
    axes = record["target"]["axes"]
    usual = ((axes["easting"], "east"), (axes["northing"], "north"), (axes["height"], "up"))
    return all(axis["metres"] == 1 and axis["direction"] == direction for axis, direction in usual)


def axes_written(record: Record) -> Axes:
    """Return how the coordinates of an issue are written."""
    from pipeline.geodesy.axes import Axes

    axes = record["target"]["axes"]
    return Axes(_axis(axes["easting"]), _axis(axes["northing"]), _axis(axes["height"]))


def _axis(axis: AxisWritten) -> Axis:
    from pipeline.geodesy.axes import Axis

    return Axis(axis["unit"], axis["metres"], axis["direction"])
