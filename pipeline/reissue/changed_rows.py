"""Compares the points of the previous issue with the second pass row by row."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers
from pipeline.clock import iso
from pipeline.draft.earlier_numbers import Reuse
from pipeline.draft.layer_rows import PROOF_WORDS, Carried
from pipeline.draft.second_pass import Drafted
from pipeline.intake.survey import Survey
from pipeline.issue.geopackage.content_sums import Content
from pipeline.issue.geopackage.layers import GEOMETRY, POINT_Z, points_schema, wkb_points
from pipeline.issue.geopackage.written_counts import Tally, Written
from pipeline.read.exports import Export
from pipeline.reissue.earlier import Last, Standing, called
from pipeline.reissue.earlier_points import EarlierPoints, Passing, Piece
from pipeline.reissue.fingerprint import ORIGIN, REGISTER, SESSION, differences, identity_of
from pipeline.solve.correct import VALUES

#: The numbers of a point, as the layer ``points`` has them.
_GRID = [VALUES.index(axis) for axis in ("easting", "northing", "height")]
#: Columns of ``points`` that may differ between two issues of the same raw files; the others come out of those as read.
REVISED = (*VALUES, "session", "proof", GEOMETRY)
#: Above this share of the points it is quicker to write the layer anew than to change its rows.
_MOST = 0.1


class ChangedRows:
    """The layer ``points`` of the previous issue, in the order of its rows, while the second pass comes past it.

    Args:
        last: that issue.
        standing: what of it stands as it was.
        points: its points.
        survey: the job.
    """

    def __init__(self, last: Last, standing: Standing, points: EarlierPoints, survey: Survey) -> None:
        self.last, self._standing, self._points, self._axes = last, standing, points, survey.axes
        names, self._shown = called(survey)
        self._names = pa.array(names, pa.string())
        self._passing, self._at, self.changed = Passing(points), 0, list[Integers]()
        self._was: Piece | None = None
        kinds = points_schema([])
        self._kinds = pa.schema([kinds.field(name) for name in REVISED])
        self._tally, self._content = Tally(POINT_Z), Content({field.name: field.type for field in self._kinds})

    def ready(self, batch: pa.RecordBatch, export: Export) -> Reuse | None:
        """Come to the points among a batch's readings, and return the numbers of those that no change reaches."""
        source_row = np.asarray(batch.column("source_row"), np.int64)
        self._was = self._passing.among(self._shown.index(export.shown), source_row)
        if self._was is None or export.shown not in self._standing.files:
            return None
        return Reuse(self._standing.sessions, {export.shown: self._was.rows()})

    def take(self, drafted: Drafted) -> tuple[Integers, Floats, NDArray[np.int8]] | None:
        """Hold a batch of the second pass against the points that `ready` came to for it.

        Returns (k,) which of the batch's readings are points that differ, (k, 3) where those were on the grid and (k,)
        the codes of the proof words that they had, or None where points came, went, or are too many to change.
        """
        rows, was = np.flatnonzero(drafted.points), self._was
        if was is None or not len(rows):
            return (rows, np.zeros((0, 3)), np.zeros(0, np.int8)) if was is None and not len(rows) else None
        if not np.array_equal(was.source_row, np.asarray(drafted.batch.column("source_row"), np.int64)[rows]):
            return None
        values = [getattr(drafted.corrected, name)[rows] for name in VALUES]
        session, proof = drafted.session[rows], drafted.proof[rows]
        other = (session != was.session) | (proof != was.proof)
        for now, then in zip(values, was.values.T, strict=True):
            other |= ~((now == then) | (np.isnan(now) & np.isnan(then)))
        differs = np.flatnonzero(other)
        self.changed.append(self._at + differs)
        self._at += len(rows)
        self._add(values, session, proof)
        if sum(map(len, self.changed)) > _MOST * self._points.rows:
            return None
        return rows[differs], was.values[differs][:, _GRID], was.proof[differs]

    @property
    def whole(self) -> bool:
        """Return whether the second pass has come to the last point."""
        return self._at == self._points.rows

    def fids(self) -> Integers:
        """Return (k,) the feature ids of the points that differ: a layer's rows are numbered from 1."""
        return np.concatenate([*self.changed, np.zeros(0, np.int64)]).astype(np.int64) + 1

    def written(self, crs: str, schema: pa.Schema) -> Written:
        """Return what the layer must contain now; sums of columns that cannot differ are those of the last issue."""
        (entry,) = [
            layer
            for file in self.last.record["files"]
            if file["name"] == self.last.package.name
            for layer in file["layers"]
            if layer["name"] == "points"
        ]
        sums: Mapping[str, Any] = entry["columns"] | self._content.sums()
        columns = tuple(name for name in schema.names if name != GEOMETRY)
        return self._tally.written("points", crs, columns, {name: sums[name] for name in schema.names})

    def _add(self, values: Sequence[Floats], session: NDArray[np.int32], proof: NDArray[np.uint8]) -> None:
        """Take in the columns that may differ, of all points of a batch as they are now."""
        columns = [*map(pa.array, values), self._names.take(pa.array(session)), PROOF_WORDS.take(pa.array(proof))]
        columns.append(wkb_points(*self._axes.geometry(*(values[axis] for axis in _GRID))))
        batch = pa.RecordBatch.from_arrays(columns, schema=self._kinds)
        self._tally.add(batch.column(GEOMETRY))
        self._content.add(batch)


def few_can_differ(last: Last, found: Standing, survey: Survey, sums: Mapping[str, str]) -> bool:
    """Say whether few points of the previous issue can differ, so that they are changed in a copy of its layer.

    Not where anything changed but the register and the sessions, where the GeoPackage is not byte for byte the one
    that was issued, and where many points lie in sessions that the change reaches.

    Args:
        last: the last issue.
        found: what of it stands as it was.
        survey: the job.
        sums: the new issue's identity.
    """
    told = differences(identity_of(last.record), sums)
    local = all(name in (REGISTER, ORIGIN) or name.startswith(SESSION) for name in told)
    same_date = last.record["data_to"] == iso(survey.data_to)  # a file bears it as its date
    if not local or not same_date or not last.untouched or survey.job.issue.by_code:
        return False
    if sorted(last.columns) != sorted(Carried.of(survey).schema.names):  # the copy has the last issue's names
        return False
    if len(survey.measured_twice) or last.record["repeats"]["names"]:  # names and means may change
        return False
    standing, points = found.names(survey), last.record["rows"]["points"]
    reached = sum(row["points"] for row in last.record["sessions"] if row["session"] not in standing)
    return bool(points) and reached <= _MOST * points
