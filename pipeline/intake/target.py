"""The grid and the height datum of a job's coordinates, as its record names them."""

from pipeline.geodesy import crs
from pipeline.geodesy.axes import Axis
from pipeline.issue.record_types import AxisWritten, Target
from pipeline.job.model import Job


def target(job: Job) -> Target:
    """Return the record's ``target``: grid and height datum by code and name, and both together as WKT."""
    grid, datum = crs.target_grid(job.target.grid), crs.vertical_of(job.target.height)
    axes = crs.target_axes(job.target.grid, job.target.height)
    return {
        "grid": crs.registered_code(grid) or grid.to_wkt(),
        "grid_name": grid.name,
        "height": job.target.height if datum is None else (crs.registered_code(datum) or datum.to_wkt()),
        "height_name": "ellipsoidal" if datum is None else datum.name,
        "definition": crs.compound_definition(job.target.grid, job.target.height),
        "epoch": job.target.epoch,
        "axes": {"easting": _axis(axes.easting), "northing": _axis(axes.northing), "height": _axis(axes.height)},
    }


def _axis(axis: Axis) -> AxisWritten:
    return {"unit": axis.unit, "metres": axis.metres, "direction": axis.direction}
