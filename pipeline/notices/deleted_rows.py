"""Says where an export calls readings deleted that are issued like the others."""

from collections.abc import Iterator, Sequence

from pipeline.intake.deleted_rows import FIRST
from pipeline.intake.survey import Survey
from pipeline.job.toml_text import quoted
from pipeline.near import and_more, listed
from pipeline.read.solution_words import coarse_among
from pipeline.words import counted, plural


def deleted_notes(survey: Survey) -> Iterator[str]:
    """Yield columns by which some readings, and not all, were deleted, disabled, voided or rejected."""
    for export, log in zip(survey.exports, survey.first_pass.files, strict=True):
        for name, of in log.deleted.items():
            if not of.deleted or not of.others or of.otherwise:
                continue
            rows = ", ".join(map(str, of.rows)) + and_more(of.deleted - len(of.rows))
            held = "" if export.points.columns.solution is not None else held_by_solution(name, of.other_words)
            yield (
                f'{export.shown}:{of.rows[0]}: column "{name}" says {listed(of.said)} of'
                f" {counted(of.deleted, 'reading')} ({plural(of.deleted, 'row')} {rows}) and not of the other"
                f" {of.others:,}, and is not read: readings that are not to be issued have to be taken out of the"
                f" export{held}"
            )


def held_by_solution(name: str, others: Sequence[str]) -> str:
    """Return how a column that is mapped as that of solutions holds such rows back, "" where others have no word.

    A row without a word would be held back too, and a word such as "No" is that of no fixed solution.
    """
    if not others or "" in others or len(others) >= FIRST or coarse_among(others):
        return ""
    accepted = ", ".join(map(quoted, others))
    return f", or map solution = {quoted(name)} and accept solutions = [{accepted}] in [quality]"
