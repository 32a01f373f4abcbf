"""Puts readings of one point into their mean, weighted by their covariances."""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Floats, Integers
from pipeline.draft.grouped import Groups
from pipeline.draft.repeat_readings import Readings
from pipeline.geodesy.frames import enu_rotation, rotate_covariance
from pipeline.geodesy.uncertainty import add_covariance, horizontal_95, vertical_95
from pipeline.intake.survey import Survey
from pipeline.solve.correct import VALUES
from pipeline.solve.proof import LESS_PROVEN
from pipeline.solve.solve import Solved
from pipeline.sphere import DEGREE
from pipeline.words import counted


class Means(Struct, frozen=True):
    """The means of (g,) groups.

    Args:
        stands: (g,) the readings that stand for them.
        values: (g, v) their numbers, as `Readings.values`.
        proof: (g,) the least proof among their readings.
        spread: (g, 2) by how many metres readings lie off them at most, in plan and in height.
        size: (g,) how many readings are in them.
    """

    stands: Integers
    values: Floats
    proof: Integers
    spread: Floats
    size: Integers

    def why(self, group: int) -> str:
        """Return in words what became of a reading of a group that another stands for."""
        plan, height = self.spread[group].tolist()
        return (
            f"in the mean of {counted(int(self.size[group]), 'reading')}, {plan:.3f} m in plan and {height:.3f} m in"
            " height from it at most, issued as"
        )


def weighted_means(readings: Readings, groups: Groups, survey: Survey, solved: Solved) -> Means:
    """Return the weighted means, with the uncertainty that readings and shifts leave them."""
    weights = _Weights.of(readings, groups, solved)
    row, kept, start, share = groups.row, groups.kept, groups.start, weights.share
    counts = np.array(survey.axes.counts())
    places = readings.metres(counts.tolist())
    off = places[row] - places[kept]
    moved = np.add.reduceat(np.einsum("nij,nj->ni", share, off), start)
    stands = kept[start]
    values = readings.values[stands].copy()
    values[:, :3] += moved / counts
    values[:, 3:6] += _geographic(readings, row, kept, share, start)
    covariance = np.add.reduceat(share @ weights.own @ share.transpose(0, 2, 1), start)
    covariance += _of_shifts(readings, groups, share, weights.turn, solved)
    values[:, 6:8] = _uncertainty(covariance, places[stands] + moved, survey)
    return Means(
        stands=stands,
        values=values,
        proof=LESS_PROVEN[np.maximum.reduceat(LESS_PROVEN[readings.proof[row]], start)],
        spread=_spread(off - moved[groups.of], start),
        size=np.diff(np.append(start, len(row))),
    )


class _Weights(Struct, frozen=True):
    """What each of the (k,) readings of groups counts for in its mean.

    Args:
        turn: (k, 3, 3) rotations from geocentric axes to east, north, up at the reading that stands for the group.
        own: (k, 3, 3) covariances of the readings without their session's shift [m2].
        share: (k, 3, 3) by which each is multiplied; those of a group add up to one.
    """

    turn: Floats
    own: Floats
    share: Floats

    @classmethod
    def of(cls, readings: Readings, groups: Groups, solved: Solved) -> "_Weights":
        """Weigh by the covariances, which hold what the readings of one session have in common."""
        row, kept = groups.row, groups.kept
        turn = enu_rotation(readings.value("longitude")[kept], readings.value("latitude")[kept])
        own = np.zeros((len(row), 3, 3))
        add_covariance(own, readings.sigma[row], readings.correlated[row])
        whole = own + rotate_covariance(solved.shifts.covariance[readings.session[row]], turn)
        weight = np.linalg.inv(whole)
        return cls(turn, own, np.linalg.inv(np.add.reduceat(weight, groups.start))[groups.of] @ weight)


def _spread(off: Floats, start: Integers) -> Floats:
    """Return (g, 2) how far the readings (k, 3) of groups lie off their means at most, in plan and in height [m]."""
    plan = np.maximum.reduceat(np.hypot(off[:, 0], off[:, 1]), start)
    height = np.maximum.reduceat(np.abs(off[:, 2]), start)
    return np.column_stack([plan, height])


def _geographic(readings: Readings, row: Integers, kept: Integers, share: Floats, start: Integers) -> Floats:
    """Return (g, 3) what is added to longitude, latitude and ellipsoidal height of the readings kept."""
    geographic = readings.values[:, VALUES.index("longitude") : VALUES.index("ellipsoid_height") + 1]
    across = np.cos(np.radians(geographic[kept, 1])) * DEGREE
    scale = np.column_stack([across, np.full(len(row), DEGREE), np.ones(len(row))])
    off = geographic[row] - geographic[kept]
    off[:, 0] = (off[:, 0] + 180.0) % 360.0 - 180.0
    return np.asarray(np.add.reduceat(np.einsum("nij,nj->ni", share, off * scale), start) / scale[start])


def _of_shifts(readings: Readings, groups: Groups, share: Floats, turn: Floats, solved: Solved) -> Floats:
    """Return (g, 3, 3) what the uncertainty of the sessions' shifts, and what they have in common, gives the means."""
    row, start, of = groups.row, groups.start, groups.of
    session = readings.session[row]
    total = np.zeros((len(start), 3, 3))
    for step in range(int(np.diff(np.append(start, len(row))).max(initial=1))):
        one, other = np.arange(len(row) - step), np.arange(step, len(row))
        here = of[one] == of[other]
        one, other = one[here], other[here]
        between = turn[one] @ solved.shifts.common(session[one], session[other]) @ turn[one].transpose(0, 2, 1)
        part = share[one] @ between @ share[other].transpose(0, 2, 1)
        np.add.at(total, of[one], part if step == 0 else part + part.transpose(0, 2, 1))
    return total


def _uncertainty(covariance: Floats, places: Floats, survey: Survey) -> Floats:
    """Return (g, 2) 95 % radius and height uncertainty, with the geoid's and the localisation's parts."""
    covariance[:, 2, 2] += survey.operations.geoid_sigma**2
    site = survey.operations.site
    if site is not None:
        plan, height = site.uncertainty(places[:, 0], places[:, 1])
        covariance[:, :2, :2] += plan
        covariance[:, 2, 2] += height
    return np.column_stack([horizontal_95(covariance), vertical_95(np.sqrt(covariance[:, 2, 2]))])
