"""Doubts exports that round coordinates more than their stated precision allows: it moves every point.

Every check of such a day passes or fails by chance, and what passes says nothing of the points beside it. Where only
some readings are written so, those on the marks perhaps not, the checks say nothing of them at all.
"""

from collections.abc import Collection, Iterator

import numpy as np

from pipeline.examine.computed import OnTheMarks
from pipeline.examine.doubtful import Doubtful
from pipeline.geodesy import crs
from pipeline.intake.coarse_rows import CoarseRows
from pipeline.intake.file_log import FileLog
from pipeline.intake.survey import Survey
from pipeline.read.exports import Export
from pipeline.words import Doubt, counted, plural

#: Share of the tolerance up to which rounding does no harm, whatever uncertainties are stated. Ours, no source.
_HARMLESS = 0.5
#: Standard uncertainty of a number that was rounded, by its last digit: of an even distribution.
EVEN = float(1.0 / np.sqrt(12.0))
_EXPORT = "export them again with all their digits"


def coarse_doubts(survey: Survey, on_marks: OnTheMarks, flat: Collection[str]) -> Iterator[Doubtful]:
    """Yield a doubt for readings of each export whose last digits are worth more than precision and tolerance allow.

    Not where readings on marks show that the coordinates were computed, digits and all: such a job is a trial. Nor for
    heights where no mark of the register holds one, and those of ``flat`` exports, as shown, whose heights are one
    number: what is wrong with those is told already.
    """
    for coarse in survey.first_pass.coarse:
        export, log = survey.exports[coarse.export], survey.first_pass.files[coarse.export]
        if coarse.height and export.shown in flat:
            continue
        sessions = tuple(session for session in coarse.sessions if not _exact(coarse, on_marks, session))
        if sessions and (told := _sentence(survey, export, log, coarse)):
            row = coarse.row if coarse.count < coarse.of else 0
            yield Doubtful(Doubt.PRECISION, f"{told}: {_cure(export, coarse)}", sessions, export.shown, row)


def _cure(export: Export, coarse: CoarseRows) -> str:
    """Say what to do: use the positions that have more digits, where the export has them already."""
    finer = next((one for one in export.beside if one.finer), None)
    if finer is None or coarse.height:
        return _EXPORT
    if not finer.names:
        return "leave these columns out of [points.columns], for the geometry has more digits of the same positions"
    return f"map {finer.names} instead, which have more digits of the same positions, and state their crs"


def _exact(coarse: CoarseRows, on_marks: OnTheMarks, session: int) -> bool:
    """Tell whether the digits of a session's coarse readings are all that there are."""
    alike = session in coarse.on_marks or session in coarse.whole
    return alike and on_marks.computed(session, coarse.height)


def _sentence(survey: Survey, export: Export, log: FileLog, coarse: CoarseRows) -> str:
    """Say what is wrong with the digits of some readings; nothing if all is well."""
    register, points, checks = survey.register, export.points, survey.job.checks
    stated = _stated(survey, export, log, int(coarse.height))
    if coarse.height:
        if register is None or not register.holds_height.any():
            return ""
        digit, half, tolerance = coarse.digit[0], coarse.digit[0] / 2.0, checks.vertical
        what = "heights" if points.columns.x is None else "coordinates along the earth's axis"
    else:
        east, north = coarse.digit
        degrees = crs.kind_of(crs.source_crs(points.crs or "")) == "geographic"
        if degrees:
            east *= log.parallel()
        digit, half, tolerance = max(east, north), float(np.hypot(east, north)) / 2.0, checks.horizontal
        pair = ("longitudes", "latitudes") if degrees else ("eastings", "northings")
        what = " and ".join(pair) if east and north else pair[0 if east else 1]
        if not degrees and points.columns.x is not None:
            what = "coordinates in plan"
    if not harms(half, digit, tolerance, stated):
        return ""
    more = " or more" if max(coarse.digit) >= 1.0 else ""  # tens of metres are not told from metres
    off = f"an error of up to {half:.3f} m{more}, but a standard uncertainty of {stated:.3f} m is stated"
    if coarse.count >= coarse.of:
        return f"its {what} are rounded to {digit_in_words(digit)}{more}, {off}"
    have = plural(coarse.count, "has", "have")
    return (
        f"{counted(coarse.count, 'reading')} of {coarse.of:,} (first one here) {have} {what} rounded to"
        f" {digit_in_words(digit)}{more} beside others with more digits, {off}"
    )


def _stated(survey: Survey, export: Export, log: FileLog, axis: int) -> float:
    """Return the standard uncertainty in plan, 0, or in height, 1, that readings of an export state, or the job."""
    quality, many = survey.job.quality, int(log.squared[axis])
    otherwise = quality.sigma_vertical if axis else quality.sigma_horizontal
    return quality.scales(export.points)[axis] * (float(np.sqrt(log.squares[axis] / many)) if many else otherwise)


def digit_in_words(digit: float) -> str:
    """Return metres of a last digit in words, to one figure."""
    return f"{float(f'{digit:.1g}'):g} m"


def harms(half: float, digit: float, tolerance: float, stated: float) -> bool:
    """Tell whether rounding by up to ``half`` matters beside a tolerance, and what is stated does not say so."""
    rounding, nearly = EVEN * digit, 1.0 + 1e-9
    beyond = half > tolerance * nearly and 2.0 * rounding > stated
    return beyond or (half * nearly > _HARMLESS * tolerance and rounding > stated)
