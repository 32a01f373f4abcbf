"""Returns the frame of the coordinates of a job's register."""

from pipeline.geodesy import crs
from pipeline.issue.record_types import ControlUsed
from pipeline.job.model import Job


def control_used(job: Job) -> ControlUsed | None:
    """Return in which frame the register's coordinates are, None where there is no register."""
    if job.control is None:
        return None
    frame, datum = crs.source_crs(job.control.crs), crs.vertical_of(job.control.height)
    return {
        "crs": crs.registered_code(frame) or frame.to_wkt(),
        "crs_name": frame.name,
        "height": job.control.height if datum is None else (crs.registered_code(datum) or datum.to_wkt()),
        "height_name": "ellipsoidal" if datum is None else datum.name,
        "epoch": job.control.epoch,
    }
