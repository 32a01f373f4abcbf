"""Finds occupations that were never measured: they have exactly the coordinates of another, at another time.

Computed coordinates (a trial job) agree exactly, too: there nearly every check agrees with another, or with the tie, to
the rounding, whatever the register has wrong, so no doubt is raised. What is measured scatters by millimetres (common
practice, no source).
"""

from collections.abc import Iterator
from enum import Enum

import numpy as np

from pipeline.arrays import Flags
from pipeline.clock import lasting
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.solve.compare import OnMarks
from pipeline.words import Doubt

#: Metres within which observed minus known of two occupations agree where both were computed: more than coordinates
#: that are rounded to millimetres make.
_COMPUTED = 0.0015
#: Milliseconds within which a reading may have been stored twice: it proves nothing that the first does not.
_TWICE = 600_000
#: Checks of which as many say it as all would.
_MANY = 500


class _Made(Enum):
    MEASURED, COMPUTED, NOBODY_KNOWS = range(3)


def copied_doubts(survey: Survey, on_marks: OnMarks) -> Iterator[Doubtful]:
    """Yield a doubt for each occupation that is a copy of another of another time, where the others were measured."""
    for copy, of, what in _copies(survey, on_marks, _Made.MEASURED):
        if _stored_twice(on_marks, copy, of):
            continue
        sessions = tuple({int(on_marks.session[row]) for row in (copy, of)})
        line = on_marks.table.column("source_row")[copy].as_py()
        yield Doubtful(Doubt.UNANSWERED_CHECK, what, sessions, _export(survey, on_marks, copy), line)


def copied_notes(survey: Survey, on_marks: OnMarks) -> Iterator[str]:
    """Yield a note for each occupation that may be a copy of another, or was stored twice within minutes."""
    unsure = [*_copies(survey, on_marks, _Made.NOBODY_KNOWS)]
    twice = [one for one in _copies(survey, on_marks, _Made.MEASURED) if _stored_twice(on_marks, *one[:2])]
    for copy, _, what in (*unsure, *twice):
        yield f"{_export(survey, on_marks, copy)}:{on_marks.table.column('source_row')[copy].as_py()}: {what}"


def _copies(survey: Survey, on_marks: OnMarks, made: _Made) -> Iterator[tuple[int, int, str]]:
    """Yield the row of each copy, that of what it copies, and what to say, where occupations were so ``made``."""
    number = np.asarray(on_marks.table.column("number"), np.int64).tolist()
    row_of = {each: row for row, each in enumerate(number)}
    pairs = [(row_of[a], row_of[b]) for a, b in survey.first_pass.copied.tolist() if a in row_of and b in row_of]
    if not pairs:
        return
    others = np.ones(len(number), bool)
    others[[copy for copy, _ in pairs]] = False
    if _how(on_marks, others) is not made:
        return
    names, lines = (on_marks.table.column(name).to_pylist() for name in ("name", "source_row"))
    for copy, of in pairs:
        apart = int(on_marks.time[copy] - on_marks.time[of])
        when = f"{lasting(abs(apart))} {'later' if apart > 0 else 'earlier'}"
        where = f"{_export(survey, on_marks, of)}:{lines[of]}"
        what = (
            f"{names[copy]} on {on_marks.marks[copy]} has exactly the same coordinates as {names[of]} ({where}),"
            f" {when}: two measurements never agree to the last digit, so this row looks copied and proves nothing;"
            " restore the measured values, or delete the row"
        )
        yield copy, of, what


def _stored_twice(on_marks: OnMarks, copy: int, of: int) -> bool:
    return abs(int(on_marks.time[copy] - on_marks.time[of])) <= _TWICE


def _export(survey: Survey, on_marks: OnMarks, row: int) -> str:
    number: int = on_marks.table.column("export")[row].as_py()
    return survey.exports[number].shown


def _how(on_marks: OnMarks, which: Flags) -> _Made:
    """Say how occupations came about, by the checks among ``which`` that pass, and the tie, which differs by nothing.

    A lone check may differ from it by what its mark was revised by.
    """
    compared = on_marks.compared
    counts = which & ~on_marks.ties & compared.judged & compared.passed
    off = np.nan_to_num(compared.vectors[counts])[:_MANY]
    every = np.vstack([np.zeros((1, 3)), off])
    apart = np.linalg.norm(every[:, None] - every[None], axis=2) + np.diag(np.full(len(every), np.inf))
    if 2 * np.count_nonzero(apart.min(axis=1) <= _COMPUTED) >= len(every):
        return _Made.COMPUTED
    return _Made.MEASURED if len(off) > 1 else _Made.NOBODY_KNOWS
