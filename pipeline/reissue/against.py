"""Compares a job with its previous issue: reasons for differences, values carried forward, rows to compare."""

from collections.abc import Sequence

from msgspec import Struct

from pipeline.draft.layer_rows import Carried
from pipeline.intake.survey import Survey
from pipeline.issue.folder.thinned_issues import read_thinned
from pipeline.issue.geopackage.earlier_rows import Lost
from pipeline.reissue.change_rows import Because
from pipeline.reissue.changed_rows import ChangedRows, few_can_differ
from pipeline.reissue.earlier import Last, TakenOver, another_frame, called, standing
from pipeline.reissue.fingerprint import Fingerprint
from pipeline.reissue.reasons import reasons
from pipeline.reissue.side import Side
from pipeline.replace import replace
from pipeline.solve.solve import Solved
from pipeline.words import FIRST_ISSUE


class Earlier(Struct, frozen=True):
    """The rows of the previous issue, and what gives the reason of a change.

    ``changed`` are its points where few of them can differ; ``side`` its rows for comparison, else read when needed;
    ``taken`` the numbers of its points that no change reaches, where there are any.
    """

    last: Last
    because: Because
    changed: ChangedRows | None
    side: Side | None
    taken: TakenOver | None


class Against(Struct, frozen=True):
    """Why a new issue is made, and the rows that it is compared with, if there are."""

    because: tuple[str, ...]
    rows: Earlier | None = None


def against(last: Last | None, survey: Survey, solved: Solved, now: Fingerprint, altered: str = "") -> Against:
    """Hold a job against the previous issue; where that cannot be compared, ``because`` says what stands in the way.

    ``altered`` says that the points of the previous issue are not what was issued, as a reason of what differs.
    """
    if last is None:
        return Against((FIRST_ISSUE,))
    why = replace(reasons(last, survey, solved, now), altered=altered)
    removed = read_thinned(last.folder)
    obstacle = another_frame(last.record, survey.target) or (str(removed) if removed is not None else None)
    columns = Carried.of(survey).schema.names if why.by_file or why.general else ()
    try:
        if obstacle is None:
            return Against(why.all(), Earlier(last, why.of, *_rows(last, survey, now, columns)))
    except Lost as error:
        obstacle = str(error)
    return Against((*why.all(), f"points moved since issue {last.record['issue']:03d} are not listed: {obstacle}"))


def _rows(
    last: Last, survey: Survey, now: Fingerprint, columns: Sequence[str]
) -> tuple[ChangedRows | None, Side | None, TakenOver | None]:
    """Return what `Earlier` has of the rows; attributes may have changed in ``columns``. Raises `Lost`."""
    found, (names, shown) = standing(last, survey, now.reach), called(survey)
    if found is None:
        return None, last.side(columns), None
    if few_can_differ(last, found, survey, now.sums):
        points = last.points(names, shown)
        return ChangedRows(last, found, points, survey), None, TakenOver(found, points, shown)
    side, points = last.side_and_points(columns, names, shown)
    return None, side, TakenOver(found, points, shown)
