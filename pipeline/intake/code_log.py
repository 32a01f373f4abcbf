"""Collects the codes of the readings in the first pass, each once, if the job says something of codes."""

from collections.abc import Callable

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.arrays import Integers

#: Codes that are kept; where there are more, a column of names is mapped as that of codes.
MOST = 10_000
#: Rows that are kept of each.
FIRST = 3


class CodeSeen(Struct):
    """How many readings have a code, and export and row of the first of them."""

    readings: int = 0
    first: list[tuple[int, int]] = field(default_factory=list)


class CodeLog:
    """Counts readings by their codes, batch by batch.

    ``named`` gives the code that a text stands for: of strings without their numbers and words. ``beyond`` counts the
    readings whose codes were too many to be kept.
    """

    def __init__(self, named: Callable[[str], str]) -> None:
        self.seen: dict[str, CodeSeen] = {}
        self.beyond = 0
        self._named = named
        self._names: dict[str, str] = {}

    def take(self, batch: pa.RecordBatch, export: int) -> None:
        """Take in the next readings of an export, by its number; those without a code do not count."""
        rows = np.flatnonzero(batch.column("code").is_valid().to_numpy(zero_copy_only=False))
        if not len(rows):
            return
        coded = pc.dictionary_encode(batch.column("code").take(pa.array(rows)))
        of_row = np.asarray(coded.indices, np.int64)
        order = np.argsort(of_row, kind="stable")
        counts = np.bincount(of_row, minlength=len(coded.dictionary))
        starts = np.cumsum(counts) - counts
        source_row = np.asarray(batch.column("source_row"), np.int64)[rows]
        for text, start, count in zip(coded.dictionary.to_pylist(), starts.tolist(), counts.tolist(), strict=True):
            self._count(text, source_row[order[start : start + min(count, FIRST)]], count, export)

    def _count(self, text: str, rows: Integers, count: int, export: int) -> None:
        code = self._names.get(text)
        if code is None:
            code = self._named(text)
            if len(self._names) < MOST:
                self._names[text] = code
        seen = self.seen.get(code)
        if seen is None:
            if len(self.seen) >= MOST:
                self.beyond += count
                return
            seen = self.seen[code] = CodeSeen()
        seen.readings += count
        seen.first += [(export, row) for row in rows.tolist()[: FIRST - len(seen.first)]]
