"""Between the two passes: occupations resolved, shifts derived, marks compared, each session judged.

Nothing here is large: a job has thousands of occupations at the most.
"""

from collections.abc import Iterator, Mapping, Sequence

import numpy as np
from msgspec import Struct
from msgspec.structs import asdict

from pipeline.arrays import Flags, Floats, Integers
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.geodesy.frames import enu_rotation, rotate_covariance, turn
from pipeline.intake.survey import Survey
from pipeline.limits import OCCUPATIONS
from pipeline.problems import JobError, Problem
from pipeline.replace import replace
from pipeline.solve.adjusted_ties import Tied, applied, sole_control
from pipeline.solve.compare import (
    ByMark,
    OnMarks,
    compare,
    dependent,
    evidence,
    span,
)
from pipeline.solve.control_marks import Reference
from pipeline.solve.copied_checks import without_copies
from pipeline.solve.correct import SessionShifts
from pipeline.solve.field_shift_switches import switch_doubts, untested
from pipeline.solve.field_shifts import FieldShifts, field_shift_doubts
from pipeline.solve.issued_apart import IssuedApart
from pipeline.solve.later_doubts import by_shift_doubts, other_session_doubts
from pipeline.solve.network import adjust_network
from pipeline.solve.one_vector import OneVector, one_vectors
from pipeline.solve.proof import Evidence, verdict
from pipeline.solve.shift import Shifts
from pipeline.solve.stood_on_marks import stand_on_marks
from pipeline.solve.strays import Stray, strays
from pipeline.solve.transform_limits import refuse_poor_transformations
from pipeline.solve.unanswered_checks import Unanswered
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
    """

    evidence: tuple[Evidence, ...]
    verdicts: tuple[Verdict, ...]
    strays: tuple[Stray, ...]


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
    network = adjust_network(survey)
    refuse_poor_transformations(survey, network.tied.shifts)
    shifts = applied(survey, network.candidates, network.tied, network.places)
    stood = stand_on_marks(survey, network, shifts)
    spans = np.column_stack([survey.first_pass.first_point, survey.first_pass.last_point])
    occupations, spans = compare(network.candidates, stood.facts, survey.job, network.reference, stood.temporary, spans)
    occupations = without_copies(survey, occupations)
    issued = IssuedApart(survey, shifts, network.field, network.places)
    vectors = tuple(one_vectors(survey, issued))
    local, _ = _at_places(survey, network.tied.shifts, network.places)
    later = [
        *by_shift_doubts(survey, network.tied, local, occupations, doubts),
        *other_session_doubts(survey, issued, network.tied.shifts, vectors, occupations),
        *field_shift_doubts(survey, network.field),
        *switch_doubts(survey, network.field, occupations),
    ]
    found = Adjusted(
        reference=network.reference,
        tied=network.tied,
        applied=shifts,
        field=network.field,
        places=network.places,
        occupations=occupations,
        spans=spans,
        doubts=(*doubts, *confirmed_by(survey.job, later), *stood.doubts),
        unanswered=stood.held,
        missed=stood.missed,
        at=stood.facts.corrected.places,
        vectors=vectors,
    )
    wide = confirmed_by(survey.job, wide_tolerance_doubts(survey, found))
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
    )


def _refuse_too_many(survey: Survey) -> None:
    """Raise `JobError` for more readings on marks than are adjusted."""
    count = len(survey.candidates.named)
    if count > OCCUPATIONS:
        what = f"{counted(count, 'reading')} may be on marks; the most allowed is {OCCUPATIONS:,}"
        fix = "make sure that [checks] codes are used for checks only, and split the exports among several jobs"
        raise JobError([Problem(*survey.where("checks", "codes"), what, fix)])


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


def shift_at_places(survey: Survey, adjusted: Adjusted) -> tuple[Floats, Floats]:
    """Return (S, 3) shifts and (S, 3) standard uncertainties east, north, up, each at its session's place."""
    return _at_places(survey, adjusted.shifts, adjusted.places)


def _at_places(survey: Survey, shifts: Shifts, places: Floats) -> tuple[Floats, Floats]:
    longitude, latitude, _ = survey.operations.frames.to_geographic.forward(*places.T)
    rotation = enu_rotation(np.nan_to_num(longitude), np.nan_to_num(latitude))
    variance = np.diagonal(rotate_covariance(shifts.covariance, rotation), axis1=1, axis2=2)
    return turn(shifts.shift, rotation), np.sqrt(variance)
