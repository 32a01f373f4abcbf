"""A job held against its issue before: why it differs, what is taken over, and what its rows are compared with."""

from dataclasses import dataclass

from pipeline.draft.layer_rows import Carried
from pipeline.draft.taken_over import Reuse
from pipeline.intake.survey import Survey
from pipeline.issue.folder.thinned import thinned
from pipeline.issue.geopackage.previous import Lost
from pipeline.reissue.changed_rows import ChangedRows, changed_rows
from pipeline.reissue.changes import Because, Side
from pipeline.reissue.earlier import Last, another_frame, called, reuse, standing
from pipeline.reissue.fingerprint import Fingerprint
from pipeline.reissue.reasons import reasons
from pipeline.solve.solve import Solved
from pipeline.words import FIRST_ISSUE


@dataclass(frozen=True)
class Earlier:
    """The rows of the issue before, and what gives the reason of a change.

    ``changed`` are its points where few of them can differ; ``side`` its rows for comparison, else read when needed.
    """

    last: Last
    because: Because
    changed: ChangedRows | None
    side: Side | None


@dataclass(frozen=True)
class Against:
    """Why a new issue is made, the numbers that it takes over, and the rows that it is compared with, if there are."""

    because: tuple[str, ...]
    reuse: Reuse | None = None
    rows: Earlier | None = None


def against(last: Last | None, survey: Survey, solved: Solved, now: Fingerprint) -> Against:
    """Hold a job against the issue before; where that cannot be compared, ``because`` says what stands in the way."""
    if last is None:
        return Against((FIRST_ISSUE,))
    why = reasons(last, survey, solved, now)
    removed = thinned(last.folder)
    obstacle = another_frame(last.record, survey.target) or (str(removed) if removed is not None else None)
    try:
        if obstacle is None:
            changed, taken = _taken_over(last, survey, now)
            columns = Carried.of(survey.exports).schema.names if why.by_file or why.general else ()
            side = last.side(columns) if changed is None else None
            return Against(why.all(), taken, Earlier(last, why.of, changed, side))
    except Lost as error:
        obstacle = str(error)
    return Against((*why.all(), f"what moved since issue {last.record['issue']:03d} is not listed: {obstacle}"))


def _taken_over(last: Last, survey: Survey, now: Fingerprint) -> tuple[ChangedRows | None, Reuse | None]:
    """Return the points of the issue before where few can differ, else the numbers that can be taken over, if any can.

    Raises `Lost`.
    """
    found = standing(last, survey, now.reach)
    if found is None:
        return None, None
    names, shown = called(survey)
    points = last.points(names, shown)
    changed = changed_rows(last, found, points, survey, now.sums)
    return changed, reuse(found, points, shown) if changed is None else None
