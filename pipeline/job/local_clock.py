"""The clock by which people at the place of a job read times."""

from pipeline.job.model import Job

#: Clocks that show UTC, or nearly.
_NOT_LOCAL = {"UTC", "GPS", "Etc/UTC", "+00:00", "-00:00"}


def local_clock(job: Job) -> str | None:
    """Return the local clock of a job: that of ``[source]``, else the one that all blocks with a local clock name.

    None where every time is UTC or GPS, or where the blocks name more than one.
    """
    named = [zone for zone in (job.source.time_zone, *(block.time_zone for block in job.points)) if zone is not None]
    local = dict.fromkeys(zone for zone in named if zone not in _NOT_LOCAL)
    if job.source.time_zone in local:
        return job.source.time_zone
    return next(iter(local)) if len(local) == 1 else None
