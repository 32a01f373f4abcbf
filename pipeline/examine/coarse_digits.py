"""Exports that write coordinates more coarsely than the precision that they state: rounding moves every point.

Every check of such a day passes or fails by chance, and what passes says nothing of the points beside it.
"""

from collections.abc import Collection, Iterator

import numpy as np

from pipeline.arrays import Floats
from pipeline.examine.doubtful import Doubtful
from pipeline.geodesy import crs
from pipeline.intake.file_log import FileLog
from pipeline.intake.survey import Survey
from pipeline.read.files import Export
from pipeline.words import Doubt

#: Share of the tolerance up to which rounding does no harm, whatever uncertainties are stated. Ours, no source.
_HARMLESS = 0.5
#: Readings of which not all end in a zero by chance.
_ENOUGH = 6
#: Standard uncertainty of a number that was rounded, by its last digit: of an even distribution.
_EVEN = 1.0 / np.sqrt(12.0)
_EXPORT = "export them again with all their digits"


def coarse_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for each export whose places have last digits worth more than precision and tolerance allow."""
    for export, log, digits in _written(survey):
        if told := _plan(survey, export, log, digits):
            sessions = tuple(np.flatnonzero(log.sessions).tolist())
            yield Doubtful(Doubt.PRECISION, f"{told}: {_EXPORT}", sessions, export.shown)


def coarse_notes(survey: Survey, flat: Collection[str]) -> Iterator[str]:
    """Yield a note for each export whose heights are written so: whole metres may be what was measured from.

    ``flat`` are exports, as shown, whose heights are one number: what is wrong with those is told already.
    """
    for export, log, digits in _written(survey):
        if export.shown not in flat and (told := _height(survey, export, log, digits)):
            yield f"{export.shown}: {told}: {_EXPORT}"


def _written(survey: Survey) -> Iterator[tuple[Export, FileLog, Floats]]:
    """Yield each export with (3,) metres of the last digit that any of its readings has, if enough of them count."""
    first = survey.first_pass
    if first.finest is None:
        return
    ends = np.cumsum(first.rows)
    again = np.bincount(np.searchsorted(ends, first.duplicates, side="right"), minlength=len(first.rows))
    for export, log, digits, copies in zip(survey.exports, first.files, first.finest, again.tolist(), strict=True):
        if log.sound - copies >= _ENOUGH:
            yield export, log, digits


def _plan(survey: Survey, export: Export, log: FileLog, written: Floats) -> str:
    """Say what is wrong with the digits of longitudes and latitudes, or eastings and northings; nothing if all is well.

    ``written`` (3,) metres are what the last digits are worth.
    """
    east, north = float(written[0]), float(written[1])
    degrees = crs.kind_of(crs.source_crs(export.points.crs or "")) == "geographic"
    if degrees:
        there = log.sessions > 0
        east *= float(np.cos(np.radians(0.5 * (log.extent.low[there, 1].min() + log.extent.high[there, 1].max()))))
    stated = _stated(survey, export, log, 0)
    half = float(np.hypot(east, north)) / 2.0
    if not _harms(half, max(east, north), survey.job.checks.horizontal, stated):
        return ""
    what = "longitudes and latitudes" if degrees else "coordinates in plan"
    return f"its {what} are written to {_metres(max(east, north))}, {_off(half, stated)}"


def _height(survey: Survey, export: Export, log: FileLog, written: Floats) -> str:
    """Say the same of heights, where any mark of the register holds one."""
    register = survey.register
    if register is None or not register.holds_height.any():
        return ""
    up = float(written[2])
    stated = _stated(survey, export, log, 1)
    if not _harms(up / 2.0, up, survey.job.checks.vertical, stated):
        return ""
    what = "heights" if export.points.columns.x is None else "coordinates along the earth's axis"
    return f"its {what} are written to {_metres(up)}, {_off(up / 2.0, stated)}"


def _stated(survey: Survey, export: Export, log: FileLog, axis: int) -> float:
    """Return the standard uncertainty in plan, 0, or in height, 1, that readings of an export state, or the job."""
    points, quality = export.points, survey.job.quality
    scale = points.scale or quality.scale
    if axis:
        scale = points.scale_vertical or points.scale or quality.scale_vertical or quality.scale
    many = int(log.squared[axis])
    otherwise = quality.sigma_vertical if axis else quality.sigma_horizontal
    return scale * (float(np.sqrt(log.squares[axis] / many)) if many else otherwise)


def _harms(half: float, digit: float, tolerance: float, stated: float) -> bool:
    """Tell whether rounding by up to ``half`` matters beside a tolerance, and what is stated does not say so."""
    rounding = _EVEN * digit
    beyond = half > tolerance and 2.0 * rounding > stated
    return beyond or (half > _HARMLESS * tolerance and rounding > stated)


def _off(half: float, stated: float) -> str:
    return f"which alone puts points up to {half:.3f} m off where a standard uncertainty of {stated:.3f} m is stated"


def _metres(digit: float) -> str:
    return f"{digit:.1g} m"
