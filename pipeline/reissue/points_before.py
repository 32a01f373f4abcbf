"""The points of an issue as their exports had them: by name and time, without the shifts that the issue applied."""

from collections.abc import Sequence
from contextlib import closing
from functools import cached_property

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.clock import milliseconds_of, moment
from pipeline.duplicates import mixed_with, text_hashes
from pipeline.duplicates.exact import Hashes
from pipeline.intake.field_windows import FieldWindow, carriers
from pipeline.intake.survey import Survey
from pipeline.issue.geopackage.earlier_rows import read_batches
from pipeline.issue.record_types import Record
from pipeline.job.model import FieldShift
from pipeline.reissue.as_exported import COLUMNS, SAME, unshifted
from pipeline.reissue.earlier import Last
from pipeline.replace import replace
from pipeline.sessions.attach import base_key
from pipeline.solve.field_shifts import FieldReadings, TakenOut
from pipeline.tables import TIME

_SECOND = 1000
#: Points within millimetres of one X that are looked at: a whole line of a plan along it is none of a survey's.
_ABREAST = 1_000


def keys(named: Hashes, times: Integers) -> Hashes:
    """Return (n,) hashes of readings by the hashes of their names and their times to the second, UTC milliseconds."""
    return mixed_with(named, times // _SECOND)


class PointsBefore(Struct, frozen=True):
    """The (n,) points of an issue, by ascending ``key``.

    Points of which two have one name and time are left out, and so are means.

    Args:
        base: the record of the issue.
        names: what its sessions are called there.
        carried: the field shifts that it took out, by its sessions.
        key: hash of name and time.
        named: hash of the name.
        time: UTC milliseconds.
        session: index into ``names``.
        written: (n, 3) easting, northing, height as the grid writes them.
    """

    base: Record
    names: list[str]
    carried: tuple[TakenOut, ...]
    key: Hashes
    named: Hashes
    time: Integers
    session: Integers
    written: Floats

    @classmethod
    def of(cls, base: Last, survey: Survey) -> "PointsBefore":
        """Read them. Raises `Lost`."""
        names = [one["session"] for one in base.record["sessions"]]
        means = _of_means(base)
        parts = [(np.zeros(0, np.uint64), np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros((0, 3)))]
        with closing(read_batches(base.package, "points", COLUMNS)) as batches:
            for batch in batches:
                session = pa.compute.index_in(batch.column("session").cast(pa.string()), pa.array(names, pa.string()))
                numbers = np.asarray(pa.compute.fill_null(session, -1), np.int64)
                times = np.asarray(batch.column("observed").cast(TIME).cast(pa.int64()).fill_null(-1), np.int64)
                named, of = text_hashes(batch.column("name").cast(pa.string())), (numbers >= 0) & (times >= 0)
                if len(means):
                    of &= ~np.isin(named, means)
                written = np.column_stack([np.asarray(batch.column(axis), float) for axis in COLUMNS[-3:]])
                parts.append((named[of], times[of], numbers[of], written[of]))
        named, time, session_of, written = (np.concatenate(column) for column in zip(*parts, strict=True))
        key = keys(named, time)
        order = np.argsort(key, kind="stable")
        order = order[_alone(key[order])]
        carried = carried_in(base.record, names, survey)
        return cls(
            base.record, names, carried, key[order], named[order], time[order], session_of[order], written[order]
        )

    def find(self, key: Hashes) -> tuple[Integers, Integers]:
        """Return which of (m,) keys are of points, and which points these are."""
        if not len(self.key):
            return np.zeros(0, np.int64), np.zeros(0, np.int64)
        at = np.minimum(np.searchsorted(self.key, key), len(self.key) - 1)
        rows = np.flatnonzero(self.key[at] == key)
        return rows, at[rows]

    def free(self, points: Integers, survey: Survey) -> Floats:
        """Return (k, 3) where points lay in their exports, in the working frame, without what the field applied."""
        found = np.full((len(points), 3), np.nan)
        for number in np.unique(self.session[points]).tolist():
            rows = self.session[points] == number
            found[rows] = unshifted(self.base, self.names[number], self.written[points[rows]], survey)
        return found


class PlacesBefore:
    """Where the points of an issue lay in their exports, to know readings again whatever they are called by now."""

    def __init__(self, before: PointsBefore, survey: Survey) -> None:
        """Nothing is worked out until it is asked for."""
        self._before, self._survey = before, survey

    @cached_property
    def _along(self) -> tuple[Floats, Integers]:
        """(k, 3) places by ascending X, without those that nobody knows, and (k,) which points lie there."""
        free = self._before.free(np.arange(len(self._before.key)), self._survey)
        order = np.argsort(free[:, 0], kind="stable")
        order = order[np.isfinite(free[order]).all(axis=1)]
        return free[order], order

    def find(self, free: Floats) -> Integers:
        """Return (n,) which point lay where readings do, (n, 3) working frame, to the last digit; -1 for none."""
        places, points = self._along
        found = np.full(len(free), -1)
        first, behind = (np.searchsorted(places[:, 0], free[:, 0] + by) for by in (-SAME, SAME))
        left = np.flatnonzero(behind > first)
        for _ in range(_ABREAST):
            if not len(left):
                break
            here = np.linalg.norm(places[first[left]] - free[left], axis=1) <= SAME
            found[left[here]] = points[first[left[here]]]
            first[left] += 1
            left = left[~here & (first[left] < behind[left])]
        return found


def put_back(carried: Sequence[TakenOut], free: Floats, readings: FieldReadings, survey: Survey) -> Floats:
    """Return (n, 3) where readings lay in their exports, with the field shifts that an issue took out of them.

    Args:
        carried: those that it took out, from `carried_in`.
        free: (n, 3) where they lay without them, working frame.
        readings: as the issue had them, their sessions numbered as its own.
        survey: the job.
    """
    found = free.copy()
    for one in carried:
        if (due := one.carried(readings)).any():
            back = replace(one, geocentric=-one.geocentric, grid=-one.grid)
            found[due] = back.out_of(found[due], survey.operations.frames.to_issued)
    return found


def carried_in(issue: Record, names: Sequence[str], survey: Survey) -> tuple[TakenOut, ...]:
    """Return the field shifts that an issue took out, as its record has them, by the exports of now.

    ``names`` are those of its sessions, by which they are numbered.
    """
    bases, recorded = {one["session"]: one["base"] for one in issue["sessions"]}, survey.prepared.loaded.recorded
    found = []
    for position, one in enumerate(issue["field_shifts"]):
        if one["session"] not in bases:
            continue
        start, until = milliseconds_of(one["from"]), milliseconds_of(one["until"])
        in_grid = one["model"] == "grid"
        window = FieldWindow(
            session=names.index(one["session"]),
            name=one["session"],
            position=position,
            stated=FieldShift.model_construct(start=moment(start), until=moment(until)),
            start=start,
            until=until,
            base=base_key(one["base"]),
            own_base=base_key(bases[one["session"]]),
            exports=carriers(one["files"], survey.exports, recorded),
            where=("", 0),
        )
        xyz = np.array([one["shift_x"], one["shift_y"], one["shift_z"]], float)
        along = np.array([one["shift_east"], one["shift_north"], one["shift_up"]], float) * survey.axes.signs()
        none = np.zeros(3)
        found.append(TakenOut(window, none if in_grid else xyz, along if in_grid else none))
    return tuple(found)


def _alone(ordered: Hashes) -> Flags:
    """Return (n,) which of ascending keys differ from those next to them."""
    alone, differs = np.ones(len(ordered), bool), ordered[1:] != ordered[:-1]
    alone[1:] &= differs
    alone[:-1] &= differs
    return alone


def _of_means(base: Last) -> Hashes:
    """Return hashes of the names of points that may be means, which lie where no reading does."""
    if not base.record["repeats"]["means"]:
        return np.zeros(0, np.uint64)
    with closing(read_batches(base.package, "repeats", ("name",))) as batches:
        return np.concatenate(
            [np.zeros(0, np.uint64), *(text_hashes(one.column("name").cast(pa.string())) for one in batches)]
        )
