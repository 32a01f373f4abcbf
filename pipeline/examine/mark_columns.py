"""Compares the job's lists with the export's own column of marks: what a reading says of itself that it stands on.

A tie, and checks on marks that lie from it as those do that were really occupied, agree whichever of both is right.
"""

from collections import defaultdict
from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.control import Register
from pipeline.examine.doubtful import Doubtful
from pipeline.geodesy.own_places import lonlat
from pipeline.intake.survey import Survey
from pipeline.letter_case import folded
from pipeline.near import and_more
from pipeline.occupations.signs import MarkNames
from pipeline.sphere import apart
from pipeline.words import Doubt

#: Readings that are told with their marks.
_NAMED = 3


class _Contradiction(Struct, frozen=True):
    """A listed reading, by its row among the candidates: the mark of the job's list and that of its own column."""

    row: int
    listed: str
    stated: str


def mark_column_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for each session whose lists the column of marks contradicts, and confirms in no reading."""
    for session, found, confirmed in _contradicted(survey):
        if not confirmed:
            what = f"{_sentence(survey, session, found)}, and the checks agree whichever is right; {_CURE}"
            file, line = survey.read_at(found[0].row)
            yield Doubtful(Doubt.UNANSWERED_CHECK, what, (session,), file, line)


def mark_column_notes(survey: Survey) -> Iterator[str]:
    """Yield in words where the column of marks contradicts some readings of a session's lists and confirms others."""
    for session, found, confirmed in _contradicted(survey):
        if confirmed:
            file, line = survey.read_at(found[0].row)
            yield f"{file}:{line}: {_sentence(survey, session, found)}; {_CURE}"


_CURE = "correct the mark in the job's list, or the column"


def _sentence(survey: Survey, session: int, found: list[_Contradiction]) -> str:
    names = survey.candidates.names
    said = "; ".join(
        f"{names[one.row]} is on {one.listed} according to the job, but its column `mark` says {one.stated}"
        for one in found[:_NAMED]
    )
    return f"session {survey.windows[session].session.name}: {said}{and_more(len(found) - _NAMED, '; ')}"


def _contradicted(survey: Survey) -> Iterator[tuple[int, list[_Contradiction], bool]]:
    """Yield sessions with the readings that are contradicted, and whether the column confirms another of theirs."""
    register, candidates = survey.register, survey.candidates
    if register is None:
        return
    marks, found, confirmed = MarkNames.of(register.names), defaultdict[int, list[_Contradiction]](list), set[int]()
    columns = candidates.table.column("mark").to_pylist()
    for row, (said, column) in enumerate(zip(candidates.named, columns, strict=True)):
        if said is None or not (column or "").strip():
            continue
        session, stated = int(candidates.session[row]), marks.like(column)
        if marks.like(said.mark) == stated or folded(column) == folded(said.mark):
            confirmed.add(session)
        elif stated is not None and not _one_place(survey, register, said.mark, stated):
            found[session].append(_Contradiction(row, said.mark, stated))
    for session, several in sorted(found.items()):
        yield session, several, session in confirmed


def _one_place(survey: Survey, register: Register, one: str, other: str) -> bool:
    """Tell whether two names stand for one place of the register, within the tolerances of checks."""
    at, to = register.find(one), register.find(other)
    control, limits = survey.job.control, survey.job.checks
    if at is None or to is None or control is None:
        return False
    both = [at, to]
    longitude, latitude = lonlat(control.crs, register.first[both], register.second[both], register.third[both])
    distance = float(apart(longitude[0], latitude[0], longitude[1], latitude[1]))
    up = np.nan_to_num(abs(register.third[at] - register.third[to]))
    return bool(distance <= limits.horizontal and up <= limits.vertical)
