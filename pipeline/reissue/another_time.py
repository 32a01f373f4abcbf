"""Finds the reading of an occupation again where its time is another now, as where a clock or a date was put right.

Whatever had its time corrected, the job, a session, one export or one row: it is the same reading where the same name
stands with the same raw position, or where all checks of its session or of its export moved with it by one step. A mark
that was occupied anew under the old name is neither.
"""

from collections.abc import Callable, Iterable
from contextlib import closing
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Flags, Floats, Integers
from pipeline.clock import milliseconds_of
from pipeline.geodesy.transform import Operation
from pipeline.intake.survey import Survey
from pipeline.issue.geopackage.earlier_rows import Lost, read_batches
from pipeline.issue.record_types import Record
from pipeline.issue.row_types import CheckRow
from pipeline.reissue.earlier import Last, another_frame
from pipeline.reissue.occupied import ALIKE, EarlierOccupation
from pipeline.tables import TIME
from pipeline.words import Role

#: Gives an issue by its number, None where it cannot be read.
Issues = Callable[[int], Last | None]

#: Metres that a raw position may differ from itself: an export may come again with coordinates to the millimetre.
#: Two readings of one mark are further apart, but for one pair in a hundred.
_SAME = 0.002
#: Columns of `_held_back`.
_COLUMNS = ("name", "observed", "session", "easting", "northing", "height")


class _Stood(NamedTuple):
    """How a reading stood in an issue: its session, and its place as the grid writes it."""

    session: str
    easting: float | None
    northing: float | None
    height: float | None


class AnotherTime:
    """The readings of a job, in which occupations of issues before are sought that are not there at their own time."""

    def __init__(self, last: Record, survey: Survey, issue: Issues) -> None:
        """Look at ``last``, which tells of the occupations, and at ``survey``; ``issue`` gives issues."""
        self._survey, self._issue = survey, issue
        self._last = last
        self._rows = dict[str, list[int]]()
        for at, name in enumerate(survey.candidates.names):
            self._rows.setdefault(name or "", []).append(at)
        self._export = np.asarray(survey.candidates.table.column("export"), np.int64)
        self._had = [(one["session"], str(one["point"]), milliseconds_of(str(one["observed"])))
                     for one in last["checks"] if _told(one)]  # fmt: skip

    def seen(self, every: Iterable[EarlierOccupation]) -> list[EarlierOccupation]:
        """Return occupations; those that failed with the ``others``, the times at which they stand now instead."""
        return [replace(one, others=self._times(one)) if one.failed else one for one in every]

    def _times(self, one: EarlierOccupation) -> tuple[int, ...]:
        time = self._survey.candidates.time
        rows = self._named(one.point)
        if not len(rows) or (np.abs(time[rows] - one.time) <= ALIKE).any():
            return ()
        issue, stood = (self._last, _stood(one.row)) if one.row is not None else self._told_of(one)
        same = _lies_at(self._survey.candidates.raw[rows], _raw(issue, stood, self._survey))
        windows = self._survey.windows
        sessions = {windows[at].session.name for at in one.sessions} if stood is None else {stood.session}
        found = [at for at, is_it in zip(rows.tolist(), same.tolist(), strict=True)
                 if is_it or self._in_step(one, at, sessions)]  # fmt: skip
        return tuple(dict.fromkeys(time[found].tolist()))

    def _told_of(self, one: EarlierOccupation) -> tuple[Record, _Stood | None]:
        """Return the issue that had one that was only told of, and how it stood there; None where nobody knows."""
        issue = self._issue(one.issue)
        for record in (self._last,) if issue is None else (issue.record, self._last):
            if (row := _row(record, one)) is not None:
                return record, _stood(row)
        if issue is not None and (held := _held_back(issue, one)) is not None:
            return issue.record, held
        return self._last, None

    def _in_step(self, one: EarlierOccupation, at: int, sessions: set[str]) -> bool:
        """Tell whether all else that was observed on marks in the session, or in the export, moved as one reading."""
        step = int(self._survey.candidates.time[at]) - one.time
        if any(name == one.point and abs(time - one.time - step) <= ALIKE for _, name, time in self._had):
            return False  # that reading was another occupation already
        others = [had for had in self._had if had[1] != one.point or abs(had[2] - one.time) > ALIKE]
        own = self._export == self._export[at]
        everywhere = np.ones(len(own), bool)
        of_session = [had[1:] for had in others if had[0] in sessions and self._stands(had[1], everywhere)]
        of_export = [
            had[1:] for had in others if self._stands(had[1], own) and not self._stands(had[1], ~own, had[2])
        ]  # fmt: skip
        return self._moved(of_session, step, everywhere) or self._moved(of_export, step, own)

    def _moved(self, others: list[tuple[str, int]], step: int, among: Flags) -> bool:
        return bool(others) and all(
            self._stands(name, among, time + step) and not self._stands(name, among, time) for name, time in others
        )

    def _stands(self, name: str, among: Flags, time: int | None = None) -> bool:
        """Tell whether one of some readings has a name, at a time if that is given."""
        named = self._named(name)
        named = named[among[named]]
        return bool(len(named) if time is None else (np.abs(self._survey.candidates.time[named] - time) <= ALIKE).any())

    def _named(self, name: str) -> Integers:
        return np.array(self._rows.get(name, []), np.int64)


