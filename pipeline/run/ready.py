"""A job of which everything is known but its points: settled, with what its failing checks may mean."""

from dataclasses import dataclass
from functools import cached_property

from pipeline.blunders.diagnose import Diagnoses, diagnose
from pipeline.blunders.sentences import causes
from pipeline.draft.second_pass import Drafter
from pipeline.examine.examine import Examined
from pipeline.intake.survey import Survey
from pipeline.reissue.fingerprint import Fingerprint, fingerprint
from pipeline.solve.solve import Solved, solve


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


def ready(examined: Examined) -> Ready:
    """Derive the shifts, judge the sessions, look for the causes of what fails."""
    survey = examined.survey
    solved = solve(survey, examined.doubts)
    return Ready(examined, solved, diagnose(survey, solved), fingerprint(survey, solved))
