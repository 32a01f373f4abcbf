"""Computes how far [m] two written positions of one base may differ through rounding alone."""

import numpy as np

from pipeline.examine.last_digits import last_digit
from pipeline.intake.base_log import ValueSeen
from pipeline.intake.survey import Survey
from pipeline.read.columns import lengths_of
from pipeline.read.exports import Export
from pipeline.sphere import DEGREE

#: Decimals that are looked for, from the fewest on: of lengths and degrees, and of degrees in a block of sexagesimal
#: angles, whose cells are degrees, minutes and seconds, degrees and minutes, or degrees.
_PLAIN = range(1, 12)
_SECONDS, _MINUTES, _DEGREES = range(8), range(2, 9), range(4, 12)


def digits_apart(survey: Survey, one: ValueSeen, other: ValueSeen) -> tuple[float, float]:
    """Return metres in plan and in height by which rounding may part two writings of one position."""
    units = np.array([_last_digits(survey.exports[seen.export], seen) for seen in (one, other)])
    plan, height = 0.5 * units.sum(axis=0)
    return float(np.sqrt(2.0) * plan), float(height)


def _last_digits(export: Export, seen: ValueSeen) -> tuple[float, float]:
    """Return what the last digits of a position are worth in plan and in height, metres, as its export counts.

    A digit that is zero is not to be seen: of the two in plan the finer counts.
    """
    first, second, third = seen.value
    counts = lengths_of(export.points)
    height = last_digit(third / counts.up, _PLAIN) * counts.up
    if export.points.columns.base_longitude is None:
        return min(last_digit(value / counts.plan, _PLAIN) for value in (first, second)) * counts.plan, height
    angle = _last_of_parts if export.points.angles == "dms" else _last_of_degrees
    return min(angle(first), angle(second)) * DEGREE, height


def _last_of_degrees(value: float) -> float:
    return last_digit(value, _PLAIN)


def _last_of_parts(value: float) -> float:
    """Return what the last digit of a sexagesimal angle is worth, degrees: its parts may be three, two or one."""
    parts = ((3600.0, _SECONDS), (60.0, _MINUTES), (1.0, _DEGREES))
    return max(last_digit(value * per, decimals) / per for per, decimals in parts)
