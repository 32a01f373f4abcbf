"""Finds readings that look like checks (code, name or mark column) but match no mark: not to be issued as points."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.candidates import Candidates
from pipeline.intake.named_elsewhere import Elsewhere
from pipeline.intake.rare_kinds import Rare
from pipeline.intake.survey import Survey
from pipeline.job.model import Session
from pipeline.near import and_more
from pipeline.occupations.unlisted_rules import ruling
from pipeline.sessions.toml_lines import more_occupations
from pipeline.solve.correct import Corrected
from pipeline.solve.known_marks import KnownMarks
from pipeline.solve.unlisted_features import features_of
from pipeline.words import Doubt, counted, plural

#: Readings that a sentence lists.
_LISTED = 4


@dataclass(frozen=True)
class Unanswered:
    """A reading, ``row`` of the candidates, ``number`` of the whole job, of a session; ``why`` it is told of, in words.

    ``held`` is whether it says that it stands on a mark which is not there, else it is a point: on ``mark``, or, where
    that is None, one that has the name of a mark far away.
    """

    row: int
    number: int
    session: int
    why: str
    held: bool
    mark: str | None = None


def unanswered(
    candidates: Candidates,
    corrected: Corrected,
    marks: Sequence[str | None],
    known: KnownMarks,
    few: Rare,
    elsewhere: Elsewhere,
) -> tuple[Unanswered, ...]:
    """Return the candidates on no mark, by ``marks``, whose code, ``mark`` column or name says that they are on one.

    ``few`` is what of the listed occupations few other readings have, ``elsewhere`` the marks that readings name in
    columns which are not mapped.
    """
    numbers = candidates.table.column("number").to_pylist()
    found = []
    for row, reading in features_of(candidates, corrected, marks, known, few, elsewhere):
        if (of := ruling(reading)) is not None:
            session = int(candidates.session[row])
            found.append(Unanswered(row, numbers[row], session, of.because, of.held, of.mark))
    return tuple(found)


def unanswered_doubts(survey: Survey, candidates: Candidates, found: Sequence[Unanswered]) -> list[Doubtful]:
    """Return a doubt per session that has readings which say that they are checks and compare with nothing."""
    doubts = []
    for window in survey.windows:
        here = [one for one in found if one.held and one.session == window.index]
        if not here:
            continue
        listed = "; ".join(f"{where_read(survey, candidates, one.row)}: {one.why}" for one in here[:_LISTED])
        more = and_more(len(here) - _LISTED, "; ")
        what = (
            f"session {window.session.name}: {counted(len(here), 'reading')} that"
            f" {plural(len(here), 'seems to be a check is', 'seem to be checks are')} compared with no mark, so nothing"
            f" shows whether the base moved: {listed}{more};"
            f" {_what_to_write(survey, candidates, window.session, here)}, or add the code to checks.codes"
        )
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
    export = survey.exports[candidates.table.column("export")[row].as_py()]
    return f"{candidates.names[row] or 'a reading'} ({export.shown}:{candidates.table.column('source_row')[row]})"


def held_back(found: Sequence[Unanswered], doubts: Sequence[Doubtful]) -> Mapping[int, str]:
    """Return, by number of the whole job, why a reading is held back; none where the job file confirms the doubt."""
    if any(doubt.kind is Doubt.UNANSWERED_CHECK and doubt.confirmed for doubt in doubts):
        return {}
    return {one.number: one.why for one in found if one.held}
