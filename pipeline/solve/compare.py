"""Occupations compared with the marks that they are on, and each session's evidence."""

from collections.abc import Mapping, Sequence
from enum import Enum

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.examine.register_looks import ONE_MARK
from pipeline.intake.candidates import Candidates
from pipeline.job.model import Job
from pipeline.solve.control_marks import Reference
from pipeline.solve.correct import VALUES, Corrected
from pipeline.solve.differences import Differences, differences
from pipeline.solve.proof import Evidence, place
from pipeline.solve.reading_precision import Precision
from pipeline.solve.temporary_marks import Temporary
from pipeline.tolerance import Tolerance
from pipeline.words import Place, Role


class OnMarks(Struct, frozen=True, kw_only=True):
    """The occupations of marks, (n,) in the order of session and time, with their comparison.

    Args:
        table: their columns of `first_pass.FirstPass.candidates`.
        session: index of the session.
        time: UTC milliseconds.
        marks: the mark of each.
        roles: tie or check.
        corrected: issued coordinates.
        known: (n, 3) easting, northing, height of the register; of a check on a temporary mark those as adjusted; NaN
            where there are none, and of a tie on a temporary mark, whose coordinates come from it.
        compared: observed minus known.
        places: opening, between, closing.
        raw: (n, 3) raw position, working frame, field shifts taken out.
        precision: how certain the observations are, without centring.
        observation: number of each tie in the adjustment, -1 for checks.
        temporary: (n,) which are on marks that the register has not.
        copied: (n,) which may be copies of another, and so say nothing of their own time.
    """

    table: pa.Table
    session: Integers
    time: Integers
    marks: tuple[str, ...]
    roles: tuple[Role, ...]
    corrected: Corrected
    known: Floats
    compared: Differences
    places: tuple[Place, ...]
    raw: Floats
    precision: Precision
    observation: Integers
    temporary: Flags
    copied: Flags

    @property
    def ties(self) -> Flags:
        """Return (n,) which occupations are ties."""
        return np.array([role is Role.TIE for role in self.roles], bool)

    @property
    def evidence(self) -> Flags:
        """Return (n,) which occupations say something of the base at their time.

        A passing check on a temporary mark does not: that mark lies where ties of this job put it, and a wrong tie
        takes both along. A failing one says that the base moved or that a tie is wrong, whichever. Nor does one that
        may be a copy of another, which passes whatever the base did since.
        """
        return np.asarray(self.compared.judged & ~((self.temporary | self.copied) & self.compared.passed))


class Dependence(Enum):
    """Why a check on a mark proves nothing of a session's position or height, whether or not it passes."""

    TIES = "the session is tied to the mark"
    BASE = "its base stands over the mark"
    SOLE = "its ties hang on the mark alone, however many sessions away"
    UNHELD = "the mark does not hold it"
    UNREGISTERED = "the mark is not in the register"
    COPIED = "the occupation of it may be a copy of another"


#: For position and for height, by the marks of checks; None where a check on the mark tests it.
ByMark = tuple[dict[str, Dependence | None], dict[str, Dependence | None]]


class CorrectedCandidates(Struct, frozen=True, kw_only=True):
    """What is known of the (n,) candidates of a job once the shifts are.

    Args:
        corrected: their issued coordinates.
        marks: the mark of each, or None.
        precision: how certain they are, without centring.
        observation: the number of each one's observation in the adjustment, -1 for none.
        known_to: (n, 2) the 95 % uncertainty of its mark, where that is a temporary one.
        left_out: those that are neither points nor occupations.
    """

    corrected: Corrected
    marks: list[str | None]
    precision: Precision
    observation: Integers
    known_to: Floats
    left_out: Integers

    @property
    def occupied(self) -> Flags:
        """Return (n,) which are occupations: on a mark, with coordinates."""
        found = self.corrected
        finite = np.isfinite(found.places).all(axis=1)
        return np.array([mark is not None for mark in self.marks], bool) & finite


def compare(
    candidates: Candidates,
    facts: CorrectedCandidates,
    job: Job,
    reference: Reference,
    temporary: Temporary,
    spans: Integers,
) -> tuple[OnMarks, Integers]:
    """Compare occupations with the register, and checks on temporary marks with those as adjusted.

    Args:
        candidates: the candidates.
        facts: what is known of them.
        job: for the tolerances.
        reference: the register.
        temporary: the temporary marks.
        spans: (S, 2) UTC milliseconds of each session's first and last point among the readings that are no candidates.

    Returns the occupations, and spans with the candidates that turned out to be ordinary points taken in.
    """
    occupied = facts.occupied
    spans = _with_ordinary(spans, candidates, occupied, facts.left_out)
    rows = np.flatnonzero(occupied)
    rows = rows[np.lexsort((rows, candidates.time[rows], candidates.session[rows]))]
    said = [candidates.named[row] for row in rows]
    roles = tuple(named.role if named is not None else Role.CHECK for named in said)
    marks = tuple(str(facts.marks[row]) for row in rows)
    published = _published(marks, roles, reference, temporary)
    corrected = facts.corrected
    found = Corrected(*(getattr(corrected, name)[rows] for name in VALUES))
    observed = found.places
    tolerance = Tolerance(job.checks.horizontal, job.checks.vertical)
    known_to = np.where(published.adjusted[:, None], facts.known_to[rows], 0.0)
    on_marks = OnMarks(
        table=candidates.table.take(pa.array(rows)),
        session=candidates.session[rows],
        time=candidates.time[rows],
        marks=marks,
        roles=roles,
        corrected=found,
        known=published.known,
        compared=differences(observed, published.known, published.holds, tolerance, known_to),
        places=tuple(place(int(candidates.time[row]), *span(spans[candidates.session[row]])) for row in rows),
        raw=candidates.raw[rows],
        precision=facts.precision.of(rows),
        observation=facts.observation[rows],
        temporary=~published.of_register,
        copied=np.zeros(len(rows), bool),
    )
    return on_marks, spans


