"""Between the two passes: occupations resolved, shifts derived, marks compared, each session judged.

Nothing here is large: a job has thousands of occupations at the most.
"""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import asdict

from pipeline.arrays import Flags, Floats, Integers
from pipeline.examine.datum_steps import stated_steps
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by, shift_doubts
from pipeline.examine.other_bases import far_base_doubts
from pipeline.examine.register_rows import equal_to_register
from pipeline.geodesy.frames import enu_rotation, rotate_covariance, turn
from pipeline.intake.candidates import Candidates
from pipeline.intake.survey import Survey
from pipeline.limits import OCCUPATIONS
from pipeline.problems import JobError, Problem
from pipeline.replace import replace
from pipeline.solve.adjusted_ties import Tied, applied, candidate_precision, sole_control, tie, used_marks
from pipeline.solve.bend import bend_doubts
from pipeline.solve.compare import (
    ByMark,
    CorrectedCandidates,
    OnMarks,
    checked_sessions,
    compare,
    dependent,
    evidence,
    span,
)
from pipeline.solve.contradictions import contradiction_doubts
from pipeline.solve.control_marks import Reference, reference
from pipeline.solve.copied_checks import copied_doubts, without_copies
from pipeline.solve.copied_points import copied_point_doubts
from pipeline.solve.correct import SessionShifts, correct
from pipeline.solve.field_shift_switches import untested
from pipeline.solve.field_shifts import FieldReadings, FieldShifts, field_shift_doubts, field_shifts
from pipeline.solve.issued_apart import IssuedApart
from pipeline.solve.known_marks import KnownMarks
from pipeline.solve.moved_within import moved_within_doubts
from pipeline.solve.one_vector import OneVector, one_vector_doubts, one_vectors
from pipeline.solve.own_failing import OwnFailing, own_failing
from pipeline.solve.proof import Evidence, verdict
from pipeline.solve.raw_places import first_positions, shift_places
from pipeline.solve.reading_precision import Precision
from pipeline.solve.repeats_off import repeats_off_doubts
from pipeline.solve.shift import Shifts
from pipeline.solve.strays import Stray, strays
from pipeline.solve.temporary_marks import known_to_95, temporary_marks
from pipeline.solve.transform_limits import refuse_poor_transformations
from pipeline.solve.unanswered_checks import Unanswered, held_back, unanswered, unanswered_doubts, without_register_rows
from pipeline.solve.unanswered_origins import each_with_origin
from pipeline.solve.unmoved_bases import unmoved_base_doubts
from pipeline.solve.which_mark import resolve
from pipeline.solve.wide_tolerance import wide_tolerance_doubts
from pipeline.words import Verdict, counted


class Adjusted(Struct, frozen=True, kw_only=True):
    """The shifts and the occupations by them, before any session is judged: doubts may come to be known by these.

    Args:
        reference: the register's marks in the job's frames.
        tied: the adjustment and what went into it.
        applied: what is added to raw positions.
        field: field shifts to be taken out.
        places: (S, 3) a raw position, working frame, at which each session's shift is shown as east, north, up.
        occupations: the occupations of marks.
        spans: (S, 2) UTC milliseconds of first and last drafted point; first greater than last where none.
        doubts: what takes the proof away whatever the checks say.
        unanswered: why readings, by their number in the job, are held back that say they are checks of no known mark.
        missed: the readings that say they stand on a mark, or are named after one, and that no list names.
        at: (n, 3) easting, northing, height of the candidates.
        vectors: points of one name that lie apart by one vector.
    """

    reference: Reference
    tied: Tied
    applied: SessionShifts
    field: FieldShifts
    places: Floats
    occupations: OnMarks
    spans: Integers
    doubts: tuple[Doubtful, ...]
    unanswered: Mapping[int, str]
    missed: tuple[Unanswered, ...]
    at: Floats
    vectors: tuple[OneVector, ...]

    @property
    def shifts(self) -> Shifts:
        """Return the adjustment's shifts."""
        return self.tied.shifts

    @property
    def unsaid(self) -> tuple[Unanswered, ...]:
        """Return the points that are named after marks and that no list names."""
        return tuple(one for one in self.missed if not one.held)

    @property
    def not_points(self) -> Integers:
        """Return (k,) numbers of the readings that are occupations of marks, or say so of a mark that nobody knows."""
        on_marks = np.asarray(self.occupations.table.column("number"), np.int64)
        return np.union1d(on_marks, np.fromiter(self.unanswered, np.int64))


class Solved(Adjusted, frozen=True, kw_only=True):
    """What the second pass needs, and what the issue records: every doubt is known, and each session is judged.

    Args:
        evidence: per session.
        verdicts: per session.
        strays: what of a session's occupations is off from the rest, so that no other proves the points with it.
        own_failing: exports of one of several rovers that have failing occupations of their own.
    """

    evidence: tuple[Evidence, ...]
    verdicts: tuple[Verdict, ...]
    strays: tuple[Stray, ...]
    own_failing: tuple[OwnFailing, ...]


