"""What changed between two issues, point by point, and why.

A point is known again by its name, if it has one, and the time of its observation, which survive files that were
exported again with more rows, in another order or under another name. Of several alike the first is matched with the
first.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline.duplicates import mixed_with, text_hashes
from pipeline.issue.layers import CHANGES, wkb_lines
from pipeline.tables import TIME
from pipeline.words import Change

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

#: Metres. A smaller difference is the arithmetic's: a point that nothing reached has the same bits.
MOVED = 1e-4

#: The columns of an issue's points, and of the rows that it holds back, that a comparison needs.
COMPARED = ("name", "observed", "easting", "northing", "height", "session", "source_file")

_SIDE = pa.schema(
    [
        ("name", pa.string()),
        ("observed", TIME),
        ("easting", pa.float64()),
        ("northing", pa.float64()),
        ("height", pa.float64()),
        ("session", pa.dictionary(pa.int32(), pa.string())),
        ("source_file", pa.dictionary(pa.int32(), pa.string())),
        ("held", pa.bool_()),
    ]
)

#: Gives the reason for a change from the point's session and raw file (either may be None), and what changed.
Because = Callable[[str | None, str | None, Change], str]


@dataclass
class Side:
    """The rows of one issue, gathered for comparison: those of ``points``, and those of ``held_back``.

    Of an observation that was exported twice, one row is a point and the other held back: points come first, so that
    points are matched with points.
    """

    points: list[pa.RecordBatch] = field(default_factory=list)
    held: list[pa.RecordBatch] = field(default_factory=list)

    def add(self, rows: pa.RecordBatch | pa.Table, held: bool) -> None:
        """Take in rows of ``points`` or of ``held_back``."""
        columns = [rows.column(name).cast(_SIDE.field(name).type) for name in COMPARED]
        columns.append(pa.array(np.full(rows.num_rows, held)))
        (self.held if held else self.points).extend(pa.table(columns, schema=_SIDE).to_batches())

    def table(self) -> pa.Table:
        """Return all rows whose time is known: without it nothing can be known again. A name may be missing."""
        whole = pa.Table.from_batches([*self.points, *self.held], _SIDE).unify_dictionaries()
        return whole.filter(whole.column("observed").is_valid())


def compare(old: Side, new: Side, because: Because) -> tuple[pa.RecordBatch, dict[str, Any]]:
    """Return the rows of the layer ``changes``, and the record's counts and largest moves."""
    before, after = old.table(), new.table()
    there = _match(after, before)
    back = np.full(before.num_rows, -1)
    back[there[there >= 0]] = np.flatnonzero(there >= 0)
    was_held, is_held = _flags(before), _flags(after)
    matched = np.flatnonzero(there >= 0)
    earlier = there[matched]
    off = np.abs(_grid(after)[matched] - _grid(before)[earlier]).max(axis=1, initial=0.0)
    both = ~is_held[matched] & ~was_held[earlier]
    parts = {
        Change.MOVED: (earlier[both & (off > MOVED)], matched[both & (off > MOVED)]),
        Change.HELD: (earlier[is_held[matched] & ~was_held[earlier]], matched[is_held[matched] & ~was_held[earlier]]),
        Change.RELEASED: (
            earlier[~is_held[matched] & was_held[earlier]],
            matched[~is_held[matched] & was_held[earlier]],
        ),
        Change.ADDED: (None, np.flatnonzero((there < 0) & ~is_held)),
        Change.WITHDRAWN: (np.flatnonzero((back < 0) & ~was_held), None),
    }
    batches = [_rows(change, before, after, rows, because) for change, rows in parts.items()]
    layer = pa.Table.from_batches(batches, CHANGES).combine_chunks().to_batches()
    counts: dict[str, Any] = {str(change): batch.num_rows for change, batch in zip(parts, batches, strict=True)}
    moved = batches[0]
    counts["max_horizontal"] = _largest(np.hypot(_column(moved, "d_east"), _column(moved, "d_north")))
    counts["max_vertical"] = _largest(np.abs(_column(moved, "d_height")))
    return (layer[0] if layer else pa.RecordBatch.from_pylist([], CHANGES)), counts


def _match(rows: pa.Table, among: pa.Table) -> Integers:
    """Return for each of the rows the row of the other table that is the same observation, -1 where none is."""
    wanted, keys = _keys(rows), _keys(among)
    order = np.argsort(keys, kind="stable")
    at = np.searchsorted(keys[order], wanted)
    found = np.where(at < len(keys), at, 0)
    if not len(keys):
        return np.full(len(wanted), -1)
    return np.where(keys[order][found] == wanted, order[found], -1)


def _keys(table: pa.Table) -> NDArray[np.uint64]:
    """Return a key per row: hash of name and time, and which of those alike it is."""
    pieces = [
        mixed_with(text_hashes(batch.column("name")), np.asarray(batch.column("observed").cast(pa.int64())))
        for batch in table.to_batches(max_chunksize=65_536)
    ]
    hashes = np.concatenate(pieces or [np.zeros(0, np.uint64)])
    order = np.argsort(hashes, kind="stable")
    fresh = np.ones(len(order), bool)
    fresh[1:] = hashes[order][1:] != hashes[order][:-1]
    place = np.arange(len(order))
    rank = np.zeros(len(order), np.int64)
    rank[order] = place - np.maximum.accumulate(np.where(fresh, place, 0))
    return mixed_with(hashes, rank)