def _with_ordinary(spans: Integers, candidates: Candidates, occupied: Flags, left_out: Integers) -> Integers:
    """Return (S, 2) spans with the candidates taken in that are neither occupations nor left out."""
    spans, ordinary = spans.copy(), ~occupied
    ordinary[left_out] = False
    np.minimum.at(spans[:, 0], candidates.session[ordinary], candidates.time[ordinary])
    np.maximum.at(spans[:, 1], candidates.session[ordinary], candidates.time[ordinary])
    return spans


class _Published(Struct, frozen=True):
    """What is known of the marks of (n,) occupations: (n, 3) coordinates, (n, 2) whether position and height hold.

    ``of_register`` are on marks of the register, ``adjusted`` are checks on temporary marks.
    """

    known: Floats
    holds: Flags
    of_register: Flags
    adjusted: Flags


def _published(marks: Sequence[str], roles: Sequence[Role], reference: Reference, temporary: Temporary) -> _Published:
    """Return what the register has of the marks of occupations, or the adjustment, for checks on temporary marks."""
    number = {name: n for n, name in enumerate((*reference.names, *temporary.names))}
    # A tie on a temporary mark is the row after the last: nothing known, nothing held.
    at = np.array([number.get(mark, -1) for mark in marks], np.int64)
    of_register = (at >= 0) & (at < len(reference.names))
    at[~of_register & np.array([role is Role.TIE for role in roles], bool)] = -1
    none, whole = np.zeros((1, 2), bool), np.ones((len(temporary.names), 2), bool)
    known = np.vstack([reference.grid, temporary.grid, np.full((1, 3), np.nan)])[at]
    holds = np.vstack([reference.holds(), whole, none])[at] & np.isfinite(known[:, [0, 2]])
    holds |= np.vstack([reference.lost, ~whole, none])[at]
    return _Published(known, holds, of_register, at >= len(reference.names))


def evidence(
    on_marks: OnMarks, session: int, over: str | None, sole: Sequence[str | None], known: Mapping[str, Floats]
) -> Evidence:
    """Return the evidence of one session; marks that hold nothing give none, nor do passing temporary marks.

    A check is independent where no mark within `ONE_MARK` of its own ties the session: one that stands in the register
    under two names does not prove itself. Independent checks have to judge position and height, be it different ones.

    Args:
        on_marks: the occupations.
        session: index of the session.
        over: the mark that its base stands over.
        sole: the mark on whose coordinates alone its position, its height hang, however many marks and sessions away.
        known: (3,) easting, northing, height of every mark of the register, NaN for what it lacks.
    """
    here = np.flatnonzero((on_marks.session == session) & on_marks.evidence)
    holds = on_marks.compared.holds[here]
    proved = all(None in marks.values() for marks in dependent(on_marks, session, over, sole, known))
    return Evidence(on_marks.time[here], on_marks.compared.passed[here], proved, holds)


def dependent(
    on_marks: OnMarks, session: int, over: str | None, sole: Sequence[str | None], known: Mapping[str, Floats]
) -> ByMark:
    """Return why checks of one session do not test its position, its height, by their marks: None where they do.

    The arguments are those of `evidence`.
    """
    here, speaks = np.flatnonzero(on_marks.session == session).tolist(), on_marks.evidence
    checks = [row for row in here if on_marks.roles[row] is Role.CHECK]
    tying = speaks | on_marks.copied
    ties = {on_marks.marks[row]: Dependence.TIES for row in here if on_marks.roles[row] is Role.TIE and tying[row]}
    judged = on_marks.compared.holds & (speaks & ~on_marks.temporary)[:, None]

    def of(component: int) -> dict[str, Dependence | None]:
        hung = [(over, Dependence.BASE), (sole[component], Dependence.SOLE), *ties.items()]
        hung_on = {mark: why for mark, why in hung if mark is not None and mark in known}
        found: dict[str, Dependence | None] = {}
        for mark in dict.fromkeys(on_marks.marks[row] for row in checks if judged[row, component]):
            found[mark] = next((why for tie, why in hung_on.items() if _same(mark, tie, known)), None)
        for row in checks:
            unheld = Dependence.UNREGISTERED if on_marks.temporary[row] else Dependence.UNHELD
            if on_marks.copied[row] and not on_marks.temporary[row]:
                hanging = (why for tie, why in hung_on.items() if _same(on_marks.marks[row], tie, known))
                unheld = next(hanging, Dependence.COPIED)
            found.setdefault(on_marks.marks[row], unheld)
        return found

    return of(0), of(1)


def _same(one: str, other: str, known: Mapping[str, Floats]) -> bool:
    """Whether two marks are one, or lie where one mark might have two names; without a position nobody can say."""
    off = np.abs(known[one] - known[other])
    return one == other or bool((off[:2] <= ONE_MARK).all() and not off[2] > ONE_MARK)


def span(times: Integers) -> tuple[int | None, int | None]:
    """Return first and last time of a row (2,) of spans, or None and None where there is no point."""
    return (int(times[0]), int(times[1])) if times[0] <= times[1] else (None, None)


def checked_sessions(on_marks: OnMarks, count: int) -> Flags:
    """Return (count,) which sessions have a check whose mark the register knows."""
    found = np.zeros(count, bool)
    check = np.array([role is not Role.TIE for role in on_marks.roles], bool)
    found[on_marks.session[check & on_marks.compared.judged & ~on_marks.temporary]] = True
    return found
