"""The points of the issue before, held against the second pass row by row: which of them are not as they were."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow as pa

from pipeline.arrays import Floats, Integers
from pipeline.clock import iso
from pipeline.draft.second_pass import Drafted
from pipeline.draft.taken_over import Reuse
from pipeline.geodesy.axes import Axes
from pipeline.intake.survey import Survey
from pipeline.issue.geopackage.content import Content
from pipeline.issue.geopackage.layers import GEOMETRY, POINT_Z, wkb_points
from pipeline.issue.geopackage.tally import Tally, Written
from pipeline.reissue.earlier import Last, position
from pipeline.reissue.fingerprint import ORIGIN, REGISTER, SESSION, differences, identity_of
from pipeline.solve.correct import VALUES
from pipeline.solve.proof import PROOFS

#: The numbers of a point, as the layer ``points`` has them.
_GRID = [VALUES.index(axis) for axis in ("easting", "northing", "height")]
#: Columns of ``points`` that may differ between two issues of the same raw files; the others come out of those as read.
REVISED = (*VALUES, "session", "proof", GEOMETRY)
#: Above this share of the points it is quicker to write the layer anew than to change its rows.
_MOST = 0.1
_PIECE = 65_536


@dataclass
class ChangedRows:
    """The layer ``points`` of the issue before, in the order of its rows, (n,) of them.

    Args:
        last: that issue.
        names: of the sessions, now.
        shown: of the raw files.
        file: index of each point's raw file, -1 for none of them.
        source_row: its row there.
        session: index of its session now, -1 where that is gone.
        proof: code of its proof word.
        values: (n, 8) its numbers.
        axes: how the grid writes coordinates.
        at: how many points the second pass has come to.
        changed: rows that differ, batch by batch.
    """

    last: Last
    names: tuple[str, ...]
    shown: tuple[str, ...]
    file: Integers
    source_row: Integers
    session: Integers
    proof: Integers
    values: Floats
    axes: Axes
    at: int = 0
    changed: list[Integers] = field(default_factory=list)

    def take(self, drafted: Drafted) -> tuple[Integers, Floats] | None:
        """Hold a batch of the second pass against the rows, and take over what differs.

        Returns (k,) which of the batch's readings are points that differ and (k, 3) where those were on the grid, or
        None where points came, went, or are too many to change.
        """
        rows = np.flatnonzero(drafted.points)
        here = slice(self.at, self.at + len(rows))
        if here.stop > len(self.source_row):
            return None
        source_row = np.asarray(drafted.batch.column("source_row"), np.int64)[rows]
        if (self.file[here] != self.shown.index(drafted.export.shown)).any():
            return None
        if (self.source_row[here] != source_row).any():
            return None
        values = np.column_stack([getattr(drafted.corrected, name)[rows] for name in VALUES])
        session, proof = drafted.session[rows].astype(np.int64), drafted.proof[rows].astype(np.int64)
        same = (values == self.values[here]) | (np.isnan(values) & np.isnan(self.values[here]))
        differs = ~same.all(axis=1) | (session != self.session[here]) | (proof != self.proof[here])
        was = self.values[here][np.ix_(differs, _GRID)]
        self.values[here], self.session[here], self.proof[here] = values, session, proof
        self.changed.append(self.at + np.flatnonzero(differs))
        self.at = here.stop
        return None if sum(map(len, self.changed)) > _MOST * len(self.source_row) else (rows[differs], was)

    @property
    def whole(self) -> bool:
        """Return whether the second pass has come to the last point."""
        return self.at == len(self.source_row)

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
        tally, content = Tally(POINT_Z), Content({name: schema.field(name).type for name in REVISED})
        for batch in self._pieces(schema):
            tally.add(batch.column(GEOMETRY))
            content.add(batch)
        sums: Mapping[str, Any] = entry["columns"] | content.sums()
        columns = tuple(name for name in schema.names if name != GEOMETRY)
        return tally.written("points", crs, columns, {name: sums[name] for name in schema.names})

    def _pieces(self, schema: pa.Schema) -> Iterator[pa.RecordBatch]:
        """Yield the columns that may differ, of all points as they are now."""
        names, words = pa.array(self.names, pa.string()), pa.array([str(proof) for proof in PROOFS])
        kinds = pa.schema([schema.field(name) for name in REVISED])
        for start in range(0, len(self.source_row), _PIECE):
            here = slice(start, start + _PIECE)
            values = self.values[here]
            columns = [pa.array(np.ascontiguousarray(values[:, axis])) for axis in range(len(VALUES))]
            columns += [names.take(pa.array(self.session[here])), words.take(pa.array(self.proof[here]))]
            columns.append(wkb_points(*self.axes.geometry(*values[:, _GRID].T)))
            yield pa.RecordBatch.from_arrays(columns, schema=kinds)


def changed_rows(
    last: Last, points: pa.Table, reused: Reuse, survey: Survey, sums: Mapping[str, str]
) -> ChangedRows | None:
    """Return the points of the issue before, where few of them can differ; None where the layer is written anew.

    That is so where anything changed but the register and the sessions, where the GeoPackage is not byte for byte the
    one that was issued, and where many points lie in sessions that the change reaches.

    Args:
        last: the last issue.
        points: its points.
        reused: what can be taken over of its numbers.
        survey: the job.
        sums: the new issue's identity.
    """
    told = differences(identity_of(last.record), sums)
    local = all(name in (REGISTER, ORIGIN) or name.startswith(SESSION) for name in told)
    same_date = last.record["data_to"] == iso(survey.data_to)  # a file bears it as its date
    if not local or not same_date or not last.untouched or survey.job.issue.by_code:
        return None
    if len(survey.first_pass.same_names.measured) or last.record["repeats"]["names"]:  # names and means may change
        return None
    names = tuple(window.session.name for window in survey.windows)
    shown = tuple(dict.fromkeys(export.shown for export in survey.exports))
    session = position(points, "session", names)
    reached = (session < 0) | ~reused.sessions[session]
    if not len(session) or reached.mean() > _MOST:
        return None
    return ChangedRows(
        last,
        names,
        shown,
        position(points, "source_file", shown),
        np.asarray(points.column("source_row"), np.int64),
        session,
        position(points, "proof", [str(proof) for proof in PROOFS]),
        np.column_stack([np.asarray(points.column(name), np.float64) for name in VALUES]),
        survey.axes,
    )