def _rows(
    change: Change,
    before: pa.Table,
    after: pa.Table,
    rows: tuple[Integers | None, Integers | None],
    because: Because,
) -> pa.RecordBatch:
    old, new = rows
    named, chosen = (after, new) if new is not None else (before, old)
    assert chosen is not None
    here = named.take(pa.array(chosen))
    unknown = np.full((len(chosen), 3), np.nan)
    was = _grid(before)[old] if old is not None else unknown
    now = _grid(after)[new] if new is not None else unknown
    if change is Change.HELD:
        now = unknown
    if change is Change.RELEASED:
        was = unknown
    start, end = np.where(np.isnan(was), now, was), np.where(np.isnan(now), was, now)
    columns = [
        here.column("name").combine_chunks(),
        pa.array([str(change)], pa.string()).take(pa.array(np.zeros(len(chosen), np.int64))),
        *(_number(values[:, axis]) for values in (was, now, now - was) for axis in range(3)),
        _reasons(here, change, because),
        wkb_lines(start, end),
    ]
    return pa.RecordBatch.from_arrays([_flat(column) for column in columns], schema=CHANGES)


def _reasons(rows: pa.Table, change: Change, because: Because) -> pa.Array:
    """Return the reason of each row; one sentence per session and file, not per point."""
    session, file = (_flat(rows.column(name).combine_chunks()) for name in ("session", "source_file"))
    one, two = (np.asarray(pc.fill_null(column.indices, -1)).astype(np.int64) for column in (session, file))
    pairs, which = np.unique(np.column_stack([one, two]), axis=0, return_inverse=True)
    texts = [because(_word(session, int(s)), _word(file, int(f)), change) for s, f in pairs]
    return pa.array(texts, pa.string()).take(pa.array(which.ravel()))


def _word(column: pa.DictionaryArray, index: int) -> str | None:
    return None if index < 0 else str(column.dictionary[index])


def _grid(table: pa.Table) -> Floats:
    return np.column_stack([_column(table, name) for name in ("easting", "northing", "height")])


def _column(table: pa.Table | pa.RecordBatch, name: str) -> Floats:
    return np.asarray(pc.fill_null(table.column(name), np.nan), np.float64)


def _flags(table: pa.Table) -> NDArray[np.bool_]:
    return np.asarray(table.column("held"), bool)


def _number(values: Floats) -> pa.Array:
    return pa.array(values, pa.float64(), mask=~np.isfinite(values))


def _flat(column: Any) -> Any:
    if not isinstance(column, pa.ChunkedArray):
        return column
    return column.chunk(0) if column.num_chunks == 1 else pa.concat_arrays(column.chunks)


def _largest(values: Floats) -> float | None:
    return float(values.max()) if len(values) else None


@dataclass(frozen=True)
class Reasons:
    """Why an issue differs from the one before, in words.

    Args:
        general: what reaches every point: the job file, the operations, the program.
        by_session: what reaches the points of a session.
        by_file: what reaches the points of a raw file.
        marks: changed marks in words, each with the same and the sessions that it reaches, for the record.
    """

    general: tuple[str, ...]
    by_session: dict[str, tuple[str, ...]]
    by_file: dict[str, str]
    marks: dict[str, str]

    def all(self) -> list[str]:
        """Return every reason once, for the record."""
        sessions = [text for texts in self.by_session.values() for text in texts if text not in self.marks]
        return list(dict.fromkeys([*self.marks.values(), *sessions, *self.by_file.values(), *self.general]))

    def of(self, session: str | None, file: str | None, change: Change) -> str:
        """Return the reason for one point's change."""
        of_file = [self.by_file[file]] if file in self.by_file else []
        of_session = list(self.by_session.get(session or "", ()))
        first = of_file if change in (Change.ADDED, Change.WITHDRAWN) else of_session
        return "; ".join(first or of_session or of_file or self.general or self.all())


def mark_changes(before: Sequence[dict[str, Any]], after: Sequence[dict[str, Any]]) -> dict[str, str]:
    """Return, per mark whose row of the register changed, what changed, in words with the numbers as written.

    Args:
        before: the register's used rows as an earlier record has them, each with ``mark`` and its values as text.
        after: the same now.
    """
    known = {row["mark"]: row for row in before}
    told = {}
    for row in after:
        old = known.get(row["mark"])
        if old is None:
            continue
        parts = [
            f"{key.replace('_', ' ')} {old.get(key) or 'none'} to {row[key] or 'none'}"
            for key in row
            if key != "mark" and old.get(key, "") != row[key]
        ]
        if parts:
            told[row["mark"]] = f"{row['mark']} {', '.join(parts)} in the register"
    return told
