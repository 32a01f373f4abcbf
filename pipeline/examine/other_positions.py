"""Doubts positions beside which an export has others of the same rows that differ from row to row.

One of the two was not measured then: degrees of the last campaign or of a design beside today's grid coordinates, or
attributes that a layer's geometry no longer follows. What was copied from the register agrees with every mark.
"""

from collections.abc import Iterator

import numpy as np

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.job.toml_text import listed
from pipeline.read.exports import Export
from pipeline.read.positions_beside import GEOMETRY, PositionsBeside
from pipeline.words import Doubt


def other_position_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for each export whose rows have two positions that differ by more than checks tolerate.

    Where marks were occupied the two agree, so that checks do with either: a device of its own, without corrections,
    is off there as it is elsewhere. It is confirmed where the block says of these very positions that they were not
    measured.
    """
    for number, (export, log) in enumerate(zip(survey.exports, survey.first_pass.files, strict=True)):
        doubted = doubted_beside(survey, number)
        if doubted is not None and log.rows:
            sessions = tuple(np.flatnonzero(log.sessions).tolist())
            aside = doubted.is_set_aside(export.points)
            what = f"{doubted.told()}; on marks both agree, so that checks do not tell"
            if not aside:
                called = listed(doubted.columns or (GEOMETRY,))
                what += f". Where you know, not_measured = {called} in the block says it of these positions alone"
            yield Doubtful(Doubt.PLACE, what, sessions, export.shown, doubted.row, confirmed=aside)


def other_position_notes(export: Export, doubted: PositionsBeside | None) -> Iterator[str]:
    """Yield which rows of an export have another position in other columns, apart from one for which it is doubted."""
    for one in export.beside:
        if one.names and one.count and one is not doubted:
            yield f"{export.shown}:{one.row}: {one.told()}"


def doubted_beside(survey: Survey, number: int) -> PositionsBeside | None:
    """Return the other positions for which an export is in doubt, None without such; first what is not set aside."""
    tolerance = survey.job.checks.horizontal
    export = survey.exports[number]
    some = [one for one in export.beside if one.how.scattered and one.how.most > tolerance]
    if not some:
        return None
    table = survey.candidates.table
    here = np.asarray(table.column("export"), np.int64) == number
    occupied = here & np.array([said is not None for said in survey.candidates.named], bool)
    rows = np.asarray(table.column("source_row"), np.int64)[occupied]
    agree = [one for one in some if one.agree_at(rows)]
    return min(agree, key=lambda one: one.is_set_aside(export.points), default=None)
