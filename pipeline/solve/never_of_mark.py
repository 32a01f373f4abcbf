"""How far from a mark a reading must lie to have been called an occupation of it by mistake."""

from pipeline.job.model import Job

#: A reading so many radii of a check from a mark, and further than two bases may be off by, was never one of it.
_RADII, _BOTH = 10.0, 2.0


def never_beyond(job: Job, moved: float) -> float:
    """Return the metres in plan beyond which a reading was never on a mark.

    A session that a wrong tie moves by more than the job's limit of a shift has all of its checks off by as much.

    Args:
        job: for the radius of checks and the limit of a shift.
        moved: metres that its session is moved by; NaN where it is not known.
    """
    shifted = moved if moved > job.shift.limit_horizontal else 0.0
    return max(_RADII * job.checks.radius, _BOTH * max(job.shift.limit_horizontal, shifted))
