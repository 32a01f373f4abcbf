"""Finds the reading of an occupation again where its time is another now, as where a clock or a date was put right.

Whatever had its time corrected, the job, a session, one export or one row: it is the same reading where the same name
stands with the same raw position, or where all checks of its session or of its export moved with it by one step. A mark
that was occupied anew under the old name is neither.
"""

from collections.abc import Callable, Iterable
from contextlib import closing

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Flags, Integers
from pipeline.clock import milliseconds_of
from pipeline.intake.survey import Survey
from pipeline.issue.geopackage.earlier_rows import Lost, read_batches
from pipeline.issue.record_types import Record
from pipeline.issue.row_types import CheckRow
from pipeline.reissue.as_exported import COLUMNS, Stood, as_exported, lies_at, stood_in, stood_of
from pipeline.reissue.earlier import Last
from pipeline.reissue.occupied import ALIKE, EarlierOccupation
from pipeline.replace import replace
from pipeline.words import Role

#: Gives an issue by its number, None where it cannot be read.
Issues = Callable[[int], Last | None]


class AnotherTime:
    """The readings of a job, in which occupations of issues before are sought that are not there at their own time."""

    def __init__(self, last: Record, survey: Survey, issue: Issues) -> None:
        """Look at ``last``, which tells of the occupations, and at ``survey``; ``issue`` gives issues."""
        self._survey, self.issue = survey, issue
        self._last = last
        self._rows = dict[str, list[int]]()
        for at, name in enumerate(survey.candidates.names):
            self._rows.setdefault(name or "", []).append(at)
        self._export = np.asarray(survey.candidates.table.column("export"), np.int64)
        self._had = [(one["session"], str(one["point"]), milliseconds_of(str(one["observed"])))
                     for one in last["checks"] if _told(one)]  # fmt: skip

    def seen(self, every: Iterable[EarlierOccupation]) -> list[EarlierOccupation]:
        """Return occupations; those that failed with the ``others``, the times at which they stand now instead."""
        return [replace(one, others=self._times(one)) if one.failed else one for one in every]

    def _times(self, one: EarlierOccupation) -> tuple[int, ...]:
        time = self._survey.candidates.time
        rows = self._named(one.point)
        if not len(rows) or (np.abs(time[rows] - one.time) <= ALIKE).any():
            return ()
        issue, stood = (self._last, stood_of(one.row)) if one.row is not None else self.told_of(one)
        same = lies_at(self._survey.candidates.raw[rows], as_exported(issue, stood, self._survey))
        windows = self._survey.windows
        sessions = {windows[at].session.name for at in one.sessions} if stood is None else {stood.session}
        found = [at for at, is_it in zip(rows.tolist(), same.tolist(), strict=True)
                 if is_it or self._in_step(one, at, sessions)]  # fmt: skip
        return tuple(dict.fromkeys(time[found].tolist()))

    def told_of(self, one: EarlierOccupation) -> tuple[Record, Stood | None]:
        """Return the issue that had one that was only told of, and how it stood there; None where nobody knows."""
        issue = self.issue(one.issue)
        for record in (self._last,) if issue is None else (issue.record, self._last):
            if (row := _row(record, one)) is not None:
                return record, stood_of(row)
        if issue is not None and (held := _held_back(issue, one)) is not None:
            return issue.record, held
        return self._last, None

    def _in_step(self, one: EarlierOccupation, at: int, sessions: set[str]) -> bool:
        """Tell whether all else that was observed on marks in the session, or in the export, moved as one reading."""
        step = int(self._survey.candidates.time[at]) - one.time
        if any(name == one.point and abs(time - one.time - step) <= ALIKE for _, name, time in self._had):
            return False  # that reading was another occupation already
        others = [had for had in self._had if had[1] != one.point or abs(had[2] - one.time) > ALIKE]
        own = self._export == self._export[at]
        everywhere = np.ones(len(own), bool)
        of_session = [had[1:] for had in others if had[0] in sessions and self._stands(had[1], everywhere)]
        of_export = [
            had[1:] for had in others if self._stands(had[1], own) and not self._stands(had[1], ~own, had[2])
        ]  # fmt: skip
        return self._moved(of_session, step, everywhere) or self._moved(of_export, step, own)

    def _moved(self, others: list[tuple[str, int]], step: int, among: Flags) -> bool:
        return bool(others) and all(
            self._stands(name, among, time + step) and not self._stands(name, among, time) for name, time in others
        )

    def _stands(self, name: str, among: Flags, time: int | None = None) -> bool:
        """Tell whether one of some readings has a name, at a time if that is given."""
        named = self._named(name)
        named = named[among[named]]
        return bool(len(named) if time is None else (np.abs(self._survey.candidates.time[named] - time) <= ALIKE).any())

    def _named(self, name: str) -> Integers:
        return np.array(self._rows.get(name, []), np.int64)


def _told(row: CheckRow) -> bool:
    return row["role"] != Role.NOTED and None not in (row["observed"], row["point"])


def _row(issue: Record, one: EarlierOccupation) -> CheckRow | None:
    """Return the row that an occupation had in the issue that it failed in, None where that is not known."""
    same = [row for row in issue["checks"] if _told(row) and (row["point"], row["mark"]) == (one.point, one.mark)]
    near = [row for row in same if abs(milliseconds_of(str(row["observed"])) - one.time) <= ALIKE]
    if near or len(same) == 1:  # its time may have been another in the issue that it failed in
        return (near or same)[0]
    return None


def _held_back(issue: Last, one: EarlierOccupation) -> Stood | None:
    """Return how a reading that seemed to be a check, and was held back, stood in the issue that told of it first."""
    same = list[tuple[int, Stood]]()
    try:
        with closing(read_batches(issue.package, "held_back", COLUMNS)) as batches:
            for batch in batches:
                chosen = pa.Table.from_batches([batch]).filter(pc.equal(batch.column("name"), one.point))
                same += [(time, stood) for _, time, stood in stood_in(chosen)]
    except Lost:
        return None
    near = [stood for time, stood in same if abs(time - one.time) <= ALIKE]
    if near or len(same) == 1:
        return near[0] if near else same[0][1]
    return None
