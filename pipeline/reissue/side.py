"""Spools the rows of one issue for comparison with another; rows that both have are skipped."""

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats
from pipeline.duplicates import mixed_with, text_hashes
from pipeline.geodesy.axes import NAMES
from pipeline.intake.columns import DiskColumn, DiskColumns
from pipeline.issue.geopackage.layers import GEOMETRY
from pipeline.reissue.laid_down import LaidDown
from pipeline.reissue.left_over import left_over
from pipeline.reissue.means import Formed
from pipeline.reissue.proven_otherwise import Proven
from pipeline.tables import TIME

#: The columns of an issue's points, and of the rows that it holds back, that a comparison needs.
COMPARED = ("name", "observed", *NAMES, "session", "source_file")
#: Columns of points that are figures of the computation, or say where a row stood: no attributes of a point.
_FIGURES = {"ellipsoid_height", "longitude", "latitude", "hu95", "vu95", "proof", "source_row", GEOMETRY}

_WORD = pa.dictionary(pa.int32(), pa.string())
_SIDE = pa.schema(
    [
        ("name", pa.string()),
        ("observed", TIME),
        ("easting", pa.float64()),
        ("northing", pa.float64()),
        ("height", pa.float64()),
        ("session", _WORD),
        ("source_file", _WORD),
        ("held", pa.bool_()),
        ("reason", _WORD),
    ]
)
#: What precedes the name of an attribute, so that it is none of the columns above.
_OWN = "own "


class Side:
    """The rows of one issue: those of ``points``, and those of ``held_back``.

    Of an observation that was exported twice, one row is a point and the other held back: points come first, so that
    points are matched with points. ``attributes`` are columns of points that are compared as well. A row whose time is
    not known is left out: without it nothing can be known again. A name may be missing. Where some points are means,
    ``pairs`` are the issue's rows of ``repeats``, by which it is noted what they were formed from. ``of_file`` is how
    many of its points are of each raw file, ``of_session`` of each session.
    """

    def __init__(self, attributes: Sequence[str] = (), pairs: pa.Table | None = None) -> None:
        self.attributes = tuple(attributes)
        self.formed = Formed(pairs) if pairs is not None else None
        self.of_file, self.of_session = Counter[str](), Counter[str]()
        self._kept: list[LaidDown | None] = [None, None]
        self.proven = Proven()
        self._sums = [DiskColumns({"sum": np.uint64, "name": np.uint64}) for _ in range(2)]

    def add(self, rows: pa.RecordBatch, held: bool) -> None:
        """Take in rows of ``points`` or of ``held_back``."""
        if (times := rows.column("observed")).null_count:
            rows = rows.filter(times.is_valid())
        if not rows.num_rows:
            return
        columns = {name: rows.column(name).cast(_SIDE.field(name).type) for name in COMPARED}
        columns["held"] = pa.array(np.full(rows.num_rows, held))
        reason = rows.column("reason") if held else pa.nulls(rows.num_rows, pa.string())
        columns["reason"] = reason.cast(_WORD)
        if not held:
            _count(columns["source_file"], self.of_file)
            _count(columns["session"], self.of_session)
        if self.formed is not None:
            self.formed.add(rows, held)
        own = {name: rows.column(name) for name in self.attributes} if not held else {}
        batch = pa.RecordBatch.from_pydict(columns | {_OWN + name: column for name, column in own.items()})
        if (kept := self._kept[held]) is None:
            kept = self._kept[held] = LaidDown(batch.schema)
        kept.add(batch)
        names, more = text_hashes(columns["name"]), [] if held else [*map(columns.get, NAMES), *own.values()]
        if not held and "proof" in rows.schema.names:
            self.proven.add(mixed_with(names, np.asarray(columns["observed"].cast(pa.int64()))), rows.column("proof"))
        self._sums[held].add({"sum": _sums(names, columns["observed"], more), "name": names})

    def table(self, points: NDArray[np.int64], held: NDArray[np.int64]) -> pa.Table:
        """Return some rows, by their numbers (k,) of each kind; points first, with a sum of their attributes."""
        parts = [
            kept.take(numbers) for kept, numbers in zip(self._kept, (points, held), strict=True) if kept is not None
        ]
        whole = pa.concat_tables([_SIDE.empty_table(), *parts], promote_options="default").unify_dictionaries()
        own = [whole.column(_OWN + name) for name in self.attributes if _OWN + name in whole.column_names]
        return whole.append_column("attributes", pa.array(_text_sums(whole.num_rows, own), pa.uint64()))

    def has_names(self, hashes: NDArray[np.uint64]) -> Flags:
        """Return (k,) which of the names with these hashes any of its rows has."""
        found = np.zeros(len(hashes), bool)
        for names in (piece for of_kind in self._sums for piece in DiskColumn(of_kind, "name")):
            found |= np.isin(hashes, names)
        return found

    def sums(self, held: bool) -> Iterator[NDArray[np.uint64]]:
        """Yield (k,) sums of what a comparison looks at in its rows: of points all, of others name and time."""
        return iter(DiskColumn(self._sums[held], "sum"))


def differing(old: Side, new: Side) -> tuple[pa.Table, pa.Table]:
    """Return the rows of each of two issues that the other has not as they are."""
    points, held = (left_over(old.sums(kind), new.sums(kind)) for kind in (False, True))
    return old.table(points[0], held[0]), new.table(points[1], held[1])


def attribute(table: pa.Table, name: str) -> pa.ChunkedArray:
    """Return an attribute of points out of `Side.table`."""
    return table.column(_OWN + name)


def attributes_of(names: Sequence[str]) -> tuple[str, ...]:
    """Return which columns of ``points`` are attributes of a point: its code, and what its export carried."""
    return tuple(name for name in names if name not in _FIGURES.union(COMPARED))


def _count(names: pa.DictionaryArray, into: Counter[str]) -> None:
    for entry in pc.value_counts(names.drop_null()).to_pylist():
        into[entry["values"]] += entry["counts"]


def _sums(names: NDArray[np.uint64], observed: pa.Array, more: Sequence[Any]) -> NDArray[np.uint64]:
    """Return (n,) sums of name, time and ``more``: rows that differ in any of these differ in their sum."""
    total = mixed_with(names, np.asarray(observed.cast(pa.int64())))
    for column in more:
        total = mixed_with(total, _bits(column))
    return total


def _bits(column: pa.Array) -> NDArray[np.uint64]:
    """Return (n,) eight bytes of each value: of numbers and times their own, of all else a hash of the text."""
    kind = column.type
    if pa.types.is_floating(kind):
        numbers: Floats = np.asarray(pc.fill_null(column, np.nan), np.float64) + 0.0  # no minus zero
        return numbers.view(np.uint64)
    if pa.types.is_integer(kind) or pa.types.is_boolean(kind) or kind == TIME:
        numbered = column.cast(pa.int64())
        there = np.asarray(column.is_valid()).astype(np.uint64)
        return np.asarray(pc.fill_null(numbered, 0)).view(np.uint64) + there * np.uint64(2**63)
    return text_hashes(column.cast(pa.string()))


def _text_sums(rows: int, columns: Sequence[pa.ChunkedArray]) -> NDArray[np.uint64]:
    """Return (n,) sums of values as text: two issues may hold one in columns of two types."""
    total = np.zeros(rows, np.uint64)
    for column in columns:
        total = mixed_with(total, text_hashes(column.combine_chunks().cast(pa.string())))
    return total
