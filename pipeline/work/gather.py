"""The first pass over the exports: occupations picked out, extents, times and repeated rows noted. Little is kept."""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.correct import milliseconds, raw_positions
from pipeline.duplicates import observation_hashes, repeated
from pipeline.geodesy.area import Area
from pipeline.geodesy.operations import lonlat
from pipeline.occupations import Wanted
from pipeline.read.files import Export, read_batches
from pipeline.tables import TIME
from pipeline.words import Reason, reason_code
from pipeline.work.base_log import BaseLog, BaseLogs
from pipeline.work.prepare import Prepared
from pipeline.work.sift import Sieve

#: Called with a stage, rows done and rows in all (0 where not known yet).
Progress = Callable[[str, int, int], None]

#: Degrees around an occupation within which readings belong to the job's area. No base reaches further; a reading
#: at 0, 0 must not stretch the area over half the world.
_REACH = 2.0


@dataclass(frozen=True)
class Gathered:
    """What the first pass keeps.

    Args:
        rows: rows of each export.
        candidates: readings that may be occupations, with ``session``, ``number`` (row of the whole job, counted
            from 0) and ``export``; ``held`` says what is wrong with one.
        repeats: (k,) numbers of the rows that repeat an earlier one, ascending; ``repeated`` the row that each repeats
            and ``repeated_row`` that row's number in its file.
        first_point, last_point: (S,) UTC milliseconds of each session's first and last acceptable reading that is
            no candidate; first is greater than last where there is none.
        place: (S, 3) raw position of each session's first sound reading, NaN where none; ``place_block`` its block.
        blocks: (S, B) whether a session has acceptable readings of a ``[[points]]`` block.
        newest: UTC milliseconds of the newest reading, or None.
        area: extent of the job.
        log: what the exports say of the bases.
    """

    rows: tuple[int, ...]
    candidates: pa.Table
    repeats: NDArray[np.int64]
    repeated: NDArray[np.int64]
    repeated_row: NDArray[np.int64]
    first_point: NDArray[np.int64]
    last_point: NDArray[np.int64]
    place: NDArray[np.float64]
    place_block: NDArray[np.int64]
    blocks: NDArray[np.bool_]
    newest: int | None
    area: Area | None
    log: BaseLog


@dataclass
class _Cells:
    """Extents of readings per whole degree of longitude and latitude, for finding the job's area in the end."""

    found: dict[int, list[float]] = field(default_factory=dict)

    def add(self, longitude: NDArray[np.float64], latitude: NDArray[np.float64]) -> None:
        known = np.isfinite(longitude) & np.isfinite(latitude)
        longitude, latitude = longitude[known], latitude[known]
        keys = np.floor(longitude).astype(np.int64) * 1000 + np.floor(latitude).astype(np.int64)
        for key in np.unique(keys).tolist():
            lon, lat = longitude[keys == key], latitude[keys == key]
            cell = self.found.setdefault(key, [np.inf, np.inf, -np.inf, -np.inf, 0])
            cell[0], cell[1] = min(cell[0], lon.min()), min(cell[1], lat.min())
            cell[2], cell[3] = max(cell[2], lon.max()), max(cell[3], lat.max())
            cell[4] += len(lon)

    def area(self, anchors: "_Cells") -> Area | None:
        """Return the extent of the cells near an anchor's; without anchors, near the fullest cell."""
        if not self.found:
            return None
        centres = [cell[:4] for cell in anchors.found.values()]
        if not centres:
            centres = [max(self.found.values(), key=lambda cell: cell[4])[:4]]
        near = [
            cell
            for cell in self.found.values()
            if any(
                cell[0] <= east + _REACH and cell[2] >= west - _REACH
                and cell[1] <= north + _REACH and cell[3] >= south - _REACH
                for west, south, east, north in centres
            )
        ]
        corners = np.array(near)
        return Area.of(corners[:, [0, 2]].ravel(), corners[:, [1, 3]].ravel())


def gather(prepared: Prepared, sieve: Sieve, progress: Progress | None = None) -> Gathered:
    """Read every export once and keep what the adjustment and the choice of operations need."""
    return _Gatherer(prepared, sieve, progress).run()


