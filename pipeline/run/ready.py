"""A job of which everything is known but its points: solved, with what its failing checks may mean."""

from dataclasses import dataclass
from functools import cached_property

from pipeline.blunders.diagnose import Diagnoses
from pipeline.blunders.sentences import causes
from pipeline.draft.second_pass import Drafter
from pipeline.examine.examine import Examined
from pipeline.intake.survey import Survey
from pipeline.reissue.fingerprint import Fingerprint
from pipeline.solve.solve import Solved


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
