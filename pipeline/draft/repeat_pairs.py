"""Points measured twice: which readings are of one point, how far they differ, and what is to be expected of that.

Two readings have in common what their sessions' shifts have: within one session nothing of the shift is left in their
difference, between two the covariance that the adjustment gives the two shifts. The geoid, a site's localisation and
the transformations are the same at one place and fall out. Each time a pole is centred again.
"""

import math
from statistics import NormalDist

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.draft.repeat_readings import Readings
from pipeline.geodesy.frames import enu_rotation, rotate_covariance
from pipeline.geodesy.uncertainty import add_covariance, horizontal_95, vertical_95
from pipeline.intake.survey import Survey
from pipeline.job.model import Checks
from pipeline.solve.reading_precision import with_centring
from pipeline.solve.solve import Solved
from pipeline.tolerance import Tolerance, plan_and_height

#: A reading is compared with so many before it, in time: up to eleven readings of a point give every pair.
BEFORE = 10
#: The chance that any pair of a job without mistakes lies beyond what is expected of all.
_CHANCE = 0.05


class Pairs(Struct, frozen=True):
    """Pairs of readings of one point, (p,) each in the order of names and times.

    Args:
        first, second: rows of the `Readings`, the earlier first.
        apart: (p, 3) second minus first, metres to the east, the north and upwards.
        hu95, vu95: what is expected of that, 95 %.
        passed: whether it is within the tolerance of checks, or within what chance gives among so many pairs.
    """

    first: Integers
    second: Integers
    apart: Floats
    hu95: Floats
    vu95: Floats
    passed: Flags

    @property
    def horizontal(self) -> Floats:
        """Return (p,) the distance in plan."""
        return np.hypot(self.apart[:, 0], self.apart[:, 1])


class Repeated(Struct, frozen=True):
    """Readings that may be of points measured twice, and the pairs that are."""

    readings: Readings
    pairs: Pairs

    @property
    def contrasts(self) -> Integers:
        """Return of the pairs those of each reading with the one before it: the others say nothing more."""
        second = self.pairs.second
        order = np.lexsort((-self.readings.time[self.pairs.first], second))
        return order[np.unique(second[order], return_index=True)[1]]


def find_pairs(readings: Readings, survey: Survey, solved: Solved) -> Pairs:
    """Return the pairs of readings of one point: of one name, or of one place where that is asked for.

    A name that stands at more than one place within a session names no point.
    """
    checks, places = survey.job.checks, readings.metres(survey.axes.counts())
    pairs = np.concatenate([_by_name(readings, places, checks), _by_place(readings, places, checks)])
    count = max(len(readings.number), 1)
    pairs = np.column_stack(np.divmod(np.unique(pairs[:, 0] * count + pairs[:, 1]), count))
    first, second = pairs[:, 0], pairs[:, 1]
    apart = places[second] - places[first]
    covariance = _covariance(readings, first, second, survey.job.quality.centring, solved)
    hu95, vu95 = horizontal_95(covariance), vertical_95(np.sqrt(covariance[:, 2, 2]))
    return Pairs(first, second, apart, hu95, vu95, _passed(apart, hu95, vu95, checks))


def _by_name(readings: Readings, places: Floats, checks: Checks) -> Integers:
    """Return (p, 2) pairs of one name."""
    rows = np.flatnonzero(readings.name >= 0)
    rows = rows[np.lexsort((readings.number[rows], readings.time[rows], readings.name[rows]))]
    rows = rows[~_several_places(readings, places, rows, checks.same_name)]
    name = readings.name[rows]
    found = [np.zeros((0, 2), np.int64)]
    for step in range(1, BEFORE + 1):
        one, other = np.arange(len(rows) - step), np.arange(step, len(rows))
        here = name[one] == name[other]
        if not here.any():
            break
        here &= _distance(places, rows[one], rows[other]) <= checks.same_name
        found.append(np.column_stack([rows[one[here]], rows[other[here]]]))
    return np.concatenate(found)


def _several_places(readings: Readings, places: Floats, rows: Integers, within: float) -> Flags:
    """Return (n,) which of the rows have a name that a session has at places farther apart than ``within``."""
    if not len(rows):
        return np.zeros(0, bool)
    order = np.lexsort((readings.session[rows], readings.name[rows]))
    name, session, plan = readings.name[rows][order], readings.session[rows][order], places[rows[order], :2]
    start = np.flatnonzero(np.concatenate([[True], (name[1:] != name[:-1]) | (session[1:] != session[:-1])]))
    wide = np.hypot(*(np.maximum.reduceat(plan, start) - np.minimum.reduceat(plan, start)).T) > within
    return np.isin(readings.name[rows], name[start[wide]])


def _by_place(readings: Readings, places: Floats, checks: Checks) -> Integers:
    """Return (p, 2) pairs of one place, whatever their names.

    Two places within a distance share a square of twice its width in one of four nets of them, half a square apart.
    """
    within, found = checks.same_place, [np.zeros((0, 2), np.int64)]
    if not within or not len(places):
        return found[0]
    plan = (places[:, :2] - places[:, :2].min(axis=0)) / (2.0 * within)
    for shift in ((0.0, 0.0), (0.5, 0.0), (0.0, 0.5), (0.5, 0.5)):
        square = np.floor(plan + shift).astype(np.int64)
        rows = np.lexsort((readings.number, readings.time, square[:, 1], square[:, 0]))
        for step in range(1, BEFORE + 1):
            one, other = rows[: len(rows) - step], rows[step:]
            here = (square[one] == square[other]).all(axis=1)
            if not here.any():
                break
            here &= _distance(places, one, other) <= within
            found.append(np.column_stack([one[here], other[here]]))
    return np.concatenate(found)


def _distance(places: Floats, one: Integers, other: Integers) -> Floats:
    off = places[other, :2] - places[one, :2]
    return np.hypot(off[:, 0], off[:, 1])


def _covariance(readings: Readings, first: Integers, second: Integers, centring: float, solved: Solved) -> Floats:
    """Return (p, 3, 3) the covariance of the differences, east, north, up."""
    session = readings.session[first], readings.session[second]
    turn = enu_rotation(readings.value("longitude")[first], readings.value("latitude")[first])
    total = rotate_covariance(solved.shifts.apart(*session), turn)
    for rows in (first, second):
        add_covariance(total, with_centring(readings.sigma[rows], centring), readings.correlated[rows])
    return total


def _passed(apart: Floats, hu95: Floats, vu95: Floats, checks: Checks) -> Flags:
    """Return (p,) which differences lie within the tolerance of checks, or within what is expected of so many."""
    off = plan_and_height(apart)
    wide = np.column_stack([hu95, vu95]) * widened(len(apart))
    within = Tolerance(checks.horizontal, checks.vertical).excess(off) == 0.0
    return np.asarray((within | (np.abs(off) <= wide)).all(axis=1))


def widened(pairs: int) -> tuple[float, float]:
    """Return by what 95 % figures, in plan and in height, grow so that one of so many pairs exceeds its by chance."""
    each, normal = _CHANCE / max(2 * pairs, 1), NormalDist()
    return math.sqrt(math.log(each) / math.log(0.05)), normal.inv_cdf(1.0 - each / 2.0) / normal.inv_cdf(0.975)
