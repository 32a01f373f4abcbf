"""Says which rows have a coordinate that a spreadsheet seems to have copied down its column."""

from collections.abc import Iterator

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.filled_down import Filled, FilledDown
from pipeline.intake.shared_numbers import SharedNumbers
from pipeline.intake.survey import Survey
from pipeline.read.mapping import position_of
from pipeline.words import Doubt, counted

#: Metres that a last digit is worth, and rows in one piece with one coordinate to that digit, from which no chance
#: makes them: of finer digits four, of millimetres as many as no straight line along an axis of the grid has. Ours.
_SURE = ((2e-4, 4), (1.5e-3, 8))
#: Rows that are no run: cells were moved there rather than copied down.
_PAIR = 2


def filled_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for each run of rows with one longitude or latitude, easting or northing, that no chance makes."""
    for one in survey.first_pass.found.of(FilledDown):
        if _sure(one):
            export = survey.exports[one.export]
            what = f"{_sentence(survey, one)}, so these points may be far from where they are; {CURE}"
            yield Doubtful(Doubt.PLACE, what, one.sessions, export.shown, one.first)


def filled_notes(survey: Survey) -> Iterator[str]:
    """Yield in words which other rows have one coordinate, or heights that are equal or rise by one step.

    Two rows alone are not told where more of that export are, wherever they stand (`shared_numbers`).
    """
    more = {(one.export, one.axis) for one in survey.first_pass.found.of(SharedNumbers)}
    for one in survey.first_pass.found.of(FilledDown):
        if not _sure(one) and not (one.count == _PAIR and (one.export, one.axis) in more):
            yield f"{survey.exports[one.export].shown}:{one.first}: {_sentence(survey, one)}; {CURE}"


#: What to do about rows that have a coordinate of others.
CURE = "compare them with what the controller has, or export again"


def _sure(one: Filled) -> bool:
    # steps along a parallel or meridian may be set out
    return one.axis < 2 and not one.step and any(one.digit <= digit and one.count >= rows for digit, rows in _SURE)


def _sentence(survey: Survey, one: Filled) -> str:
    called = position_of(survey.exports[one.export].points.columns).words[one.axis]
    own = f"{'an' if called == 'easting' else 'a'} {called} of their own"
    has = f"rise or fall in {called} by exactly one step" if one.step else f"have one {called} to the last digit"
    if one.counted:
        has = f"have one {called} but for the last digit, which goes up or down by as much each time,"
    if one.count == _PAIR:
        return (
            f"2 rows in a row (to row {one.last}) {has} while the points lie elsewhere, and nearly all others have"
            f" {own}, as where cells of that column were moved by a row in a spreadsheet: the rows before or behind may"
            f" then have the {called} of their neighbours, which only marks among them would show"
        )
    return (
        f"{counted(one.count, 'row')} in a row (to row {one.last}) {has} while the points lie elsewhere, as where a"
        f" spreadsheet copied a cell down its column; nearly all other rows have {own}"
    )
