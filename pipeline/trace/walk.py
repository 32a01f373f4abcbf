"""The walk from a job file and a name to a trace, through the pipeline's own stages."""

import sqlite3
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.draft.merged import settle
from pipeline.draft.second_pass import Drafter
from pipeline.examine.examine import examine
from pipeline.intake.prepare import begin, prepare
from pipeline.issue.folder.standing_issues import standing
from pipeline.issue.record import RecordError
from pipeline.issue.record_types import Record
from pipeline.near import nearest as nearest_names
from pipeline.problems import JobError, Problem, Problems, refusals_told
from pipeline.progress import Progress
from pipeline.read.exports import read_batches
from pipeline.reissue.fingerprint import differences, fingerprint, identity_of
from pipeline.solve.solve import solve
from pipeline.trace.chain import follow
from pipeline.trace.issued import agreement, compare, find_everywhere
from pipeline.trace.model import Found, Reading, Trace

#: Names that differ in length by more than this are not near each other.
_NEAR = 2


@refusals_told()
def trace(path: Path, point: str, progress: Progress | None = None) -> Trace:
    """Follow every reading of a name from its raw coordinates to what is issued of it, and through every issue.

    Everything is worked out again from the raw files; nothing is written.

    Args:
        path: the job file.
        point: the name, as the exports have it, or as it is issued where several points have it.
        progress: told how far the first reading of the exports is.

    Raises `JobError` for whatever a run would refuse, for a name that is neither in the exports nor in any issue, and
    for an issue that cannot be read.
    """
    problems = Problems()
    examined = examine(prepare(begin(path, problems), problems), problems, progress)
    survey = examined.survey
    solved = solve(survey, examined.doubts)
    drafter = settle(survey, solved).drafter
    folder = survey.job.job.folder
    records, near = _records(folder), _Near(point)
    followed = tuple(_readings(drafter, point, near))
    readings = tuple(reading for reading, _ in followed)
    found = _in_issues(folder, point, {name for _, names in followed for name in names})
    if readings and all(point != names[0] for _, names in followed):  # others of that name in the exports are not asked
        here = {(reading.file, reading.row) for reading in readings}
        found = {
            issue: [row for row in rows if (row.source_file, row.source_row) in here] for issue, rows in found.items()
        }
    if not readings and not any(found.values()):
        raise JobError([Problem(str(path), 0, f'no reading and no issue has a point "{point}"', near.advice())])
    changed = []
    if records:
        now = fingerprint(survey, solved, drafter.merged).beside(records[-1])
        changed = [f"{name} {how}" for name, how in differences(identity_of(records[-1]), now).items()]
    readings, gone = compare(readings, found)
    newest = records[-1]["issue"] if records else 0
    told = agreement(readings, newest, changed, gone)
    return Trace(survey.job.job.name, point, survey.axes.described, readings, gone, told)


def _records(folder: Path) -> list[Record]:
    """Return the record of every issue, oldest first."""
    found = list(standing(folder))
    if damaged := [one for one in found if isinstance(one, Problem)]:
        raise JobError(damaged)
    return [one[1] for one in found if not isinstance(one, Problem)]


def _in_issues(folder: Path, point: str, names: set[str]) -> dict[int, list[Found]]:
    """Return the rows of a name in every issue; ``names`` are those that its readings have or have got."""
    try:
        return find_everywhere(folder, sorted({point, *names}))
    except (OSError, ValueError, RecordError, sqlite3.DatabaseError) as error:
        what = f"an issue cannot be read: {error}"
        raise JobError([Problem(str(folder), 0, what, "run tiedown verify on the folder")]) from error


def _readings(drafter: Drafter, point: str, near: "_Near") -> Iterator[tuple[Reading, tuple[str, str]]]:
    """Read the exports again and follow the readings of the name; yield each with its name there and as issued."""
    start = 0
    for number, export in enumerate(drafter.survey.exports):
        for batch in read_batches(export):
            names = batch.column("name")
            issued = drafter.names.names(names, np.arange(start, start + batch.num_rows))
            asked = pc.or_kleene(pc.equal(names, point), pc.equal(issued, point))
            rows = np.flatnonzero(np.asarray(pc.fill_null(asked, False)))
            if len(rows):
                drafted = drafter.work(batch, number, start)
                for row in rows.tolist():
                    yield follow(drafter, drafted, row), (names[row].as_py(), issued[row].as_py())
            else:
                near.look(names)
            start += batch.num_rows


class _Near:
    """The names most like one that is not there, gathered while the exports are read."""

    def __init__(self, point: str) -> None:
        self.point, self.names = point, dict[str, None]()

    def look(self, names: pa.Array) -> None:
        """Keep the likeliest of a batch's names."""
        length = pc.utf8_length(names)
        alike = pc.less_equal(pc.abs(pc.subtract(length, len(self.point))), _NEAR)
        close = nearest_names(self.point, pc.unique(names.filter(pc.fill_null(alike, False))).to_pylist())
        self.names |= dict.fromkeys(close)

    def advice(self) -> str:
        """Return in words which names are near."""
        close = nearest_names(self.point, self.names)
        return f"did you mean {' or '.join(close)}?" if close else "check the names in the exports"
