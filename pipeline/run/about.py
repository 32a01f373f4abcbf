"""What the files of an issue say of themselves."""

from collections.abc import Sequence

from pipeline.codes.drawn import drawn_codes
from pipeline.geodesy import crs
from pipeline.intake.prepare import Prepared
from pipeline.intake.survey import Survey
from pipeline.issue.file_facts import Drafting, FileFacts
from pipeline.issue.formats.dxf_former import FormerDrawings, former_drawings
from pipeline.job.model import Job

CAUTION = (
    "No substitute for a licensed surveyor's judgement: cadastral boundaries, set-out of structures and anything that "
    "people's safety rests on follow the local survey regulations and a licensed practitioner."
)


def about(survey: Survey, number: int, judged: Sequence[tuple[str, str]] = ()) -> FileFacts:
    """Return what the files of issue ``number`` say of themselves, with what was `judged_facts.judged` of it."""
    job, goal = survey.job, survey.target
    grid = crs.target_grid(job.target.grid)
    datum = crs.geographic_of(grid)
    return FileFacts(
        job=job.job.name,
        issue=number,
        data_to=survey.data_to,
        grid=None if survey.operations.site else crs.registered_code(grid),
        grid_name=goal["grid_name"],
        height_name=goal["height_name"],
        datum=crs.registered_code(datum),
        datum_name=datum.name,
        definition=goal["definition"],
        caution=CAUTION,
        axes=survey.axes,
        carried=crs.carried_from(grid, (block.crs for block in job.points if block.crs is not None)),
        drafting=_drafting(job, survey.prepared),
        judged=tuple(judged),
    )


def _drafting(job: Job, prepared: Prepared) -> Drafting:
    drawing = job.drawing
    former = former_drawings(job.job.folder) if "dxf" in job.issue.formats else FormerDrawings()
    codes = drawn_codes(drawing, prepared.codes)
    return Drafting(drawing.scale, drawing.text_height, codes, prepared.named, former.layers, former.colours)
