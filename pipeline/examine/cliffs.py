"""Which readings stand so far above or below others hard by that the ground between would be too steep."""

from collections.abc import Iterator

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.implausible import Cliff
from pipeline.intake.survey import Survey
from pipeline.words import Doubt, counted, plural

_FEET = "it looks like feet mixed with metres, so check units and crs of each block"
_KINDS = "check the columns that each block maps as height, and their unit and height system"


def cliff_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt for each session of which some readings stand hundreds of metres off others hard by."""
    return [
        Doubtful(
            Doubt.UNITS if one.steep.feet else Doubt.EXPORT_HEIGHTS,
            f"{_cliff(survey, one)}; natural ground is not that steep. If this is a tower, bridge, dam, shaft or"
            f" tunnel, confirm it; otherwise {_FEET if one.steep.feet else _KINDS}",
            (one.session,),
            survey.exports[one.export].shown,
            one.row,
        )
        for one in survey.first_pass.implausible.cliffs
        if not one.steep.possible
    ]


def hill_notes(survey: Survey) -> Iterator[str]:
    """Yield the readings that stand off others hard by as on a hill, and fit them when they are taken for feet."""
    for one in survey.first_pass.implausible.cliffs:
        if one.steep.possible:
            where = f"{survey.exports[one.export].shown}:{one.row}"
            yield f"{where}: {_cliff(survey, one)}; if there is no slope between them, {_FEET}"


def _cliff(survey: Survey, one: Cliff) -> str:
    count, by = len(one.steep.rows), one.steep.by
    return (
        f"session {survey.windows[one.session].session.name}: {counted(count, 'reading')} (first one here)"
        f" {plural(count, 'is', 'are')} {abs(by):,.0f} m {'above' if by > 0 else 'below'}"
        f" {counted(one.steep.others, 'other')} {one.steep.away:.0f} m away"
    )