class _Adjustment(Struct, frozen=True):
    """The shifts and what they were derived from; ``candidates`` with their field shifts taken out."""

    candidates: Candidates
    precision: Precision
    reference: Reference
    tied: Tied
    field: FieldShifts
    places: Floats


def solve(survey: Survey, doubts: Sequence[Doubtful]) -> Solved:
    """Derive the shifts and judge the sessions by what the job itself shows; ``doubts`` are those known before.

    Raises as `derive`.
    """
    return judge(survey, derive(survey, doubts))


def derive(survey: Survey, doubts: Sequence[Doubtful]) -> Adjusted:
    """Derive the shifts and compare the marks; ``doubts`` are those known before.

    Raises `JobError` for a transformation that is not good enough for a session that no control ties, and for more
    readings on marks than are adjusted.
    """
    _refuse_too_many(survey)
    job, adjustment = survey.job, _adjust(survey)
    candidates, known, tied, places = adjustment.candidates, adjustment.reference, adjustment.tied, adjustment.places
    refuse_poor_transformations(survey, tied.shifts)
    session_shifts = applied(survey, candidates, tied, places)
    corrected = correct(survey.operations, candidates.raw, candidates.session, adjustment.precision, session_shifts)
    temporary, equal = temporary_marks(tied, known, survey), equal_to_register(survey)
    stands_on = resolve(candidates, corrected, job, known, temporary.places(), survey.operations.frames.to_issued)
    stands_on = without_register_rows(stands_on, candidates, corrected, known, job, equal)
    marks = KnownMarks(known, temporary, job)
    missed = unanswered(candidates, corrected, stands_on, marks, survey.first_pass, equal)
    told = unanswered_doubts(survey, candidates, missed)
    of_missed = confirmed_by(
        job, each_with_origin(told, missed, candidates, corrected.places, _moved(session_shifts), marks)
    )
    held = held_back(missed, of_missed)
    facts = CorrectedCandidates(
        corrected=corrected,
        marks=stands_on,
        precision=adjustment.precision,
        observation=tied.observation,
        known_to=known_to_95(tied, temporary, candidates.session, stands_on),
        left_out=np.array([one.row for one in missed if one.number in held], np.int64),
    )
    spans = np.column_stack([survey.first_pass.first_point, survey.first_pass.last_point])
    occupations, spans = compare(candidates, facts, job, known, temporary, spans)
    occupations = without_copies(survey, occupations)
    issued = IssuedApart(survey, session_shifts, adjustment.field, places)
    vectors = tuple(one_vectors(survey, issued))
    later = [
        *_later_doubts(survey, tied, places, occupations, doubts),
        *_other_session_doubts(survey, issued, tied.shifts, vectors, occupations),
        *field_shift_doubts(survey, adjustment.field),
    ]
    found = Adjusted(
        reference=known,
        tied=tied,
        applied=session_shifts,
        field=adjustment.field,
        places=places,
        occupations=occupations,
        spans=spans,
        doubts=(*doubts, *confirmed_by(job, later), *of_missed),
        unanswered=held,
        missed=missed,
        at=corrected.places,
        vectors=vectors,
    )
    wide = confirmed_by(job, wide_tolerance_doubts(survey, found))
    return replace(found, doubts=(*found.doubts, *wide)) if wide else found


def judge(survey: Survey, adjusted: Adjusted, doubts: Sequence[Doubtful] = ()) -> Solved:
    """Judge the sessions of an adjusted job; ``doubts`` are those that only its adjustment could tell."""
    every = (*adjusted.doubts, *doubts)
    proof = tuple(_evidence(survey, adjusted, every))
    return Solved(
        **asdict(replace(adjusted, doubts=every)),
        evidence=proof,
        verdicts=_verdicts(proof, adjusted.shifts.fully_tied, adjusted.spans),
        strays=strays(adjusted.occupations, survey.windows),
        own_failing=own_failing(survey, adjusted.occupations),
    )


def _refuse_too_many(survey: Survey) -> None:
    """Raise `JobError` for more readings on marks than are adjusted."""
    count = len(survey.candidates.named)
    if count > OCCUPATIONS:
        what = f"{counted(count, 'reading')} may be on marks; the most allowed is {OCCUPATIONS:,}"
        fix = "make sure that [checks] codes are used for checks only, and split the exports among several jobs"
        raise JobError([Problem(*survey.where("checks", "codes"), what, fix)])


def _adjust(survey: Survey) -> _Adjustment:
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
    return _Adjustment(candidates, precision, known, tied, undone, places)