class _Gatherer:
    """State of the first pass."""

    def __init__(self, prepared: Prepared, sieve: Sieve, progress: Progress | None) -> None:
        self.progress = progress
        self.prepared = prepared
        self.sieve = sieve
        sessions = [window.session for window in prepared.windows]
        names = [occupation.point for session in sessions for occupation in session.ties + session.checks]
        marks = prepared.register.names if prepared.register is not None else ()
        self.wanted = Wanted.of(names, prepared.loaded.job.checks.codes, marks)
        count = len(sessions)
        self.first = np.full(count, np.iinfo(np.int64).max)
        self.last = np.full(count, np.iinfo(np.int64).min)
        self.place = np.full((count, 3), np.nan)
        self.place_block = np.zeros(count, np.int64)
        self.blocks = np.zeros((count, len(prepared.loaded.job.points)), bool)
        self.newest: int | None = None
        self.cells, self.anchors = _Cells(), _Cells()
        self.logs = BaseLogs(prepared.windows)
        self.picked: list[pa.RecordBatch] = []
        self.hashes: list[NDArray[np.uint64]] = []
        self.whole: list[NDArray[np.bool_]] = []
        self.source_rows: list[NDArray[np.int64]] = []

    def run(self) -> Gathered:
        """Read everything and sum it up."""
        rows = tuple(self._read(number, export) for number, export in enumerate(self.prepared.exports))
        again, first = repeated(
            np.concatenate(self.hashes or [np.zeros(0, np.uint64)]), np.concatenate(self.whole or [np.zeros(0, bool)])
        )
        return Gathered(
            rows=rows,
            candidates=self._candidates(again),
            repeats=again,
            repeated=first,
            repeated_row=np.concatenate(self.source_rows or [first])[first],
            first_point=self.first,
            last_point=self.last,
            place=self.place,
            place_block=self.place_block,
            blocks=self.blocks,
            newest=self.newest,
            area=self.cells.area(self.anchors),
            log=self.logs.log(),
        )

    def _read(self, number: int, export: Export) -> int:
        done = sum(map(len, self.hashes))
        rows = 0
        for batch in read_batches(export):
            self._take(batch, number, export, done + rows)
            rows += batch.num_rows
            if self.progress:
                self.progress("reading", done + rows, 0)
        return rows

    def _take(self, batch: pa.RecordBatch, number: int, export: Export, start: int) -> None:
        readable = np.asarray(batch.column("held").to_numpy(zero_copy_only=False)) == 0
        self.hashes.append(observation_hashes(batch))
        self.whole.append(readable)
        self.source_rows.append(np.asarray(batch.column("source_row"), np.int64))
        sifted = self.sieve.sift(batch, None, export.points.columns.solution is not None)
        sound = sifted.held == 0
        candidate = self.wanted.among(batch)
        time = milliseconds(batch)
        self._note_times(time, sifted.session, sound & ~candidate)
        self._note_places(batch, sifted.session, sound, export.block)
        self.logs.take(batch, number, export, sifted)
        positions = [values[sound] for values in raw_positions(batch)]
        if sound.any():
            longitude, latitude = lonlat(export.points.crs or "", *positions)
            self.cells.add(longitude, latitude)
            self.anchors.add(longitude[candidate[sound]], latitude[candidate[sound]])
            self.newest = max(int(time[sound].max()), self.newest or 0)
        if candidate.any():
            self._pick(batch, candidate, sifted.session, sifted.held, number, start)

    def _pick(
        self,
        batch: pa.RecordBatch,
        candidate: NDArray[np.bool_],
        session: NDArray[np.int32],
        held: NDArray[np.uint8],
        export: int,
        start: int,
    ) -> None:
        rows = np.flatnonzero(candidate)
        kept = batch.select([name for name in _CANDIDATE.names if name in batch.schema.names]).take(pa.array(rows))
        arrays = {name: kept.column(name) for name in kept.schema.names}
        arrays["held"] = pa.array(held[rows], pa.uint8())
        arrays["session"] = pa.array(session[rows], pa.int32())
        arrays["number"] = pa.array(rows + start, pa.int64())
        arrays["export"] = pa.array(np.full(len(rows), export), pa.int64())
        self.picked.append(pa.RecordBatch.from_arrays([arrays[name] for name in _CANDIDATE.names], schema=_CANDIDATE))

    def _candidates(self, again: NDArray[np.int64]) -> pa.Table:
        """Return the candidates; the repeated ones are marked as such, so that none counts twice."""
        table = pa.Table.from_batches(self.picked, _CANDIDATE)
        held = table.column("held").to_numpy().copy()
        held[np.isin(table.column("number").to_numpy(), again) & (held == 0)] = reason_code(Reason.DUPLICATE)
        return table.set_column(table.schema.get_field_index("held"), "held", pa.array(held, pa.uint8()))

    def _note_times(self, time: NDArray[np.int64], session: NDArray[np.int32], which: NDArray[np.bool_]) -> None:
        np.minimum.at(self.first, session[which], time[which])
        np.maximum.at(self.last, session[which], time[which])

    def _note_places(
        self, batch: pa.RecordBatch, session: NDArray[np.int32], sound: NDArray[np.bool_], block: int
    ) -> None:
        rows = np.flatnonzero(sound)
        self.blocks[session[rows], block] = True
        present, first = np.unique(session[rows], return_index=True)
        fresh = np.isnan(self.place[present, 0])
        where = rows[first[fresh]]
        self.place[present[fresh]] = np.column_stack([values[where] for values in raw_positions(batch)])
        self.place_block[present[fresh]] = block


_CANDIDATE = pa.schema(
    [
        ("name", pa.string()),
        ("code", pa.string()),
        ("time", TIME),
        ("first", pa.float64()),
        ("second", pa.float64()),
        ("third", pa.float64()),
        ("sigma_east", pa.float64()),
        ("sigma_north", pa.float64()),
        ("sigma_up", pa.float64()),
        ("solution", pa.string()),
        ("mark", pa.string()),
        ("base", pa.string()),
        ("antenna_height", pa.float64()),
        ("held", pa.uint8()),
        ("source_row", pa.int64()),
        ("session", pa.int32()),
        ("number", pa.int64()),
        ("export", pa.int64()),
    ]
)
