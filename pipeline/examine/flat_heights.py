"""Exports whose heights nobody measured: one and the same number at many places."""

from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Floats, Integers
from pipeline.examine.doubtful import Doubtful
from pipeline.geodesy import crs
from pipeline.intake.file_log import FileLog
from pipeline.intake.survey import Survey
from pipeline.read.files import Export
from pipeline.words import Doubt, plural

#: Readings at different places from which on heights that are measured differ, and metres by which they do at least:
#: the noise of a fixed solution is centimetres, on still water too.
_MANY, _NOISE = 8, 0.0005
#: Metres that readings at different places are apart at least.
_APART = 1.0
#: Degrees of the smallest such distance.
_APART_DEGREES = 1e-5


def flat_doubts(survey: Survey) -> list[Doubtful]:
    """Return a doubt for each export of which all heights, or all of a session, are one number.

    Not where no mark of the register holds a height: such a job is one of positions alone.
    """
    if survey.register is None or not survey.register.holds_height.any():
        return []
    return [
        doubt
        for export, log in zip(survey.exports, survey.first_pass.files, strict=True)
        for doubt in _of_export(survey, export, log)
    ]


def _of_export(survey: Survey, export: Export, log: FileLog) -> Iterator[Doubtful]:
    if export.points.columns.x is not None or not log.sound:
        return
    degrees = crs.kind_of(crs.source_crs(export.points.crs or "")) == "geographic"
    apart = _APART_DEGREES if degrees else _APART
    there = np.flatnonzero(log.sessions)
    low, high = log.extent.low[there].min(axis=0), log.extent.high[there].max(axis=0)
    if _is_flat(low, high, log.sound, apart):
        flat, which = there, "all heights of the export are"
    else:
        of = [_is_flat(log.extent.low[at], log.extent.high[at], int(log.sessions[at]), apart) for at in there.tolist()]
        flat = there[np.array(of, bool)]
        names = ", ".join(survey.windows[number].session.name for number in flat.tolist()[:3])
        more = f" and {len(flat) - 3} more" if len(flat) > 3 else ""
        which = f"all heights of {plural(len(flat), 'session')} {names}{more} in it are"
    if not len(flat):
        return
    yield _doubt(export, log, flat, which)


def _doubt(export: Export, log: FileLog, flat: Integers, which: str) -> Doubtful:
    levels = np.unique(np.round(log.extent.low[flat, 2], 3) + 0.0)
    each = " each" if len(levels) > 1 else f", {levels[0]:.3f}"
    what = (
        f"{which} one and the same number{each}, at many places: heights that were never filled in, which no"
        " receiver measures; map the column that holds them as height, or export the heights too"
    )
    return Doubtful(Doubt.EXPORT_HEIGHTS, what, tuple(flat.tolist()), export.shown, int(log.extent.row[flat].min()))


def _is_flat(low: Floats, high: Floats, count: int, apart: float) -> bool:
    """Tell whether readings between ``low`` and ``high`` (3,) are many, apart, and have one height."""
    return bool(count >= _MANY and (high - low)[:2].max() > apart and high[2] - low[2] <= _NOISE)
