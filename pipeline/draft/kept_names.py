"""Chooses which reading of a point measured twice keeps its name, also where one of them is held back.

A point is one point whether the reading that gave way is held back as duplicate or for itself: it keeps its name. So it
does when that reading is released, which gives way then or is issued in its place.
"""

import numpy as np

from pipeline.arrays import Floats, Integers
from pipeline.draft.grouped import Groups
from pipeline.draft.merged_readings import MergedReadings
from pipeline.draft.repeat_pairs import BEFORE
from pipeline.draft.repeat_readings import Readings
from pipeline.intake.same_names import SameNames
from pipeline.replace import replace
from pipeline.sphere import DEGREE


def with_kept_names(merged: MergedReadings, readings: Readings, groups: Groups) -> MergedReadings:
    """Say which readings count where names are told apart.

    Args:
        merged: what is issued of points measured twice.
        readings: their readings.
        groups: those of each point, also those that are held back, as they would be joined were they not.
    """
    issued = readings.drafted & ~np.isin(readings.number, merged.gone)
    row, kept = groups.row, groups.kept
    last = np.full(len(groups.start), -1)
    np.maximum.at(last, groups.of, np.where(issued[row], np.arange(len(row)), -1))
    there = np.flatnonzero(last >= 0)
    now, then = row[last[there]], kept[groups.start[there]]
    instead = (now != then) & (readings.name[now] == readings.name[then])
    aside = (row != kept) & ~issued[row]
    return replace(
        merged,
        aside=np.sort(readings.number[row[aside]]),
        stands=np.column_stack([readings.number[now[instead]], readings.number[then[instead]]]),
    )


def without_unplaced(
    merged: MergedReadings, readings: Readings, same: SameNames, known: Integers, reach: float
) -> MergedReadings:
    """Leave out as well what has no place, as of an untied session, where a point of its name is issued near it.

    Args:
        merged: what is issued of points measured twice, with names.
        readings: their readings that have places.
        same: all readings whose names others have.
        known: (k,) numbers of those that are occupations of marks.
        reach: metres that another session may have the point apart, as exported.
    """
    issued = np.setdiff1d(readings.number[readings.drafted], merged.gone)
    placed = np.union1d(readings.number, known)
    lost, there = np.flatnonzero(~np.isin(same.number, placed)), np.flatnonzero(np.isin(same.number, issued))
    first, last = (np.searchsorted(same.name[there], same.name[lost], side=side) for side in ("left", "right"))
    count = np.where(last - first <= BEFORE, last - first, 0)  # a name of more things than that names no point
    of = np.repeat(np.arange(len(lost)), count)
    other = there[np.repeat(first, count) + np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)]
    near = (same.session[other] != same.session[lost[of]]) & (_apart(same, lost[of], other) <= reach)
    return replace(merged, aside=np.union1d(merged.aside, same.number[lost[of[near]]]))


def _apart(same: SameNames, one: Integers, other: Integers) -> Floats:
    """Return (k,) metres in plan between readings as exported."""
    east = (same.longitude[other] - same.longitude[one] + 180.0) % 360.0 - 180.0
    north = same.latitude[other] - same.latitude[one]
    apart: Floats = DEGREE * np.hypot(east * np.cos(np.radians(same.latitude[one])), north)
    return apart
