"""Doubts positions beside which an export has others of the same rows that differ from row to row.

One of the two was not measured then: degrees of the last campaign or of a design beside today's grid coordinates, or
attributes that a layer's geometry no longer follows. What was copied from the register agrees with every mark.
"""

from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Integers
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.job.toml_text import listed
from pipeline.read.positions_beside import GEOMETRY, PositionsBeside
from pipeline.words import Doubt

#: Marks from which on numbers that are the register's to the millimetre are no chance: of a hundred readings of one
#: mark half a dozen agree with it so.
_MARKS = 2


def other_position_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for each export whose rows have two positions that differ by more than checks tolerate.

    Where marks were occupied the two agree, so that checks do with either: a device of its own, without corrections,
    is off there as it is elsewhere. Of two in the same system neither is known to be measured where the export has no
    such rows; where it has some, all without the second or with the register's own numbers in it, that one is a design.
    It is confirmed where the block says of these very positions that they were not measured.
    """
    for number, (export, log) in enumerate(zip(survey.exports, survey.first_pass.files, strict=True)):
        doubted, beside = doubted_beside(survey, number), survey.exports[number].beside
        if doubted is not None and log.rows:
            sessions = tuple(np.flatnonzero(log.sessions).tolist())
            aside = doubted.is_set_aside(export.points)
            few = doubted.untold_at(rows_on_marks(survey, number))
            marks = "too few marks are among these rows" if few else "on marks both agree"
            what = f"{doubted.told()}; {marks}, so that checks do not tell"
            if not aside:
                every = [doubted, *(one for one in beside if one.alike and one is not doubted)] if doubted.alike else []
                called = listed([name for one in every for name in one.columns] or doubted.columns or (GEOMETRY,))
                kind = "heights" if len(every or doubted.columns) == len(doubted.columns) == 1 else "positions"
                what += f". Where you know, not_measured = {called} in the block says it of these {kind} alone"
            yield Doubtful(Doubt.PLACE, what, sessions, export.shown, doubted.row, confirmed=aside)


def other_position_notes(survey: Survey, number: int, doubted: PositionsBeside | None) -> Iterator[str]:
    """Yield which rows of an export have another position in other columns, apart from one for which it is doubted.

    One that has the register's own numbers is a design: nothing is told of it.
    """
    export = survey.exports[number]
    told = {id(doubted)} | {id(one) for one in export.beside if doubted is not None and doubted.alike and one.alike}
    for one in export.beside:
        if not one.names or not one.count or id(one) in told or one.is_set_aside(export.points):
            continue
        if not _is_of_register(survey, number, one):
            yield f"{export.shown}:{one.row}: {one.told()}"


def doubted_beside(survey: Survey, number: int) -> PositionsBeside | None:
    """Return the other positions for which an export is in doubt, None without such; first what is not set aside."""
    checks, export = survey.job.checks, survey.exports[number]
    limits = {1: checks.vertical}
    some = [
        one
        for one in export.beside
        if one.how.scattered and one.how.most > limits.get(len(one.columns), checks.horizontal)
    ]
    if not some:
        return None
    rows = rows_on_marks(survey, number)
    agree = [
        one
        for one in some
        if (one.agree_at(rows) or (one.untold_at(rows) and not one.lacks(rows)))
        and not _is_of_register(survey, number, one)
    ]
    return min(agree, key=lambda one: one.is_set_aside(export.points), default=None)


def rows_on_marks(survey: Survey, number: int) -> Integers:
    """Return (n,) numbers in the file of the rows of export ``number`` that are named after marks."""
    return np.asarray(np.asarray(survey.candidates.table.column("source_row"), np.int64)[_on_marks(survey, number)])


def _on_marks(survey: Survey, number: int) -> Integers:
    here = np.asarray(survey.candidates.table.column("export"), np.int64) == number
    return np.flatnonzero(here & np.array([said is not None for said in survey.candidates.named], bool))


def _is_of_register(survey: Survey, number: int, one: PositionsBeside) -> bool:
    """Tell whether other positions were never measured: on marks they are the register's numbers to the last digit.

    On two marks at least and in most rows; no receiver reads a register to the millimetre.
    """
    register = survey.register
    if register is None or not one.alike or (len(one.columns) > 1 and register.kind != "projected"):
        return False
    found, marks = list[int](), list[int]()
    for row in _on_marks(survey, number).tolist():
        said = survey.candidates.named[row]
        mark = None if said is None else register.find(said.mark)
        if mark is not None:
            found.append(row)
            marks.append(mark)
    of = np.array(marks, np.int64)
    rows = np.asarray(survey.candidates.table.column("source_row"), np.int64)[found]
    known = (register.first, register.second) if len(one.columns) > 1 else (register.third,)
    equal, told = one.copied_from(rows, np.column_stack([each[of] for each in known]))
    return bool(len(np.unique(of[equal])) >= _MARKS and np.count_nonzero(equal) > 0.5 * np.count_nonzero(told))
