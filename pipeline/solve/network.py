"""Brings the register into the frames of the job, takes field shifts out, and adjusts sessions and marks."""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats
from pipeline.intake.candidates import Candidates
from pipeline.intake.survey import Survey
from pipeline.replace import replace
from pipeline.solve.adjusted_ties import Tied, candidate_precision, tie, used_marks
from pipeline.solve.control_marks import Reference, reference
from pipeline.solve.field_shifts import FieldReadings, FieldShifts, field_shifts
from pipeline.solve.raw_places import first_positions, shift_places
from pipeline.solve.reading_precision import Precision


class Network(Struct, frozen=True):
    """The adjusted network of sessions and marks, and what went into it.

    Args:
        candidates: readings that may be on marks, with their field shifts taken out.
        precision: how certain they are.
        reference: the register's marks in the job's frames.
        tied: the adjustment.
        field: the field shifts.
        places: (S, 3) a raw position, working frame, at which each session's shift is shown.
    """

    candidates: Candidates
    precision: Precision
    reference: Reference
    tied: Tied
    field: FieldShifts
    places: Floats


def adjust_network(survey: Survey) -> Network:
    """Bring the register into the job's frames, take field shifts out, and adjust."""
    guesses, places = first_positions(survey), shift_places(survey)
    known = reference(survey, guesses)
    marks = used_marks(survey.candidates, survey, known, guesses)
    undone = field_shifts(survey, places, dict(zip(marks.names, marks.xyz, strict=True)))
    exported, to_issued = survey.candidates, survey.operations.frames.to_issued
    candidates = replace(exported, raw=undone.take_out(exported.raw, FieldReadings.of(exported.table), to_issued))
    precision = candidate_precision(candidates, survey)
    tied = tie(candidates, precision, survey, marks, places)
    if not known.held.all():
        # a mark of height alone was reduced for the geoid at a raw position, metres off: now its place is known
        guesses = guesses | _adjusted(tied)
        known = reference(survey, guesses)
        tied = tie(candidates, precision, survey, used_marks(candidates, survey, known, guesses), places)
    return Network(candidates, precision, known, tied, undone, places)


def _adjusted(tied: Tied) -> dict[str, Floats]:
    """Return (3,) the adjusted position of every mark that is tied in position and height, working frame."""
    ties = tied.shifts.adjustment.ties
    whole = ties.mark_position & ties.mark_height
    return {tied.marks.names[number]: tied.shifts.marks[number] for number in np.flatnonzero(whole)}
