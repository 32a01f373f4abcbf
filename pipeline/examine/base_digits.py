"""By how much two writings of a base's position may differ for the digits that they leave out."""

from decimal import Decimal

import numpy as np

from pipeline.intake.base_log import Seen
from pipeline.intake.survey import Survey
from pipeline.sphere import DEGREE


def digits_apart(survey: Survey, one: Seen, other: Seen) -> tuple[float, float]:
    """Return metres in plan and in height by which rounding may part two writings of one position."""
    units = np.array([_last_digits(survey, seen) for seen in (one, other)])
    plan, height = 0.5 * units.sum(axis=0)
    return float(np.sqrt(2.0) * plan), float(height)


def _last_digits(survey: Survey, seen: Seen) -> tuple[float, float]:
    """Return what the last digits of a position are worth in plan and in height, metres.

    A digit that is zero is not to be seen: of the two in plan the finer counts.
    """
    first, second, third = (10.0 ** int(Decimal(repr(value)).as_tuple().exponent) for value in seen.value)
    degrees = survey.exports[seen.export].points.columns.base_longitude is not None
    return min(first, second) * (DEGREE if degrees else 1.0), third
