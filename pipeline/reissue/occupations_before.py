"""What earlier issues say of occupations, gathered once for the stages that ask what became of them."""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

from msgspec import Struct

from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.reissue.another_time import AnotherTime, Issues
from pipeline.reissue.history import History
from pipeline.reissue.occupied import EarlierOccupation, occupied, told_before
from pipeline.reissue.returned import returned
from pipeline.replace import replace


@dataclass(frozen=True)
class OccupationsBefore:
    """The occupations of one issue, those that failed with the times at which their readings stand now.

    Args:
        record: the issue's.
        again: where readings are found again.
        had: those that it had.
        told: those that it told of already, taken along from issue to issue.
    """

    record: Record
    again: AnotherTime
    had: tuple[EarlierOccupation, ...]
    told: tuple[EarlierOccupation, ...]

    @classmethod
    def of(cls, record: Record, survey: Survey, issue: Issues) -> "OccupationsBefore":
        """Read them from the record of an issue; ``issue`` gives the issues that it takes doubts along from."""
        again = AnotherTime(record, survey, issue)
        had, told = (tuple(again.seen(ones)) for ones in (occupied(record, survey), told_before(record, survey)))
        return cls(record, again, had, told)

    @cached_property
    def failed(self) -> tuple[EarlierOccupation, ...]:
        """Return what failed in the issue, or was told by it to have failed before, each once.

        What was told counts: a tie that fails may be the check that failed. It may have failed in more since.
        """
        failed = {one.key: one for one in self.had if one.failed}
        for one in self.told:
            again = failed.get(one.key)
            if one.parts is not None and again is not None and again.parts is not None:
                failed[one.key] = replace(one, parts=one.parts | again.parts)
            else:
                failed[one.key] = one
        return tuple(failed.values())


class Asked(Struct, frozen=True):
    """The occupations of the newest issue, and of those that had sessions which left the job and are back.

    ``returned`` has with each of these issues the sessions that it is asked about.
    """

    newest: OccupationsBefore
    returned: tuple[tuple[OccupationsBefore, frozenset[int]], ...]


def occupations_before(history: History, survey: Survey) -> Asked | None:
    """Return the occupations that a job is asked about; None where there is no issue yet."""
    if history.newest is None:
        return None
    return Asked(
        OccupationsBefore.of(history.newest.record, survey, history.issue), tuple(_of_returned(history, survey))
    )


def _of_returned(history: History, survey: Survey) -> Iterator[tuple[OccupationsBefore, frozenset[int]]]:
    for record, back in returned(history, survey):
        yield OccupationsBefore.of(record, survey, history.issue), back
