"""What the files of an issue say of themselves."""

from datetime import datetime

from pipeline.geodesy import crs
from pipeline.intake.target import target
from pipeline.issue.about import About
from pipeline.job.model import Job

CAUTION = (
    "No substitute for a licensed surveyor's judgement: cadastral boundaries, set-out of structures and anything that "
    "people's safety rests on follow the local survey regulations and a licensed practitioner."
)


def about(job: Job, number: int, data_to: datetime) -> About:
    """Return what the files of an issue say of themselves; ``data_to`` is the time of the newest observation."""
    grid = crs.target_grid(job.target.grid)
    datum, goal = crs.geographic_of(grid), target(job)
    return About(
        job=job.job.name,
        issue=number,
        data_to=data_to,
        grid=crs.registered_code(grid),
        grid_name=grid.name,
        height_name=goal["height_name"],
        datum=crs.registered_code(datum),
        datum_name=datum.name,
        definition=goal["definition"],
        caution=CAUTION,
    )