def _told(row: CheckRow) -> bool:
    return row["role"] != Role.NOTED and None not in (row["observed"], row["point"])


def _row(issue: Record, one: EarlierOccupation) -> CheckRow | None:
    """Return the row that an occupation had in the issue that it failed in, None where that is not known."""
    same = [row for row in issue["checks"] if _told(row) and (row["point"], row["mark"]) == (one.point, one.mark)]
    near = [row for row in same if abs(milliseconds_of(str(row["observed"])) - one.time) <= ALIKE]
    if near or len(same) == 1:  # its time may have been another in the issue that it failed in
        return (near or same)[0]
    return None


def _stood(row: CheckRow) -> _Stood:
    return _Stood(row["session"], row["easting"], row["northing"], row["height"])


def _held_back(issue: Last, one: EarlierOccupation) -> _Stood | None:
    """Return how a reading that seemed to be a check, and was held back, stood in the issue that told of it first."""
    same = list[tuple[int, _Stood]]()
    try:
        with closing(read_batches(issue.package, "held_back", _COLUMNS)) as batches:
            for batch in batches:
                chosen = pa.Table.from_batches([batch]).filter(pc.equal(batch.column("name"), one.point))
                of = [chosen.column(name).to_pylist() for name in _Stood._fields]
                times = chosen.column("observed").cast(TIME).cast(pa.int64()).to_pylist()
                same += [(time, _Stood(*stood)) for time, *stood in zip(times, *of, strict=True)]
    except Lost:
        return None
    near = [stood for time, stood in same if abs(time - one.time) <= ALIKE]
    if near or len(same) == 1:
        return near[0] if near else same[0][1]
    return None


def _raw(issue: Record, stood: _Stood | None, survey: Survey) -> Floats:
    """Return (k, 3) where a reading may have lain in its export, in the working frame; none where it is not known.

    That is where it was issued without its session's shift, and with the shift of the field that it may have carried.
    """
    sessions = [] if stood is None else [one for one in issue["sessions"] if one["session"] == stood.session]
    if stood is None or not sessions or another_frame(issue, survey.target) is not None:
        return np.zeros((0, 3))
    session = sessions[0]
    place = np.array([stood[1:]], float)
    then, now = issue["target"]["site"], survey.target["site"]
    metres = np.column_stack(survey.axes.metres(*place.T))
    if then is not None and now is not None and then["definition"] != now["definition"]:
        between = f"proj=pipeline step inv {then['definition']} step {now['definition']}"
        fitted = Operation("from site to site", "two fits of one site", between, 0.0)
        metres = np.column_stack(fitted.forward(*metres.T))
    geocentric = np.array([session["shift_x"], session["shift_y"], session["shift_z"]], float)
    if np.isfinite(geocentric).all():
        raw = np.column_stack(survey.operations.frames.to_issued.inverse(*metres.T)) - geocentric
    else:  # the shift is one of the grid
        on_grid = np.array([session["shift_east"], session["shift_north"], session["shift_up"]], float)
        raw = np.column_stack(survey.operations.frames.to_issued.inverse(*(metres - on_grid).T))
    taken = [[one["shift_x"], one["shift_y"], one["shift_z"]] for one in issue["field_shifts"]
             if one["session"] == stood.session]  # fmt: skip
    raw = np.vstack([raw, raw + np.array(taken, float)]) if taken else raw
    return np.asarray(raw[np.isfinite(raw).all(axis=1)])


def _lies_at(raw: Floats, places: Floats) -> Flags:
    """Return (n,) which of (n, 3) raw positions are one of (k, 3) places."""
    return np.asarray((np.linalg.norm(raw[:, None] - places[None], axis=2) <= _SAME).any(axis=1))
