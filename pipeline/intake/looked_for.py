"""What the exports have of the points that a job names, and what in them is called nearly so."""

import re
from collections import Counter
from collections.abc import Collection, Iterable

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.intake.candidate_rows import TOLD, CandidateRow
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.prepare import Prepared
from pipeline.letter_case import folded
from pipeline.limits import HINTS
from pipeline.near import BETWEEN, nearest
from pipeline.read.exports import read_batches
from pipeline.read.findings import Unusable
from pipeline.read.point_names import UnusedFile, names_in
from pipeline.tables import folded_column

#: Names that differ in length by more than this are not near each other.
_LENGTHS = 2

#: Names that are looked at closely for one that is missing, of each batch of readings.
_CLOSELY = 64


class Absent(Struct):
    """A point that no reading is called like: the names nearest to it, and a row that may be it but is broken."""

    near: dict[str, None] = field(default_factory=dict)
    broken: str = ""


def _look_again(prepared: Prepared, points: Collection[str]) -> dict[str, Absent]:
    """Look in the exports for points that no reading is called like, which only a job with such a mistake costs."""
    found = {point: Absent() for point in points}
    for export in prepared.exports if points else ():
        for batch in read_batches(export):
            _note_near(found, pc.unique(batch.column("name")).drop_null())
            faults = batch.filter(pc.is_null(batch.column("name"))).select(["detail", "source_row"])
            for point, absent in found.items():
                for row in faults.filter(pc.match_substring(faults.column("detail"), f'"{point}'))[:1].to_pylist():
                    absent.broken = absent.broken or f"{export.shown}:{row['source_row']}: {row['detail']}"
    return found


def _note_near(found: dict[str, Absent], names: pa.Array) -> None:
    """Note which of some names are near to points that no reading is called like."""
    length = pc.utf8_length(names)
    for point, absent in found.items():
        alike = pc.less_equal(pc.abs(pc.subtract(length, len(point))), _LENGTHS)
        absent.near |= dict.fromkeys(nearest(point, _likeliest(point, names.filter(alike))))


def _look_in_unused(
    files: Iterable[UnusedFile], missing: Collection[str], found: dict[str, Absent]
) -> tuple[set[str], list[UnusedFile]]:
    """Look for points in files that have problems; return those that are there, and the files of which nobody can say.

    Names near to those that are ``found`` to be absent are noted there.
    """
    wanted, there, closed = pa.array(missing, pa.string()), set[str](), list[UnusedFile]()
    for file in files if missing else ():
        try:
            for names in names_in(file):
                there.update(wanted.filter(pc.is_in(wanted, names)).to_pylist())
                _note_near(found, names)
        except Unusable:
            closed.append(file)
    return there, closed


def _likeliest(point: str, names: pa.Array) -> list[str]:
    """Return the names that share most signs with a point's: to look closely at a million takes seconds for each."""
    if len(names) <= _CLOSELY:
        return list(names.to_pylist())
    bare, signs = pc.replace_substring_regex(folded_column(names), BETWEEN, ""), re.sub(BETWEEN, "", folded(point))
    shared = sum(np.minimum(pc.count_substring(bare, sign), many) for sign, many in Counter(signs).items())
    share = shared / (len(signs) + np.asarray(pc.utf8_length(bare)))
    return list(names.take(pa.array(np.argsort(-share, kind="stable")[:_CLOSELY])).to_pylist())


class LookedFor(Struct, frozen=True):
    """What the exports have of the points that a job names.

    Args:
        prepared: the job.
        by_name: the readings that may be occupations, by name.
        occupied: per index of a session the names of its readings, each once and in their order.
        absent: what is found of points that no reading is called like.
        unused: those of them that a file has which cannot be used.
        missing: those of which nobody can say, for there are ``closed`` files, whose names cannot be read.
    """

    prepared: Prepared
    by_name: dict[str, list[CandidateRow]]
    occupied: dict[int, dict[str, None]]
    absent: dict[str, Absent]
    unused: set[str]
    missing: list[str]
    closed: list[UnusedFile]

    @classmethod
    def of(cls, prepared: Prepared, first_pass: FirstPass) -> "LookedFor":
        """Look for all of them, once more in the files for those that no reading is called like."""
        by_name: dict[str, list[CandidateRow]] = {}
        occupied: dict[int, dict[str, None]] = {}
        for row in first_pass.candidates.select(TOLD).to_pylist():
            by_name.setdefault(row["name"] or "", []).append(row)
        for name, rows in by_name.items():
            for row in (row for row in rows if row["number"] not in first_pass.few.numbers):
                occupied.setdefault(int(str(row["session"])), {})[name] = None
        named = [one.point for w in prepared.windows for one in (*w.session.ties, *w.session.checks)]
        named += [one.stated.tie for one in prepared.field_windows if one.stated.tie is not None]
        missing = list(dict.fromkeys(point for point in named if point not in by_name))
        absent = _look_again(prepared, missing[:HINTS])
        there, closed = _look_in_unused(prepared.unused, missing, absent)
        missing = [point for point in missing if point not in there]
        return cls(prepared, by_name, occupied, absent, there, missing, closed)

    def rows(self, point: str, session: int) -> tuple[list[CandidateRow], list[CandidateRow]]:
        """Return the readings that are called like a point, and those of them that are of a session."""
        rows = self.by_name.get(point, [])
        return rows, [row for row in rows if row["session"] == session]

    def is_gone(self, point: str) -> bool:
        """Tell whether a point was an occupation when exports that are gone were there, and nothing else may be it."""
        gone, absent = self.prepared.gone, self.absent.get(point, Absent())
        return (
            gone is not None
            and point in gone.occupations
            and point in self.missing
            and not (nearest(point, absent.near) or absent.broken)
        )
