"""Collects readings that are few of their kind and may be occupations that no list names.

They are called after a mark in words of their own, have the code of the listed occupations, or a name of the same
shape. Where many are alike they are points: fences are numbered from a mark, and codes are shared.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.arrays import Flags, Integers
from pipeline.letter_case import folded
from pipeline.occupations.code_slips import slip_of
from pipeline.occupations.name_words import shape, shape_patterns
from pipeline.occupations.signs import MarkNames, Signs
from pipeline.tables import flags_of, folded_column

#: Readings of a job that are alike, up to which they may be occupations. Common practice, no source.
_FEW = 6
#: Codes up to which a job's codes are codes, and not descriptions.
_CODES = 200
#: Readings named from one mark, and from all, up to which each is looked at, be there no word for an occasion; how many
#: are looked at before that is looked into again.
_OF_MARK, _NAMED, _AT_ONCE = 500, 20_000, 1_000

#: A kind of readings: by what they are alike, and that.
_Kind = tuple[str, str]


class Rare(Struct, frozen=True):
    """What few readings besides the listed ones have: codes as `folded`, and `shape` of names.

    ``others`` is how many readings are in no list, ``numbers`` which are candidates for such a reason alone. ``slips``
    are codes as `folded` that may be mistyped for the code of a check, each with how many readings have it.
    """

    codes: frozenset[str] = frozenset()
    shapes: frozenset[str] = frozenset()
    others: int = 0
    numbers: frozenset[int] = frozenset()
    slips: Mapping[str, int] = field(default_factory=dict)


class RareKinds(Struct):
    """Collects, batch by batch, rows that are few of their kind; those of a kind that grows are let go."""

    marks: MarkNames
    shapes: dict[str, str]
    count: dict[_Kind, int] = field(default_factory=dict)
    kept: dict[_Kind, list[pa.RecordBatch]] = field(default_factory=dict)
    of_mark: dict[str, int] = field(default_factory=dict)
    many: set[str] = field(default_factory=set)
    codes: set[str] = field(default_factory=set)
    described: bool = False
    others: int = 0
    checks: tuple[str, ...] = ()
    known: frozenset[str] = frozenset()

    @classmethod
    def of(
        cls, listed: Iterable[str], marks: MarkNames, checks: Sequence[str] = (), known: Iterable[str] = ()
    ) -> "RareKinds":
        """Return one that has seen nothing.

        Args:
            listed: the names that sessions list.
            marks: the marks.
            checks: the codes of checks.
            known: codes that stand for something by the job's table of codes.
        """
        return cls(marks, shape_patterns(listed), checks=tuple(checks), known=frozenset(map(folded, known)))

    def take(self, batch: pa.RecordBatch, signs: Signs, pick: Callable[[Integers], pa.RecordBatch]) -> None:
        """Look at one batch; ``pick`` returns rows (k,) of it as candidates are kept."""
        named = signs.named
        self.others += int((~named).sum())
        kinds: dict[int, list[_Kind]] = {}
        for row, kind in (*self._by_code(batch, named), *self._by_shape(batch, signs), *self._by_mark(batch, signs)):
            kinds.setdefault(row, []).append(kind)
        rows = [row for row in sorted(kinds) if not signs.candidate[row]]
        if not rows:
            return
        picked = pick(np.array(rows, np.int64))
        for at, row in enumerate(rows):
            for kind in kinds[row]:
                if self.count.get(kind, 0) <= _FEW:
                    self.kept.setdefault(kind, []).append(picked.slice(at, 1))

    def _counted(self, kind: _Kind, more: int) -> bool:
        """Count readings of a kind, and tell whether they are few still."""
        self.count[kind] = self.count.get(kind, 0) + more
        if self.count[kind] > _FEW:
            self.kept.pop(kind, None)
        return self.count[kind] <= _FEW

    def _by_code(self, batch: pa.RecordBatch, named: Flags) -> Iterable[tuple[int, _Kind]]:
        coding = pc.dictionary_encode(batch.column("code"))
        alike = pc.dictionary_encode(folded_column(coding.dictionary))
        codes = alike.dictionary.to_pylist()
        number = np.append(np.asarray(alike.indices, np.int64), -1)[np.asarray(pc.fill_null(coding.indices, -1))]
        self.codes |= {codes[one] for one in np.unique(number[named & (number >= 0)]).tolist()} - {""}
        self.described = self.described or len(codes) > _CODES
        counts = np.bincount(number[~named & (number >= 0)], minlength=len(codes))
        for one in np.flatnonzero(counts).tolist() if not self.described else ():
            if codes[one] and self._counted(("code", codes[one]), int(counts[one])):
                yield from ((row, ("code", codes[one])) for row in np.flatnonzero((number == one) & ~named).tolist())
        if sum(kind[0] == "code" for kind in self.count) > _CODES:
            self.described = True

    def _by_shape(self, batch: pa.RecordBatch, signs: Signs) -> Iterable[tuple[int, _Kind]]:
        wanted = [one for one in self.shapes if self.count.get(("shape", one), 0) <= _FEW]
        telling = signs.telling[~signs.named[signs.telling]]
        if not wanted or not len(telling):
            return
        lower = folded_column(batch.column("name").take(pa.array(telling)))
        for one in wanted:
            rows = telling[flags_of(pc.match_substring_regex(lower, self.shapes[one]))]
            if len(rows) and self._counted(("shape", one), len(rows)):
                yield from ((row, ("shape", one)) for row in rows.tolist())

    def _by_mark(self, batch: pa.RecordBatch, signs: Signs) -> Iterable[tuple[int, _Kind]]:
        names = batch.column("name")
        telling = signs.telling[~signs.candidate[signs.telling]]
        rows = telling[self._further(names.take(pa.array(telling)))]
        for start in range(0, len(rows), _AT_ONCE):
            some = rows[start : start + _AT_ONCE]
            if start:  # a mark that many are named from may have come to light
                some = some[self._further(names.take(pa.array(some)))]
            for row in some.tolist():
                mark, beside = self.marks.bearing(names[row].as_py()) or (None, "")
                if mark is None:
                    continue
                self.of_mark[mark] = self.of_mark.get(mark, 0) + 1
                if self.of_mark[mark] == _OF_MARK:
                    self.many.add(folded(mark))
                if self._counted(("name", f"{mark} {shape(beside)}"), 1):
                    yield row, ("name", f"{mark} {shape(beside)}")

    def _further(self, names: pa.Array) -> Flags:
        return self.marks.further(names, self.many, sum(self.of_mark.values()) > _NAMED)

    def chosen(self) -> tuple[list[pa.RecordBatch], Rare]:
        """Return the rows that are few of their kind, each once, and what is few."""
        own = next(iter(self.codes), "") if len(self.codes) == 1 and not self.described else ""
        slips = self._slips()
        rows: dict[int, pa.RecordBatch] = {}
        for (by, what), kept in self.kept.items():
            if by != "code" or what == own or what in slips:
                rows |= {one.column("number")[0].as_py(): one for one in kept}
        codes = {own} if own and self.count.get(("code", own), 0) <= _FEW else set()
        shapes = {one for one in self.shapes if self.count.get(("shape", one), 0) <= _FEW}
        few = Rare(frozenset(codes), frozenset(shapes), self.others, frozenset(rows), slips)
        return [rows[number] for number in sorted(rows)], few

    def _slips(self) -> dict[str, int]:
        """Return the codes of few readings that may be mistyped for the code of a check, with how many have each."""
        few = {what: count for (by, what), count in self.count.items() if by == "code" and count <= _FEW}
        own = self.codes | self.known | set(map(folded, self.checks))
        return {
            code: count
            for code, count in few.items()
            if not self.described and code not in own and slip_of(code, self.checks)
        }
