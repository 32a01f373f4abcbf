"""A job of which everything is known but its points: solved, with what its failing checks may mean."""

from msgspec import Struct

from pipeline.blunders.diagnose import Diagnoses
from pipeline.blunders.sentences import causes
from pipeline.draft.merged import Settled
from pipeline.examine.examine import Examined
from pipeline.intake.survey import Survey
from pipeline.reissue.fingerprint import Fingerprint
from pipeline.solve.solve import Solved


class Ready(Struct, frozen=True):
    """What the second pass, the record and a comparison with the previous issue need.

    ``settled`` is the second pass over the job, with what is issued of points measured twice; ``history`` what is to be
    noted of occupations that the newest issue had and the job has not, and of frames that were others.
    """

    examined: Examined
    solved: Solved
    diagnoses: Diagnoses
    settled: Settled
    fingerprint: Fingerprint
    history: tuple[str, ...] = ()

    @property
    def survey(self) -> Survey:
        """Return the job before any shift."""
        return self.examined.survey

    def causes(self) -> list[str | None]:
        """Return per occupation what it may mean where it fails."""
        return causes(self.solved, self.diagnoses)
