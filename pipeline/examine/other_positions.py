"""Doubts positions beside which an export has others of the same rows that differ from row to row.

One of the two was not measured then: degrees of the last campaign or of a design beside today's grid coordinates, or
attributes that a layer's geometry no longer follows. What was copied from the register agrees with every mark.
"""

from collections.abc import Iterator

import numpy as np

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.read.exports import Export
from pipeline.read.positions_beside import PositionsBeside
from pipeline.words import Doubt


def other_position_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for each export whose rows have two positions that differ by more than checks tolerate."""
    for export, log in zip(survey.exports, survey.first_pass.files, strict=True):
        doubted = doubted_beside(export, survey.job.checks.horizontal)
        if doubted is not None and log.rows:
            sessions = tuple(np.flatnonzero(log.sessions).tolist())
            yield Doubtful(Doubt.PLACE, doubted.told(), sessions, export.shown, doubted.row)


def other_position_notes(export: Export, tolerance: float) -> Iterator[str]:
    """Yield which rows of an export have another position in other columns, where that is no doubt."""
    for one in export.beside:
        if one.names and one.count and one is not doubted_beside(export, tolerance):
            yield f"{export.shown}:{one.row}: {one.told()}"


def doubted_beside(export: Export, tolerance: float) -> PositionsBeside | None:
    """Return the other positions for which an export is in doubt, with a tolerance in metres; None without such."""
    return next((one for one in export.beside if one.scattered and one.most > tolerance), None)
