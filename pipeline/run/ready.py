"""A job of which everything is known but its points: settled, with what its failing checks may mean."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from pipeline.blunders.diagnose import Diagnoses, diagnose
from pipeline.blunders.sentences import causes, drifts, recorded
from pipeline.draft.layer_rows import as_records
from pipeline.draft.second_pass import Drafter
from pipeline.examine.examine import Examined
from pipeline.intake.survey import Survey
from pipeline.issue.record import Record
from pipeline.notices.bases import base_facts
from pipeline.notices.before_run import before_notes
from pipeline.reissue.fingerprint import Fingerprint, fingerprint
from pipeline.run.layers import Laid
from pipeline.run.record import account
from pipeline.solve.solve import Solved, solve
from pipeline.solve.stretches import courses


@dataclass(frozen=True)
class Ready:
    """What the second pass, the record and a comparison with the issue before need."""

    examined: Examined
    solved: Solved
    diagnoses: Diagnoses
    fingerprint: Fingerprint

    @property
    def survey(self) -> Survey:
        """Return the job before any shift."""
        return self.examined.survey

    @cached_property
    def drafter(self) -> Drafter:
        """The second pass over the job."""
        return Drafter(self.survey, self.solved)

    def causes(self) -> list[str | None]:
        """Return per occupation what it may mean where it fails."""
        return causes(self.solved, self.diagnoses)

    def record(self, laid: Laid, number: int, changes: dict[str, Any] | None, last: Mapping[str, Any] | None) -> Record:
        """Return the record of the issue whose layers were laid out; ``last`` is that of the issue before."""
        survey, solved = self.survey, self.solved
        in_time = zip(as_records(laid.sessions), courses(survey, solved), base_facts(survey), strict=True)
        return account(
            survey,
            solved,
            issue=number,
            rows=laid.rows,
            wholly=laid.wholly,
            sessions=[{**row, **course, "base_log": fact} for row, course, fact in in_time],
            checks=as_records(laid.checks),
            marks=as_records(laid.marks),
            shift_model=laid.shift_model,
            diagnoses=recorded(survey, solved, self.diagnoses),
            drifts=drifts(survey, solved, self.diagnoses.drifts),
            sums=self.fingerprint.sums,
            reach=self.fingerprint.reach,
            register=self.fingerprint.register,
            notes=before_notes(self.examined, last),
            changes=changes,
            files=laid.files,
        )


def ready(examined: Examined) -> Ready:
    """Derive the shifts, judge the sessions, look for the causes of what fails."""
    survey = examined.survey
    solved = solve(survey, examined.doubts)
    return Ready(examined, solved, diagnose(survey, solved), fingerprint(survey, solved))
