"""The readable rows of all exports as arrays: names, codes, times and positions."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from pipeline.arrays import Flags, Floats, Integers
from pipeline.job.model import Points
from pipeline.new_job.file_found import FileFound
from pipeline.problems import Problem
from pipeline.read.columns import readings
from pipeline.read.findings import Unusable
from pipeline.read.sources import open_source
from pipeline.replace import replace
from pipeline.tables import milliseconds

#: Rows that are read of one export, and of all.
MOST, MOST_OF_ALL = 300_000, 1_000_000

#: Metres, and degrees, between two writings of one position: exports round.
_ROUNDED, _ROUNDED_DEGREES = 0.011, 1.1e-7

Texts = NDArray[np.object_]


@dataclass(frozen=True, kw_only=True)
class TimedRows:
    """Rows (n,) that have a time, in order of exports and rows.

    ``export`` is the place of their export; ``time`` UTC milliseconds; ``first`` to ``third`` the position as the
    export has it, NaN where there is none; ``row`` the line or feature; texts are "" where there is none. ``cut`` are
    the exports that were not read to their end. ``unread`` says of exports why they cannot be read, from where on, or
    why the first row of one has no time; with the line and what to do.
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
    unread: dict[int, str] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.time)

    def at(self, which: Flags) -> "TimedRows":
        """Return those of the rows (n,) that are flagged."""
        parts: dict[str, Any] = {each.name: getattr(self, each.name) for each in fields(self)}
        some: dict[str, Any] = {word: part[which] for word, part in parts.items() if isinstance(part, np.ndarray)}
        return replace(self, **some)


def rows(exports: Sequence[tuple[FileFound, Points]]) -> TimedRows:
    """Read the exports by the blocks of a job file that were found for them; what cannot be read is left out.

    So are readings that an export has once more, as one of the whole day has those of the morning.
    """
    batches: list[tuple[int, pa.RecordBatch]] = []
    cut: set[int] = set()
    unread: dict[int, str] = {}
    total = 0
    for number, (one, points) in enumerate(exports):
        most = min(MOST, MOST_OF_ALL - total)
        read = 0
        for batch in _batches(one, points, number, unread):
            if read >= most:
                cut.add(number)
                break
            batches.append((number, batch.slice(0, most - read)))
            read += batch.num_rows
        total += read
    found = replace(_together(batches, frozenset(cut)), unread=unread)
    kinds = np.array([one.mapped.kind for one, _ in exports])[found.export] if len(found) else np.zeros(0, str)
    return found.at(~_repeats(found, kinds == "degrees"))


def _batches(one: FileFound, points: Points, number: int, unread: dict[int, str]) -> Iterator[pa.RecordBatch]:
    timed, why = False, ""
    try:
        with open_source(one.look.path, points, 65_536) as source:
            for raw in source.batches:
                batch = readings(raw, source.how)
                timed = timed or bool((milliseconds(batch) >= 0).any())
                why = why or _first_fault(batch, one.look.shown)
                yield batch
    except Unusable as error:
        unread[number] = str(Problem(one.look.shown, error.line, error.what, error.fix))
    except (OSError, UnicodeDecodeError):  # told by `tiedown check`, with file and line
        return
    if not timed and why:
        unread.setdefault(number, why)


def _first_fault(batch: pa.RecordBatch, shown: str) -> str:
    """Return what is wrong with the first row that cannot be read, with its line; "" where nothing is."""
    for row, detail in zip(batch.column("source_row").to_pylist(), batch.column("detail").to_pylist(), strict=True):
        if detail:
            return f"{shown}:{row}: {detail}"
    return ""


def _together(batches: Sequence[tuple[int, pa.RecordBatch]], cut: frozenset[int]) -> TimedRows:
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
    return TimedRows(
        export=export[known],
        row=row.astype(np.int64),
        name=name,
        code=code,
        base=base,
        mark=mark,
        solution=solution,
        time=times[known],
        first=first,
        second=second,
        third=third,
        cut=cut,
    )


def _repeats(rows: TimedRows, in_degrees: Flags) -> Flags:
    """Return (n,) which rows have name, time and position of one before them, within the rounding of exports.

    ``in_degrees`` (n,) tells which positions are in degrees: those in a plane are not compared with them.
    """
    _, which, count = np.unique(rows.time, return_inverse=True, return_counts=True)
    first: dict[tuple[str, int, bool], list[int]] = {}
    found = np.zeros(len(rows), bool)
    places = np.column_stack([rows.first, rows.second, rows.third])
    for at in np.flatnonzero(count[which] > 1).tolist():
        degrees = bool(in_degrees[at])
        before = first.setdefault((rows.name[at], int(rows.time[at]), degrees), [])
        limits = [_ROUNDED_DEGREES if degrees else _ROUNDED] * 2 + [_ROUNDED]
        found[at] = any(bool((np.abs(places[at] - places[one]) <= limits).all()) for one in before)
        if not found[at]:
            before.append(at)
    return found
