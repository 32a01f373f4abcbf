"""Compares stated precision with the scatter of repeats and occupations, for the record and its notes."""

import math

from msgspec import Struct
from msgspec.structs import astuple

from pipeline.adjust.components import least
from pipeline.draft.later_readings import LaterApart, later_apart, without_vectors
from pipeline.draft.precision import MarkOff, Precision, mark_off, precision
from pipeline.draft.repeat_pairs import Pairs, Repeated
from pipeline.intake.survey import Survey
from pipeline.issue import record_types
from pipeline.replace import replace
from pipeline.run.layers import Laid
from pipeline.solve.solve import Solved

#: With fewer degrees of freedom nothing can be told: twice too good would look like as good as stated.
_ENOUGH = 6.0
#: The chance that readings which are as good as stated are called worse, in a whole job.
CHANCE = 0.005
#: A smaller scale makes no difference to anybody.
_LARGE = 1.2


class Precisions(Struct, frozen=True):
    """The record's ``precision``, and what it was found by.

    ``misfits`` are those of each (`adjust/components.py:misfit`); ``repeated`` the readings and pairs that it took;
    ``later`` the vectors taken out of these, by which the later readings of points lie off the earlier.
    """

    recorded: list[record_types.Precision]
    misfits: list[tuple[float, int]]
    repeated: Repeated
    later: tuple[LaterApart, ...] = ()


def precisions(survey: Survey, solved: Solved, laid: Laid) -> Precisions:
    """Return the record's ``precision``; where readings seem to be worse than stated, without what later ones share."""
    found = _found(survey, solved, laid.repeated)
    if any(one["too_good"] for one in found.recorded):
        later = later_apart(laid.repeated, survey)
        if later:
            return replace(_found(survey, solved, without_vectors(laid.repeated, later)), later=tuple(later))
    return found


def _found(survey: Survey, solved: Solved, repeated: Repeated) -> Precisions:
    found = precision(survey, solved, repeated)
    recorded = [_recorded(one, survey, CHANCE / len(found)) for one in found]
    return Precisions(recorded, [one.misfit for one in found], repeated)


def by_failing_repeats(found: Precisions, survey: Survey, solved: Solved) -> bool:
    """Tell whether it is repeats that fail, each told by its name, which make uncertainties look stated too good."""
    pairs = found.repeated.pairs
    if pairs.passed.all() or not any(one["too_good"] for one in found.recorded):
        return False
    kept = Pairs(*(values[pairs.passed] for values in astuple(pairs)))
    others = _found(survey, solved, replace(found.repeated, pairs=kept))
    return not any(one["too_good"] for one in others.recorded)


def by_one_mark(found: Precisions, survey: Survey, solved: Solved) -> MarkOff | None:
    """Return the mark whose coordinates alone, being off, make uncertainties look stated too good; None where none."""
    if not any(one["too_good"] for one in found.recorded):
        return None
    mark = mark_off(survey, solved, found.repeated)
    if mark is None:
        return None
    others = [_recorded(one, survey, CHANCE / len(mark.others)) for one in mark.others]
    return None if any(one["too_good"] for one in others) else mark


def _recorded(one: Precision, survey: Survey, chance: float) -> record_types.Precision:
    scale, freedom = float(one.whole.scale[0]), float(one.whole.freedom[0])
    enough = freedom >= _ENOUGH
    low, high = (float(bound[0]) for bound in one.whole.bounds()) if enough else (None, None)
    return {
        "file": None if one.file is None else survey.exports[one.file].shown,
        "differences": one.differences,
        "left_out": one.left_out,
        "degrees_of_freedom": freedom,
        "enough": enough,
        "scale": _known(scale),
        "low": low,
        "high": high,
        "scale_horizontal": _known(one.plan.scale[0]) if enough else None,
        "scale_vertical": _known(one.height.scale[0]) if enough else None,
        "too_good": enough and scale >= _LARGE and least(scale, freedom, chance) > 1.0,
    }


def _known(scale: float) -> float | None:
    """Return a scale, None where nothing says how large: marks may hold positions alone, and one axis be exact."""
    return float(scale) if math.isfinite(scale) else None
