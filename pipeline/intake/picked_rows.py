"""Keeps the rows of exports that may be occupations, as the candidates of the first pass."""

from collections.abc import Mapping

import numpy as np
import pyarrow as pa
from msgspec import Struct, field

from pipeline.arrays import Integers
from pipeline.intake.sort import Sieve, Sifted
from pipeline.sessions.windows import SessionWindow
from pipeline.tables import TIME
from pipeline.words import Reason, reason_code

_PICKED = pa.schema(
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
        ("cov_en", pa.float64()),
        ("cov_eu", pa.float64()),
        ("cov_nu", pa.float64()),
        ("solution", pa.string()),
        ("mark", pa.string()),
        ("base", pa.string()),
        ("base_first", pa.float64()),
        ("base_second", pa.float64()),
        ("base_third", pa.float64()),
        ("antenna_height", pa.float64()),
        ("satellites", pa.float64()),
        ("pdop", pa.float64()),
        ("held", pa.uint8()),
        ("detail", pa.string()),
        ("source_row", pa.int64()),
        ("session", pa.int32()),
        ("number", pa.int64()),
        ("export", pa.int64()),
    ]
)


class PickedRows(Struct):
    """Rows picked batch by batch; ``spelled`` is what the job file calls points whose names an export encodes."""

    sieve: Sieve
    spelled: Mapping[str, str]
    picked: list[pa.RecordBatch] = field(default_factory=list)

    def take(self, batch: pa.RecordBatch, rows: Integers, sifted: Sifted, export: int, start: int) -> None:
        """Keep (k,) rows of a batch, the first of which is row ``start`` of the job."""
        if len(rows):
            self.picked.append(self.pick(batch, rows, sifted, export, start))

    def pick(self, batch: pa.RecordBatch, rows: Integers, sifted: Sifted, export: int, start: int) -> pa.RecordBatch:
        """Return (k,) rows of a batch as candidates are kept."""
        kept = batch.select([name for name in _PICKED.names if name in batch.schema.names]).take(pa.array(rows))
        arrays = {name: kept.column(name) for name in kept.schema.names}
        if self.spelled:  # a tie is called as the job file calls it, however the export encodes its accents
            told = [name and self.spelled.get(name, name) for name in arrays["name"].to_pylist()]
            arrays["name"] = pa.array(told, pa.string())
        arrays["held"] = pa.array(sifted.held[rows], pa.uint8())
        why = [self.sieve.why_held(batch, row, sifted.held[row]) for row in rows.tolist()]
        arrays["detail"] = pa.array(why, pa.string())
        arrays["session"] = pa.array(sifted.session[rows], pa.int32())
        arrays["number"] = pa.array(rows + start, pa.int64())
        arrays["export"] = pa.array(np.full(len(rows), export), pa.int64())
        return pa.RecordBatch.from_arrays([arrays[name] for name in _PICKED.names], schema=_PICKED)

    def candidates(
        self,
        again: Integers,
        implausible: Integers,
        more: list[pa.RecordBatch],
        windows: tuple[SessionWindow, ...],
    ) -> pa.Table:
        """Return the candidates, ``more`` among them; the repeated ones are marked as such, so that none counts twice.

        A tie that cannot lie where it says ties nothing. A check that cannot stays: it fails, and says so.

        Args:
            again: (k,) numbers of the readings that repeat another.
            implausible: (m,) numbers of the readings that cannot lie where they say.
            more: other rows as `pick` returns them.
            windows: the sessions.
        """
        table = pa.Table.from_batches([*self.picked, *more], _PICKED)
        table = table.sort_by("number").combine_chunks() if more else table
        held, number = table.column("held").to_numpy().copy(), table.column("number").to_numpy()
        held[np.isin(number, again) & (held == 0)] = reason_code(Reason.DUPLICATE)
        ties = {(w.index, tie.point) for w in windows for tie in w.session.ties}
        for row in np.flatnonzero(np.isin(number, implausible) & (held == 0)).tolist():
            if (table.column("session")[row].as_py(), table.column("name")[row].as_py()) in ties:
                held[row] = reason_code(Reason.IMPLAUSIBLE)
        return table.set_column(table.schema.get_field_index("held"), "held", pa.array(held, pa.uint8()))
