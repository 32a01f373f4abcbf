"""Doubts exports whose heights were never measured: one and the same number at many places.

Still water or a slab, written to the decimetre, is one number too. So what is told is a number whose digits are so fine
that measured heights would differ, one that is nowhere near the heights of the job, or one without decimals: that of a
text with zeros behind the point is the same number, and nobody measures in whole metres.
"""

import math
from collections.abc import Iterator
from functools import cached_property

import numpy as np

from pipeline.arrays import Floats, Integers
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.last_digits import last_digit
from pipeline.geodesy import crs
from pipeline.intake.file_log import FileLog
from pipeline.intake.survey import Survey
from pipeline.near import and_more
from pipeline.read.columns import lengths_of
from pipeline.read.exports import Export
from pipeline.words import Doubt, plural

#: Readings at different places from which on heights that are measured differ, and metres by which they do at least.
_MANY, _NOISE = 8, 0.0005
#: Metres that fixed solutions scatter in height at the least, on still water too; the chance with which so many of them
#: may round to one number that is told; and the coarsest last digit, metres, to which their scatter shows.
_SCATTER, _CHANCE, _COARSEST = 0.004, 1e-5, 0.01
#: Of the unit that heights are written in: the last digit of a number without decimals is worth more.
_WHOLE = 0.5
#: Decimals of a height that are looked for.
_DECIMALS = range(6)
#: Metres from the heights of the marks, and of other readings, beyond which a number is not that of water among them.
_FAR = 10.0
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
    many, far = _enough(export, log, there), _Far(survey, export, log)
    low, high = log.extent.low[there].min(axis=0), log.extent.high[there].max(axis=0)
    if is_flat(low, high, log.sound, apart) and (log.sound >= many or far.of(int(there[0]))):
        flat, which = there, "all heights of the export are"
    else:
        of = [
            is_flat(log.extent.low[at], log.extent.high[at], int(log.sessions[at]), apart)
            and (log.sessions[at] >= many or far.of(at))
            for at in there.tolist()
        ]
        flat = there[np.array(of, bool)]
        names = ", ".join(survey.windows[number].session.name for number in flat.tolist()[:3])
        more = and_more(len(flat) - 3)
        which = f"all heights of {plural(len(flat), 'session')} {names}{more} in it are"
    if not len(flat):
        return
    yield _doubt(export, log, flat, which)


def _doubt(export: Export, log: FileLog, flat: Integers, which: str) -> Doubtful:
    levels = np.unique(np.round(log.extent.low[flat, 2], 3) + 0.0)
    each = " each" if len(levels) > 1 else f", {levels[0]:.3f}"
    what = (
        f"{which} one and the same number{each}, at many places, which no receiver measures: they were never filled"
        " in; map the column that has the heights as height, or export the heights too"
    )
    return Doubtful(Doubt.EXPORT_HEIGHTS, what, tuple(flat.tolist()), export.shown, int(log.extent.row[flat].min()))


def is_flat(low: Floats, high: Floats, count: int, apart: float) -> bool:
    """Tell whether readings between ``low`` and ``high`` (3,) are many, apart, and have one height."""
    return bool(count >= _MANY and (high - low)[:2].max() > apart and high[2] - low[2] <= _NOISE)


def _enough(export: Export, log: FileLog, there: Integers) -> float:
    """Return how many measured heights of an export are not one number, by the last digit with which it writes them.

    That is seen in the least and the largest of each session, unless a pole was taken off them: what was written then
    was another number.
    """
    if export.points.columns.pole_height is not None:
        return math.inf
    unit = lengths_of(export.points).up
    seen = np.unique(np.concatenate([log.extent.low[there, 2], log.extent.high[there, 2]]))
    digit = min(last_digit(value / unit, _DECIMALS) for value in seen.tolist()) * unit
    return least_alike(digit, unit)


def least_alike(digit: float, unit: float) -> float:
    """Return how many heights that were measured are not one number; infinite where any number of them may be.

    Args:
        digit: metres that their last digit is worth.
        unit: metres that their unit is.
    """
    if digit > _WHOLE * unit:
        return _MANY
    if digit > _COARSEST * (1.0 + 1e-9):
        return math.inf
    one = math.erf(digit / (2.0 * math.sqrt(2.0) * _SCATTER))
    return max(_MANY, 1.0 + math.log(_CHANCE) / math.log(one))


class _Far:
    """Tells of the one height of a session whether it is nowhere near those of the job, or no height at all."""

    def __init__(self, survey: Survey, export: Export, log: FileLog) -> None:
        self.survey, self.export, self.log = survey, export, log

    def of(self, session: int) -> bool:
        """Tell it of a session that is flat."""
        level = self.log.extent.low[session]
        if abs(level[2]) <= _NOISE:
            return True
        own, known = self._height(self.export, session, level), self._known
        return bool(known) and math.isfinite(own) and not min(known) - _FAR <= own <= max(known) + _FAR

    @cached_property
    def _known(self) -> list[float]:
        return [*self._of_marks(), *self._of_others()]

    def _of_marks(self) -> list[float]:
        register, operation = self.survey.register, self.survey.operations.register
        if register is None or operation is None:
            return []
        xyz = np.column_stack(operation.forward(register.first, register.second, register.third))
        xyz = xyz[register.holds_height & np.isfinite(xyz).all(axis=1)]
        heights = self.survey.operations.frames.to_geographic.forward(*xyz.T)[2]
        return [float(height) for height in heights[np.isfinite(heights)]]

    def _of_others(self) -> list[float]:
        """Return the least and the largest height of what was measured with a height, each session of each export."""
        found = []
        for export, log in zip(self.survey.exports, self.survey.first_pass.files, strict=True):
            uneven = (log.sessions > 0) & (log.extent.high[:, 2] - log.extent.low[:, 2] > _NOISE)
            for at in np.flatnonzero(uneven).tolist() if export.points.columns.x is None else ():
                found += [self._height(export, at, place[at]) for place in (log.extent.low, log.extent.high)]
        return [height for height in found if math.isfinite(height)]

    def _height(self, export: Export, session: int, place: Floats) -> float:
        """Return the height above the ellipsoid of a raw place (3,) of an export."""
        operations = self.survey.operations
        year = operations.year(session, export.block, self.survey.windows[session].start_ms)
        xyz = np.ravel(operations.frames.to_working[export.block].forward(place[0], place[1], place[2], year))
        return float(np.ravel(operations.frames.to_geographic.forward(*xyz)[2])[0])
