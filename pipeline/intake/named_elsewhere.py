"""Readings whose mark stands in a column that the job file maps to nothing: the names that it maps may be a counter."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.arrays import Integers
from pipeline.occupations.name_words import of_witness
from pipeline.occupations.signs import MarkNames, Signs
from pipeline.tables import READING

#: Readings that are kept of one column at most; a column names two marks at least before it is one of names.
_MOST, _MARKS = 2_000, 2
#: The share of readings that a column may name a mark of, at most: else it says what marks they were measured from.
_SHARE = 0.5
#: Readings in no list and naming marks up to which that share does not count.
_FEW = 6
#: The share of the listed readings naming marks in a column that name them there alone, at the least.
_MOSTLY = 0.5

#: Figures of a number at least that a mark is known by in any column.
_FIGURES = 3

#: A reading's column and the mark that it names there, by the reading's number in the whole job.
Elsewhere = Mapping[int, tuple[str, str]]


class _Column(Struct):
    """What one column says: the marks, how many readings name one, and rows that are kept of them with their marks.

    Of the listed readings that name one, ``alone`` do so there only, the others in the mapped name as well.
    """

    marks: set[str] = field(default_factory=set)
    count: int = 0
    listed: int = 0
    alone: int = 0
    kept: list[tuple[str, pa.RecordBatch]] = field(default_factory=list)


class NamedElsewhere(Struct):
    """Collects, batch by batch, readings that name a mark of the register in a column that is not mapped.

    A column counts where listed readings name their marks in it, and not in the name: that is a counter, and
    occupations are named there. Remarks say what points were measured from, too.

    Marks that are called by a short number alone are not looked for: numbers stand in many columns.
    """

    marks: MarkNames
    columns: dict[str, _Column] = field(default_factory=dict)
    readings: int = 0

    def take(self, batch: pa.RecordBatch, signs: Signs, pick: Callable[[Integers], pa.RecordBatch]) -> None:
        """Look at one batch; ``pick`` returns rows (k,) of it as candidates are kept."""
        self.readings += batch.num_rows
        for number, column in enumerate(batch.schema):
            if column.name in READING.names or not pa.types.is_string(column.type):
                continue
            # most columns have few different texts: each is looked at once
            coding = pc.dictionary_encode(batch.column(number))
            texts = coding.dictionary
            named = {
                at: mark
                for at in np.flatnonzero(self.marks.among(texts)).tolist()
                if (mark := self._mark(texts[at].as_py())) is not None
            }
            if named:
                of_row = pc.fill_null(coding.indices, -1).to_numpy(zero_copy_only=False).astype(np.int64)
                rows = np.flatnonzero(np.isin(of_row, list(named)))
                marks = [named[int(of_row[row])] for row in rows]
                self._note(column.name, rows, marks, signs, pick)
                self._note_listed(self.columns[column.name], batch.column("name"), rows, marks, signs)

    def _mark(self, text: str) -> str | None:
        """Return the mark that a text names; none where it says what lies beside one, as a witness mark does."""
        mark, bears = self.marks.like(text), self.marks.bearing(text)
        if mark is None or (mark.isdigit() and len(mark) < _FIGURES) or (bears is not None and of_witness(bears[1])):
            return None
        return mark

    def _note(
        self,
        name: str,
        rows: Integers,
        marks: Sequence[str],
        signs: Signs,
        pick: Callable[[Integers], pa.RecordBatch],
    ) -> None:
        found = self.columns.setdefault(name, _Column())
        found.marks |= set(marks)
        found.count += len(rows)
        free = [(int(row), mark) for row, mark in zip(rows, marks, strict=True) if not signs.named[row]]
        free = free[: max(0, _MOST - len(found.kept))]
        if free:
            picked = pick(np.array([row for row, _ in free], np.int64))
            found.kept += [(mark, picked.slice(at, 1)) for at, (_, mark) in enumerate(free)]

    def _note_listed(self, found: _Column, names: pa.Array, rows: Integers, marks: Sequence[str], signs: Signs) -> None:
        for row, mark in zip(rows.tolist(), marks, strict=True):
            if signs.named[row]:
                found.listed += 1
                found.alone += not self.marks.named(names[row].as_py(), mark)

    def chosen(self) -> tuple[dict[int, pa.RecordBatch], Elsewhere]:
        """Return the rows of columns that hold names, and what each says."""
        rows: dict[int, pa.RecordBatch] = {}
        said: dict[int, tuple[str, str]] = {}
        for name, column in self.columns.items():
            if len(column.marks) < _MARKS or column.count > max(_FEW, _SHARE * self.readings):
                continue
            if not column.alone or column.alone < _MOSTLY * column.listed:
                continue
            for mark, row in column.kept:
                number = int(row.column("number")[0].as_py())
                rows[number] = row
                said.setdefault(number, (name, mark))
        return rows, said
