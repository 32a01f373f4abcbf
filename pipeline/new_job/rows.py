"""The rows of all exports as arrays, as far as they are read: names, codes, times and positions."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.arrays import Floats, Integers
from pipeline.job.model import Points
from pipeline.new_job.folder import Found
from pipeline.read.columns import readings
from pipeline.read.findings import Unusable
from pipeline.read.sources import open_source
from pipeline.tables import milliseconds

#: Rows that are read of one export, and of all.
MOST, MOST_OF_ALL = 300_000, 1_000_000

Texts = NDArray[np.object_]


@dataclass(frozen=True)
class Rows:
    """Rows (n,) that have a time, in order of exports and rows.

    ``export`` is the place of their export; ``time`` UTC milliseconds; ``first`` to ``third`` the position as the
    export has it, NaN where there is none; ``row`` the line or feature; texts are "" where there is none. ``cut`` are
    the exports that were not read to their end.
    """

    export: Integers
    row: Integers
    name: Texts
    code: Texts
    base: Texts
    mark: Texts
    solution: Texts
    time: Integers
    first: Floats
    second: Floats
    third: Floats
    cut: frozenset[int]

    def __len__(self) -> int:
        return len(self.time)


def rows(exports: Sequence[tuple[Found, Points]]) -> Rows:
    """Read the exports by the blocks of a job file that were found for them; what cannot be read is left out."""
    batches: list[tuple[int, pa.RecordBatch]] = []
    cut: set[int] = set()
    total = 0
    for number, (one, points) in enumerate(exports):
        most = min(MOST, MOST_OF_ALL - total)
        read = 0
        for batch in _batches(one, points):
            if read >= most:
                cut.add(number)
                break
            batches.append((number, batch.slice(0, most - read)))
            read += batch.num_rows
        total += read
    return _together(batches, frozenset(cut))


def _batches(one: Found, points: Points) -> Iterator[pa.RecordBatch]:
    try:
        with open_source(one.look.path, points, 65_536) as source:
            for raw in source.batches:
                yield readings(raw, source.how)
    except (Unusable, OSError, UnicodeDecodeError):  # told by `tiedown check`, with file and line
        return


def _together(batches: Sequence[tuple[int, pa.RecordBatch]], cut: frozenset[int]) -> Rows:
    def texts(name: str) -> Texts:
        found: list[str] = []
        for _, batch in batches:
            found += [text or "" for text in batch.column(name).to_pylist()]
        return np.array(found, object)[known]

    def numbers(name: str) -> Floats:
        parts = [batch.column(name).to_numpy(zero_copy_only=False) for _, batch in batches]
        return np.concatenate([np.zeros(0), *parts]).astype(np.float64)[known]

    times = np.concatenate([np.zeros(0, np.int64), *(milliseconds(batch) for _, batch in batches)])
    known = times >= 0
    export = np.repeat([number for number, _ in batches], [batch.num_rows for _, batch in batches]).astype(np.int64)
    name, code, base, mark, solution = (texts(name) for name in ("name", "code", "base", "mark", "solution"))
    row, first, second, third = (numbers(name) for name in ("source_row", "first", "second", "third"))
    return Rows(
        export[known], row.astype(np.int64), name, code, base, mark, solution, times[known], first, second, third, cut
    )
