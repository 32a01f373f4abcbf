"""What drafters get of a point measured twice: its last reading, or the mean of those that agree."""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.draft.grouped import Groups, grouped
from pipeline.draft.kept_names import with_kept_names, without_unplaced
from pipeline.draft.merged_readings import MergedReadings
from pipeline.draft.repeat_pairs import Pairs, Repeated, find_pairs
from pipeline.draft.repeat_readings import Readings, collected_again
from pipeline.draft.second_pass import Drafter
from pipeline.draft.weighted_means import weighted_means
from pipeline.intake.survey import Survey
from pipeline.replace import replace
from pipeline.solve.solve import Solved

#: Metres in plan and in height beyond which no reading is another of the same point, whatever its name: what is wrong
#: with one of them no surveyor meant to replace by the other. Ours, no source.
REPLACED = 3.0


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
    reach = REPLACED + survey.job.shift.limit_horizontal
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
    return np.asarray(one & (pairs.horizontal <= REPLACED) & (np.abs(pairs.apart[:, 2]) <= REPLACED))


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
    """Add the means to what gives way: ``gone`` are the rows that do, and those that each gives way to."""
    means = weighted_means(readings, groups, survey, solved)
    order = np.argsort(readings.number[means.stands])
    at = np.empty(len(readings.number), np.int64)
    at[means.stands] = np.arange(len(means.stands))
    return replace(
        found,
        why=[means.why(n) for n in at[gone[1]].tolist()],
        number=readings.number[means.stands][order],
        values=means.values[order],
        proof=means.proof[order].astype(np.uint8),
        spread=means.spread[order],
    )
