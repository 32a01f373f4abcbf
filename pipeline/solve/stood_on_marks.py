"""Which readings stand on which mark by the shifts, and which say that they stand on one and do not."""

from collections.abc import Mapping

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.examine.register_rows import equal_to_register
from pipeline.intake.survey import Survey
from pipeline.solve.compare import CorrectedCandidates
from pipeline.solve.correct import SessionShifts, correct
from pipeline.solve.known_marks import KnownMarks
from pipeline.solve.network import Network
from pipeline.solve.temporary_marks import Temporary, known_to_95, temporary_marks
from pipeline.solve.unanswered_checks import Unanswered, held_back, unanswered, unanswered_doubts, without_register_rows
from pipeline.solve.unanswered_origins import each_with_origin
from pipeline.solve.which_mark import resolve


class StoodOnMarks(Struct, frozen=True):
    """What the candidates turn out to be.

    Args:
        facts: the candidates corrected, and the mark that each stands on.
        temporary: the temporary marks, as adjusted.
        missed: those that say they stand on a mark, or are named after one, and that no list names.
        held: why those are held back that are, by their number in the job.
        doubts: what these take the proof away for.
    """

    facts: CorrectedCandidates
    temporary: Temporary
    missed: tuple[Unanswered, ...]
    held: Mapping[int, str]
    doubts: tuple[Doubtful, ...]


def stand_on_marks(survey: Survey, network: Network, shifts: SessionShifts) -> StoodOnMarks:
    """Correct the candidates by their sessions' shifts, and find the marks that they stand on."""
    job, candidates, known, tied = survey.job, network.candidates, network.reference, network.tied
    corrected = correct(survey.operations, candidates.raw, candidates.session, network.precision, shifts)
    temporary, equal = temporary_marks(tied, known, survey), equal_to_register(survey)
    marks = resolve(candidates, corrected, job, known, temporary.places(), survey.operations.frames.to_issued)
    marks = without_register_rows(marks, candidates, corrected, known, job, equal)
    known_marks = KnownMarks(known, temporary, job)
    missed = unanswered(candidates, corrected, marks, known_marks, survey.first_pass, equal)
    told = unanswered_doubts(survey, candidates, missed)
    told = each_with_origin(told, missed, candidates, corrected.places, _moved(shifts), known_marks)
    doubts = confirmed_by(job, told)
    held = held_back(missed, doubts)
    facts = CorrectedCandidates(
        corrected=corrected,
        marks=marks,
        precision=network.precision,
        observation=tied.observation,
        known_to=known_to_95(tied, temporary, candidates.session, marks),
        left_out=np.array([one.row for one in missed if one.number in held], np.int64),
    )
    return StoodOnMarks(facts, temporary, missed, held, doubts)


def _moved(add: SessionShifts) -> Floats:
    """Return (S,) metres that the sessions are moved by, NaN where they are untied."""
    return np.asarray(np.linalg.norm(add.shift if add.grid is None else add.grid, axis=1))
