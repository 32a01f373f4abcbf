"""What drafters get of a point measured twice: its last reading, or the mean of those that agree."""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.draft.grouped import Groups, grouped
from pipeline.draft.kept_names import with_kept_names, without_unplaced
from pipeline.draft.merged_readings import MergedReadings
from pipeline.draft.repeat_pairs import Pairs, Repeated, find_pairs
from pipeline.draft.repeat_readings import Readings, collected_again
from pipeline.draft.second_pass import Drafter
from pipeline.geodesy.frames import enu_rotation, rotate_covariance
from pipeline.geodesy.uncertainty import add_covariance, horizontal_95, vertical_95
from pipeline.intake.survey import Survey
from pipeline.replace import replace
from pipeline.solve.correct import VALUES
from pipeline.solve.proof import LESS_PROVEN
from pipeline.solve.solve import Solved
from pipeline.sphere import DEGREE
from pipeline.words import counted

#: Metres in plan and in height beyond which no reading is another of the same point, whatever its name: what is wrong
#: with one of them no surveyor meant to replace by the other. Ours, no source.
_REPLACED = 3.0


class Settled(Struct, frozen=True):
    """The second pass with what is issued of points measured twice.

    ``repeated`` are those points' readings, where they had to be known before; None where they are gathered on the way.
    """

    drafter: Drafter
    repeated: Repeated | None = None


def settle(survey: Survey, solved: Solved) -> Settled:
    """Return the second pass; where not every reading of a point is issued, those measured twice are read before."""
    drafter = Drafter(survey, solved)
    if survey.job.issue.repeats == "all" or not len(survey.measured_twice):
        return Settled(drafter)
    readings = collected_again(drafter)
    found = Repeated(readings, find_pairs(readings, survey, solved))
    return Settled(replace(drafter, merged=merged(found.readings, found.pairs, survey, solved)), found)


def merged(readings: Readings, pairs: Pairs, survey: Survey, solved: Solved) -> MergedReadings:
    """Return which readings give way, to which, and the numbers of those that stand for several.

    Only points are merged: what is held back gives way to nothing, and nothing to it. Readings that do not agree are
    not put into a mean; the later stands for the earlier where both have one name and are no other point's.
    """
    mean = survey.job.issue.repeats == "mean"
    drafted = readings.drafted[pairs.first] & readings.drafted[pairs.second]
    one = pairs.passed | _again(readings, pairs)
    joined = drafted & (pairs.passed if mean else one)
    groups = grouped(readings, pairs, joined)
    gone = groups.row != groups.kept
    order = np.argsort(readings.number[groups.row[gone]])
    rows, kept = groups.row[gone][order], groups.kept[gone][order]
    found = MergedReadings(
        gone=readings.number[rows],
        by=readings.number[kept],
        instead=[_where(readings, row, survey) for row in kept.tolist()],
        why=["replaced by its last reading"] * len(rows),
    )
    found = with_kept_names(found, readings, grouped(readings, pairs, np.where(drafted, joined, one)))
    reach = _REPLACED + survey.job.shift.limit_horizontal
    found = without_unplaced(found, readings, survey.first_pass.same_names, solved.not_points, reach)
    if not mean or not len(groups.row):
        return found
    return _with_means(found, readings, groups, (rows, kept), survey, solved)


def _again(readings: Readings, pairs: Pairs) -> Flags:
    """Return (p,) which pairs may be one point measured again, on another day, because its first reading was wrong.

    Within a session things that stand close to one another may share a name: two posts, the steps of a stair.
    """
    one = (readings.name[pairs.first] == readings.name[pairs.second]) & (readings.name[pairs.first] >= 0)
    one &= readings.session[pairs.first] != readings.session[pairs.second]
    return np.asarray(one & (pairs.horizontal <= _REPLACED) & (np.abs(pairs.apart[:, 2]) <= _REPLACED))


def _where(readings: Readings, row: int, survey: Survey) -> str:
    export = survey.exports[int(readings.export[row])]
    return f"{readings.label[row].as_py() or 'without a name'} ({export.shown}:{readings.source_row[row]})"


def _with_means(
    found: MergedReadings,
    readings: Readings,
    groups: Groups,
    gone: tuple[Integers, Integers],
    survey: Survey,
    solved: Solved,
) -> MergedReadings:
    """Add the means: weighted by the covariances, which hold what the readings of one session have in common."""
    row, kept, start, of = groups.row, groups.kept, groups.start, groups.of
    turn = enu_rotation(readings.value("longitude")[kept], readings.value("latitude")[kept])
    own = np.zeros((len(row), 3, 3))
    add_covariance(own, readings.sigma[row], readings.correlated[row])
    whole = own + rotate_covariance(solved.shifts.covariance[readings.session[row]], turn)
    weight = np.linalg.inv(whole)
    share = np.linalg.inv(np.add.reduceat(weight, start))[of] @ weight
    counts = np.array(survey.axes.counts())
    places = readings.metres(counts.tolist())
    off = places[row] - places[kept]
    moved = np.add.reduceat(np.einsum("nij,nj->ni", share, off), start)
    stands = kept[start]
    values = readings.values[stands].copy()
    values[:, :3] += moved / counts
    values[:, 3:6] += _geographic(readings, row, kept, share, start)
    spread = off - moved[of]
    plan = np.maximum.reduceat(np.hypot(spread[:, 0], spread[:, 1]), start)
    height = np.maximum.reduceat(np.abs(spread[:, 2]), start)
    covariance = np.add.reduceat(share @ own @ share.transpose(0, 2, 1), start)
    covariance += _of_shifts(readings, groups, share, turn, solved)
    values[:, 6:8] = _uncertainty(covariance, places[stands] + moved, survey)
    proof = LESS_PROVEN[np.maximum.reduceat(LESS_PROVEN[readings.proof[row]], start)]
    order = np.argsort(readings.number[stands])
    at = np.empty(len(readings.number), np.int64)
    at[stands] = np.arange(len(stands))
    size = np.diff(np.append(start, len(row)))
    why = [
        f"in the mean of {counted(int(size[n]), 'reading')}, {plan[n]:.3f} m in plan and {height[n]:.3f} m in height"
        " from it at most, issued as"
        for n in at[gone[1]].tolist()
    ]
    return replace(
        found,
        why=why,
        number=readings.number[stands][order],
        values=values[order],
        proof=proof[order].astype(np.uint8),
        spread=np.column_stack([plan, height])[order],
    )


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
