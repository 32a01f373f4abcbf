"""Tells stretches in which another position of the same rows is off by one vector, with no mark to say which is right.

A calibration that was switched on for an hour, the position of another base, or vertices that were dragged together:
checks before and after agree with either position.
"""

from collections.abc import Iterator

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.other_positions import doubted_beside, rows_on_marks
from pipeline.intake.stretches_beside import StretchBeside
from pipeline.intake.survey import Survey
from pipeline.job.toml_text import listed
from pipeline.read.positions_beside import GEOMETRY
from pipeline.words import Doubt, counted

#: The part of a session's rows from which on a stretch is in doubt.
_MANY = 0.1


def stretch_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for each long stretch off by more than checks tolerate, where marks agree with both positions."""
    for one in survey.first_pass.stretches:
        if not _is_doubted(survey, one):
            continue
        export = survey.exports[one.export]
        aside = one.beside.is_set_aside(export.points)
        what = f"{_told(survey, one)}; on marks both agree, so that checks do not tell"
        if not aside:
            called = listed(one.beside.columns or (GEOMETRY,))
            what += f". Where you know, not_measured = {called} in the block says it of these positions alone"
        yield Doubtful(Doubt.PLACE, what, (one.session,), export.shown, one.first, confirmed=aside)


def stretch_notes(survey: Survey, number: int) -> Iterator[str]:
    """Yield the stretches of an export that are not in doubt, nor explained by a field shift or a mark among them."""
    export = survey.exports[number]
    for one in survey.first_pass.stretches:
        told = one.export != number or _is_doubted(survey, one) or one.beside.is_set_aside(export.points)
        if not told and not survey.windows[one.session].session.field_shifts and not _within(survey, one):
            yield f"{export.shown}:{one.first}: {_told(survey, one)}"


def _told(survey: Survey, one: StretchBeside) -> str:
    others = f"positions of {one.beside.names}" if one.beside.names else "positions of the geometry"
    return (
        f"in {counted(one.count, 'row')} (rows {one.first} to {one.last}) of session"
        f" {survey.windows[one.session].session.name} the {others} and those mapped differ by one vector of"
        f" {one.apart:.2f} m, and in the rows before and after them they do not; no mark was occupied there. A"
        " calibration or base position may have been another one for a while, or one of the two was edited: see that"
        " what was measured is mapped"
    )


def _is_doubted(survey: Survey, one: StretchBeside) -> bool:
    """Tell whether a long stretch is in doubt; a field shift of its session or another doubt of its file says why."""
    checks, session = survey.job.checks, survey.windows[one.session].session
    if one.share < _MANY or one.apart <= checks.horizontal or session.field_shifts or _within(survey, one):
        return False
    return one.beside.agree_at(rows_on_marks(survey, one.export)) and doubted_beside(survey, one.export) is None


def _within(survey: Survey, one: StretchBeside) -> list[int]:
    """Return the rows of a stretch that are listed occupations."""
    return [row for row in rows_on_marks(survey, one.export).tolist() if one.first <= row <= one.last]