def _later_doubts(
    survey: Survey, tied: Tied, places: Floats, occupations: OnMarks, doubts: Sequence[Doubtful]
) -> list[Doubtful]:
    """Return the doubts that need the shifts: large ones, ties at odds, operations whose error no shift takes up.

    ``doubts`` are those known before.
    """
    local, _ = _at_places(survey, tied.shifts, places)
    alone = tied.shifts.fully_tied & ~tied.shifts.by_control
    checked = checked_sessions(occupations, len(survey.windows))
    contradictions = contradiction_doubts(survey, tied, occupations)
    return [
        *shift_doubts(survey, local),
        *far_base_doubts(survey, local, doubts),
        *bend_doubts(survey, local),
        *contradictions,
        *copied_doubts(survey, occupations),
        *moved_within_doubts(survey, occupations),
        *stated_steps(survey, alone, checked),
    ]


def _other_session_doubts(
    survey: Survey, issued: IssuedApart, shifts: Shifts, vectors: Sequence[OneVector], occupations: OnMarks
) -> list[Doubtful]:
    """Return the doubts about readings that two have at one place before any shift, or apart by one vector."""
    copied = list(copied_point_doubts(survey, issued))
    told = _sessions(copied)
    unmoved = list(unmoved_base_doubts(survey, issued, shifts, told))
    told |= _sessions(unmoved)
    far = list(one_vector_doubts(survey, vectors, told))
    told |= _sessions(far)
    return [*copied, *unmoved, *far, *repeats_off_doubts(survey, issued, shifts, occupations, told)]


def _sessions(doubts: Sequence[Doubtful]) -> frozenset[tuple[int, ...]]:
    return frozenset(one.sessions for one in doubts if one.sessions is not None)


def _evidence(survey: Survey, adjusted: Adjusted, doubts: Sequence[Doubtful]) -> Iterator[Evidence]:
    """Yield what each session's occupations prove, unless a doubt reaches it or they test no field shift in it."""
    hangs = {one.window.session for one, _ in untested(survey, adjusted.field, adjusted.occupations)}
    for number, hung_on in enumerate(_hung_on(survey, adjusted)):
        found = evidence(adjusted.occupations, number, *hung_on)
        yield found.doubted(number in hangs or any(doubt.reaches(number) for doubt in doubts))


def dependent_checks(survey: Survey, adjusted: Adjusted, session: int) -> ByMark:
    """Return why checks of a session do not test its position, its height, as `compare.dependent` does."""
    return dependent(adjusted.occupations, session, *_hung_on(survey, adjusted)[session])


def _hung_on(survey: Survey, adjusted: Adjusted) -> list[tuple[str | None, Sequence[str | None], Mapping[str, Floats]]]:
    """Return per session what `evidence` asks for: the mark under its base, those it hangs on alone, and all places."""
    at = dict(zip(adjusted.reference.names, adjusted.reference.grid, strict=True))
    set_ups = [window.session.setup for window in survey.windows]
    over = [setup.mark if setup is not None else None for setup in set_ups]
    return [(mark, sole, at) for mark, sole in zip(over, sole_control(adjusted.tied, survey), strict=True)]


def _verdicts(proof: Sequence[Evidence], whole: Flags, spans: Integers) -> tuple[Verdict, ...]:
    """Return each session's verdict; ``whole`` (S,) are tied in position and height."""
    return tuple(verdict(of, bool(whole[number]), *span(spans[number])) for number, of in enumerate(proof))


def _moved(add: SessionShifts) -> Floats:
    """Return (S,) metres that the sessions are moved by, NaN where they are untied."""
    return np.asarray(np.linalg.norm(add.shift if add.grid is None else add.grid, axis=1))


def _adjusted(tied: Tied) -> dict[str, Floats]:
    """Return (3,) the adjusted position of every mark that is tied in position and height, working frame."""
    ties = tied.shifts.adjustment.ties
    whole = ties.mark_position & ties.mark_height
    return {tied.marks.names[number]: tied.shifts.marks[number] for number in np.flatnonzero(whole)}


def shift_at_places(survey: Survey, adjusted: Adjusted) -> tuple[Floats, Floats]:
    """Return (S, 3) shifts and (S, 3) standard uncertainties east, north, up, each at its session's place."""
    return _at_places(survey, adjusted.shifts, adjusted.places)


def _at_places(survey: Survey, shifts: Shifts, places: Floats) -> tuple[Floats, Floats]:
    longitude, latitude, _ = survey.operations.frames.to_geographic.forward(*places.T)
    rotation = enu_rotation(np.nan_to_num(longitude), np.nan_to_num(latitude))
    variance = np.diagonal(rotate_covariance(shifts.covariance, rotation), axis1=1, axis2=2)
    return turn(shifts.shift, rotation), np.sqrt(variance)
