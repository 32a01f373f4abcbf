"""Checks that every file a run read is still unchanged, so that the checksums of an issue are of those bytes."""

from pathlib import Path

from pipeline.digest import digest, signature
from pipeline.geodesy.grids import changed
from pipeline.intake.survey import Survey
from pipeline.problems import JobError, Problem
from pipeline.read.exports import Export


def refuse_altered(survey: Survey) -> None:
    """Raise `JobError` for every file that was written to during the run.

    Of exports the readings have held what they read against the sum, or have gone on with what was read so while the
    signs of a file were the same; here it is seen that these still are.
    """
    prepared, loaded, job = survey.prepared, survey.prepared.loaded, survey.job
    summed = [(loaded.path, loaded.shown, loaded.sha256)]
    summed += [(export.path, export.shown, export.sha256) for export in survey.exports if _touched(export)]
    if survey.register is not None and job.control is not None:
        summed.append((job.control.file, survey.register.shown, survey.register.sha256))
    if job.sessions is not None:
        summed.append((job.sessions.file, loaded.show(job.sessions.file), prepared.sessions_sum))
    if job.codes is not None and prepared.codes is not None:
        summed.append((job.codes.file, prepared.codes.shown, prepared.codes.sha256))
    altered = [shown for path, shown, sha256 in summed if _sum_now(path) != sha256]
    grids = [grid for operation in survey.operations.recorded() for grid in operation.grids if changed(grid)]
    altered += [f"grid file {grid.name}" for grid in dict.fromkeys(grids)]
    if altered:
        what = "the file changed during the run"
        raise JobError([Problem(shown, 0, what, "run the job again") for shown in altered])


def _touched(export: Export) -> bool:
    try:
        return signature(export.path) != export.signature
    except OSError:
        return True


def _sum_now(path: Path) -> str:
    try:
        return digest(path)
    except OSError:
        return ""
