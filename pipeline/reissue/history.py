"""The issues before a run: the newest and the one that drafters have, read once for all stages of the run."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from pipeline.issue.folder.confirmation import Confirmed, Signs, newest_confirmed
from pipeline.issue.folder.folder_names import set_aside
from pipeline.issue.folder.intact import damage, refuse_damaged
from pipeline.issue.folder.issues_list import numbers_listed
from pipeline.issue.folder.manual_release import find_issue_to_show
from pipeline.issue.folder.publish import issues, recover
from pipeline.issue.folder.standing_issues import newest_standing, standing_issue
from pipeline.issue.record import NAME as RECORD
from pipeline.issue.record import RecordError, read_record
from pipeline.issue.record_types import Record
from pipeline.problems import JobError
from pipeline.reissue.earlier import Last
from pipeline.reissue.shown import put_right, refuse_other
from pipeline.words import Verdict

#: Issues before the one that drafters have, up to which one without a failing check is looked for. Ours.
_BACK = 10


@dataclass(frozen=True)
class History:
    """The issues of a job as they stood when its run began.

    A stage that has to go on without an issue that cannot be read may do so: nothing is made of what it returns, since
    `refuse` is called before anything is written, or is said to be unchanged.

    Args:
        folder: the job's.
        newest: the newest issue, None where there is none yet, or where it cannot be read.
        shown: the issue that `current` is to show, None where none was ever released, or where it cannot be read.
        problem: why one of the two cannot be read, None where both were.
        noted: the number of the issue whose files were last looked at, with what was noted of them; None: of none.
    """

    folder: Path
    newest: Last | None = None
    shown: Last | None = None
    problem: JobError | RecordError | OSError | None = None
    noted: tuple[int, Confirmed] | None = None
    _others: dict[int, Last | None] = field(default_factory=dict, init=False, repr=False, compare=False)
    _aside: dict[int, Last | None] = field(default_factory=dict, init=False, repr=False, compare=False)

    @classmethod
    def read(cls, folder: Path) -> "History":
        """Read it and write nothing, for a run that holds no lock; what cannot be read is its ``problem``."""
        newest: Last | None = None
        try:
            newest = _newest(folder)
            number = find_issue_to_show(
                folder, [number for number, _ in issues(folder)], newest.record if newest else None
            )
        except (JobError, RecordError, OSError) as error:
            return cls(folder, newest, problem=error, noted=newest_confirmed(folder))
        return cls._with_shown(folder, newest, number)

    @classmethod
    def put_right(cls, folder: Path) -> "History":
        """Put right what a dead run left, and read it; the job is held.

        Raises `JobError` where the newest issue is damaged, and as `recover`. An issue before it that cannot be read
        is a ``problem``.
        """
        newest = _newest(folder)
        return cls._with_shown(folder, newest, recover(folder, newest.record if newest else None))

    @classmethod
    def _with_shown(cls, folder: Path, newest: Last | None, number: int | None) -> "History":
        noted = newest_confirmed(folder)
        if newest is None or number in (None, newest.record["issue"]):
            return cls(folder, newest, newest if number is not None else None, noted=noted)
        try:
            return cls(folder, newest, Last.of(*standing_issue(folder, number)), noted=noted)
        except JobError as error:
            return cls(folder, newest, problem=error, noted=noted)

    @property
    def current(self) -> int | None:
        """Return the number of the issue that `current` is to show, None where none was ever released."""
        return self.shown.record["issue"] if self.shown is not None else None

    @property
    def drawn_from(self) -> Last | None:
        """Return the issue that drafters have, which changes are told since; the newest where none was released."""
        return self.shown or self.newest

    @property
    def drawn_without_failure(self) -> Last | None:
        """Return the issue that drafters have; where a check failed in it, the newest of some before in which none did.

        A failed one that was released by hand may have the mistake that is looked for. Where all failed, it stays.
        """
        drawn = self.drawn_from
        if drawn is None or drawn.record["verdict"] != Verdict.FAILED:
            return drawn
        before = sorted(number for number, _ in issues(self.folder) if number < drawn.record["issue"])
        known = (self.issue(number) for number in before[: -_BACK - 1 : -1])
        return next((one for one in known if one is not None and one.record["verdict"] != Verdict.FAILED), drawn)

    def refuse(self) -> None:
        """Raise the problem, if there is one: whoever needs an issue does so before anything is made of its absence."""
        if self.problem is not None:
            raise self.problem

    def record(self, number: int) -> Record | None:
        """Return the record of any issue of the job, None where it is gone, was set aside or is damaged."""
        one = self.issue(number)
        return None if one is None else one.record

    def issue(self, number: int) -> Last | None:
        """Return any issue of the job, None as `record`; an older one is read once, by the first who asks for it."""
        for one in (self.newest, self.shown):
            if one is not None and one.record["issue"] == number:
                return one
        if number not in self._others:
            try:
                self._others[number] = Last.of(*standing_issue(self.folder, number))
            except (JobError, RecordError, OSError):
                self._others[number] = None
        return self._others[number]

    def numbers(self) -> list[int]:
        """Return the numbers of the issues that stand, and of those that were set aside, ascending."""
        return sorted({number for number, _ in issues(self.folder)} | set_aside(self.folder).keys())

    def issue_or_aside(self, number: int) -> Last | None:
        """Return an issue as `issue` does, also one that was set aside if its record can be read.

        That one is damaged: what it says may put something in doubt, and proves nothing.
        """
        if (found := self.issue(number)) is not None:
            return found
        if number not in self._aside:
            self._aside[number] = _set_aside(self.folder, number)
        return self._aside[number]

    def noted_of(self, issue: Last) -> Confirmed:
        """Return what was noted of an issue when its files were last looked at; nothing where that was another's."""
        return self.noted[1] if self.noted is not None and self.noted[0] == issue.record["issue"] else Confirmed()

    def refuse_damaged(self) -> None:
        """Raise `JobError` where the newest issue, or the one that `current` shows instead, is not what was issued."""
        if self.newest is not None:
            refuse_damaged(self.newest.folder, self.newest.record, self.noted_of(self.newest).signs)
        self.refuse()
        if self.shown is not None and self.shown is not self.newest:
            refuse_damaged(self.shown.folder, self.shown.record, self.noted_of(self.shown).signs)

    def put_shown_right(self) -> None:
        """Let `current` show what was issued, under all names, where a copy came in part or a link leads elsewhere.

        Raises `JobError` where somebody changed what stands there, and OSError.
        """
        if (found := self._sound_shown()) is not None:
            put_right(self.folder, *found)

    def refuse_other_shown(self) -> None:
        """Raise `JobError` where somebody changed what stands for the issue that `current` shows, and OSError."""
        if (found := self._sound_shown()) is not None:
            refuse_other(self.folder, *found)

    def _sound_shown(self) -> tuple[Path, Record, Mapping[str, Signs]] | None:
        """Return folder, record and noted signs of the issue that `current` shows; None where that is none, or damaged.

        What a damaged issue has of its own is told where it is needed.
        """
        self.refuse()
        if self.shown is None:
            return None
        found = self.shown.folder, self.shown.record, self.noted_of(self.shown).signs
        return None if damage(*found) else found


def _newest(folder: Path) -> Last | None:
    if (found := newest_standing(folder)) is None:
        return None
    newest = Last.of(*found)
    if newest.record["issue"] not in numbers_listed(folder):  # nothing but its files says that a run made it
        refuse_damaged(newest.folder, newest.record, {})
    return newest


def _set_aside(folder: Path, number: int) -> Last | None:
    """Return an issue that was set aside, None where its record cannot be read, or is another's."""
    if (place := set_aside(folder).get(number)) is None:
        return None
    try:
        record = read_record(place / RECORD)
    except (RecordError, OSError):
        return None
    return Last.of(place / RECORD, record) if record["issue"] == number else None
