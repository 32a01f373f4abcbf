"""Finds readings that look like checks (code, name or mark column) but match no mark: not to be issued as points."""

from collections.abc import Collection, Iterator, Mapping, Sequence

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.candidates import Candidates
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.survey import Survey
from pipeline.job.model import Job, Session
from pipeline.near import and_more
from pipeline.occupations.signs import Wanted
from pipeline.occupations.unlisted_rules import ruling
from pipeline.sessions.toml_lines import more_occupations
from pipeline.solve.control_marks import Reference
from pipeline.solve.correct import Corrected
from pipeline.solve.known_marks import KnownMarks
from pipeline.solve.unlisted_features import features_of
from pipeline.words import Doubt, counted, plural

#: Why a row of the register is held back.
_OF_REGISTER = "it has the coordinates of its mark in the register to the last digit: not measured, but a row of it"
#: Readings that a sentence lists.
_LISTED = 4


class Unanswered(Struct, frozen=True):
    """A reading, ``row`` of the candidates, ``number`` of the whole job, of a session; ``why`` it is told of, in words.

    ``held`` is whether it says that it stands on a mark which is not there, else it is a point: on ``mark``, or, where
    that is None, one that has the name of a mark far away. ``of_register`` is whether it is a row of the register, no
    measurement, and so no check that somebody forgot.
    """

    row: int
    number: int
    session: int
    why: str
    held: bool
    mark: str | None = None
    of_register: bool = False


def unanswered(
    candidates: Candidates,
    corrected: Corrected,
    marks: Sequence[str | None],
    known: KnownMarks,
    first: FirstPass,
    of_register: Collection[int],
) -> tuple[Unanswered, ...]:
    """Return the candidates on no mark, by ``marks``, whose code, ``mark`` column or name says that they are on one.

    ``of_register`` are the candidates that equal the register to the last digit; the rest is as `features_of` asks.
    """
    numbers = candidates.table.column("number").to_pylist()
    found = []
    for row, reading in features_of(candidates, corrected, marks, known, first):
        if (of := ruling(reading)) is not None:
            session, keyed = int(candidates.session[row]), of.held and row in of_register
            because = _OF_REGISTER if keyed else of.because
            found.append(Unanswered(row, numbers[row], session, because, of.held, of.mark, keyed))
    return tuple(found)


def without_register_rows(
    marks: Sequence[str | None],
    candidates: Candidates,
    corrected: Corrected,
    register: Reference,
    job: Job,
    of_register: Collection[int],
) -> list[str | None]:
    """Return the mark of each candidate, None for rows of the register in no list that the shift puts off theirs.

    They would fail as checks, and say that the base moved.
    """
    found, at = list(marks), corrected.places
    for row in of_register:
        mark = found[row]
        if candidates.named[row] is None and mark in register.names:
            off = np.nan_to_num(at[row] - register.grid[register.names.index(mark)])
            if np.hypot(*off[:2]) > job.checks.horizontal or abs(off[2]) > job.checks.vertical:
                found[row] = None
    return found


def unanswered_doubts(survey: Survey, candidates: Candidates, found: Sequence[Unanswered]) -> list[Doubtful]:
    """Return a doubt per session that has readings which say that they are checks and compare with nothing."""
    doubts = []
    codes = candidates.table.column("code") if found else pa.nulls(0, pa.string())
    known = Wanted.of([], survey.job.checks.codes).has_code(codes).to_pylist()
    unlisted = [bool(code) and not is_known for code, is_known in zip(codes.to_pylist(), known, strict=True)]
    for window in survey.windows:
        here = [one for one in found if one.held and not one.of_register and one.session == window.index]
        if not here:
            continue
        listed = "; ".join(f"{where_read(survey, candidates, one.row)}: {one.why}" for one in here[:_LISTED])
        more = and_more(len(here) - _LISTED, "; ")
        what = (
            f"session {window.session.name}: {counted(len(here), 'reading')} that"
            f" {plural(len(here), 'seems to be a check is', 'seem to be checks are')} compared with no mark, so nothing"
            f" shows whether the base moved: {listed}{more};"
            f" {_what_to_write(survey, candidates, window.session, here)}"
        ) + (", or add the code to checks.codes" if any(unlisted[one.row] for one in here) else "")
        doubts.append(Doubtful(Doubt.UNANSWERED_CHECK, what, (window.index,)))
    return doubts


def _what_to_write(survey: Survey, candidates: Candidates, session: Session, found: Sequence[Unanswered]) -> str:
    pairs = {candidates.names[one.row] or "": one.mark for one in found if one.mark is not None}
    pairs.pop("", None)
    if not pairs:
        return "name the mark in checks = [{ point, mark }] of the session"
    return more_occupations(session, "checks", list(pairs.items())[:_LISTED], survey.job.sessions)


def where_read(survey: Survey, candidates: Candidates, row: int) -> str:
    """Return a candidate by its name, file and row."""
    file, line = survey.read_at(row)
    return f"{candidates.names[row] or 'a reading'} ({file}:{line})"


def held_back(found: Sequence[Unanswered], doubts: Sequence[Doubtful]) -> Mapping[int, str]:
    """Return, by number of the whole job, why a reading is held back.

    Where the job file confirms the doubt, those are that are rows of the register.
    """
    confirmed = any(doubt.kind is Doubt.UNANSWERED_CHECK and doubt.confirmed for doubt in doubts)
    return {one.number: one.why for one in found if one.held and (one.of_register or not confirmed)}


def register_row_notes(survey: Survey, candidates: Candidates, found: Sequence[Unanswered]) -> Iterator[str]:
    """Yield in words which readings of each session are rows of the register that no list names."""
    for window in survey.windows:
        here = [one for one in found if one.of_register and one.session == window.index]
        if here:
            listed = ", ".join(where_read(survey, candidates, one.row) for one in here[:_LISTED])
            have = plural(len(here), "has the coordinates of its mark", "have the coordinates of their marks")
            yield (
                f"session {window.session.name}: {listed}{and_more(len(here) - _LISTED)} {have} in the register to the"
                " last digit: control points that came back with the export, no measurements; take them out of the"
                " export; as long as they are in it, they are held back as suspect and change no other point"
            )
