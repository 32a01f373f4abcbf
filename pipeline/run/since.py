"""What a new issue says of the one that drafters have: why there is another, and what became of that one's points."""

import os
from pathlib import Path

from msgspec import Struct

from pipeline.intake.prepare import owner
from pipeline.issue.folder.marked_folder import kept_elsewhere
from pipeline.issue.record_types import Changes
from pipeline.job.load import LoadedJob
from pipeline.near import listed
from pipeline.reissue.against import Against, against
from pipeline.reissue.altered import AlteredSince
from pipeline.reissue.counted_changes import attributes_changed, times_differ
from pipeline.reissue.earlier import Last
from pipeline.reissue.gone_links import gone_links
from pipeline.reissue.history import History
from pipeline.run.layers import Laid
from pipeline.run.ready import Ready
from pipeline.visible import one_line
from pipeline.words import counted


class Since(Struct, frozen=True):
    """A job held against the issue that it is compared with.

    Args:
        last: that issue, None for the first.
        compared: why the two differ, and the rows to compare with.
        altered: what of it is not what was issued.
        judged: in words, what is judged differently from the newest issue though it was made from the same.
    """

    last: Last | None
    compared: Against
    altered: AlteredSince
    judged: tuple[str, ...]

    @classmethod
    def of(cls, job: Ready, history: History, judged: tuple[str, ...]) -> "Since":
        """Hold a job against the issue that drafters have."""
        last = history.drawn_from
        altered = AlteredSince.of(last, history.noted_of(last).signs if last is not None else {})
        return cls(last, against(last, job.survey, job.solved, job.fingerprint, altered.reason), altered, judged)

    @property
    def listed(self) -> bool:
        """Say whether its points could be compared."""
        return self.compared.rows is not None

    def because(self, laid: Laid) -> list[str]:
        """Return in words why there is a new issue; ``laid`` is what the second pass gave."""
        why = [
            *self.compared.because,
            *self.altered.because(compared=self.listed),
            *(f"judged differently from the previous issue: {one}" for one in self.judged),
        ]
        if self.last is None:
            return why
        number = self.last.record["issue"]
        why += attributes_changed(laid.changes)
        why += times_differ(laid.retimed, number)
        why += laid.drawn
        return why or [f"everything is as it was when issue {number:03d} was made"]

    def notes(self, laid: Laid, loaded: LoadedJob) -> list[str]:
        """Return what is to be noted of the files of issues before: altered, gone, or in another folder."""
        if self.last is None:
            return _elsewhere(loaded)
        return [*self.altered.notes(), *gone_links(self.last, loaded.job, laid.links)]

    def changes(self, laid: Laid, because: list[str]) -> Changes | None:
        """Return the record's ``changes``, None for the first issue."""
        if self.last is None:
            return None
        altered = self.altered.told(compared=self.listed)
        return {**laid.changes, "since": self.last.record["issue"], "because": because, "altered": altered}


def _elsewhere(loaded: LoadedJob) -> list[str]:
    """Return in words that a first issue is made although another folder has issues of the job."""
    here = os.path.realpath(loaded.path.parent)
    there = [
        f"{one_line(Path(os.path.relpath(os.path.realpath(folder), here)).as_posix())} ({counted(issues, 'issue')})"
        for folder, issues in kept_elsewhere(loaded.job.job.folder, owner(loaded))
    ]
    if not there:
        return []
    fix = "if its folder was renamed, name that one under [job] folder, or rename it back, and run again"
    return [f"this is issue 001 of its folder, but {listed(there)} has issues of the job already: {fix}"]
