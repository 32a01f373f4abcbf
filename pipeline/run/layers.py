"""The second pass as the layers of one GeoPackage, and what the record says of it."""

import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Self

import numpy as np
import pyarrow as pa
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Floats
from pipeline.draft.beside_marks import BesideMarks
from pipeline.draft.codes import Codes
from pipeline.draft.far_from_marks import FarFromMarks
from pipeline.draft.joined import join
from pipeline.draft.layer_rows import (
    PROOF_WORDS,
    Carried,
    LayerRows,
    as_records,
    check_rows,
    mark_rows,
    repeat_rows,
    session_rows,
)
from pipeline.draft.line_rows import line_rows
from pipeline.draft.merged import Settled
from pipeline.draft.noted_rows import noted_rows
from pipeline.draft.repeat_codes import RepeatCodes
from pipeline.draft.repeat_pairs import Repeated, find_pairs
from pipeline.draft.repeat_readings import RepeatCollector
from pipeline.draft.second_pass import Drafted, Lookup
from pipeline.draft.string_notes import noted_and_told
from pipeline.draft.string_rows import Gathered
from pipeline.draft.wholly_held import WhollyHeld
from pipeline.intake.survey import Survey
from pipeline.issue import record_types
from pipeline.issue.geopackage.blank_packages import Georeference
from pipeline.issue.geopackage.by_code import ByCode
from pipeline.issue.geopackage.descriptions import described
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.layers import CHANGES, CHECK_MARKS, HELD_BACK, LINE_Z, LINES, MARKS, REPEATS, SESSIONS
from pipeline.issue.geopackage.write import write_geopackage
from pipeline.issue.geopackage.written_counts import Written
from pipeline.issue.record_types import Compared, LayerSums, ShiftModel
from pipeline.issue.report.thinning import HELD_KIND, Thinned, Thinner
from pipeline.issue.row_types import MarkRow
from pipeline.progress import Progress
from pipeline.reissue.against import Earlier
from pipeline.reissue.changed_rows import ChangedRows
from pipeline.reissue.changes import Touched, compare
from pipeline.reissue.gone_files import gone_files
from pipeline.reissue.gone_links import Links
from pipeline.reissue.line_changes import OtherLines
from pipeline.reissue.side import Side
from pipeline.reissue.temporary_marks import temporary_marks
from pipeline.run.about import CAUTION
from pipeline.run.count import Count
from pipeline.run.provenance import provenance
from pipeline.run.suspects import SuspectRows
from pipeline.solve.solve import Solved
from pipeline.words import MARKS_DRAWN

#: What was written of each layer, for reading back.
Layers = tuple[Written, ...]


class Laid(Struct, frozen=True, kw_only=True):
    """What the second pass gave: the small layers, keys of the record, points for the plan.

    ``beside`` says in words which points lie on marks that no list names, and what is to be noted of the files;
    ``drawn`` what lines and temporary marks are otherwise than in the previous issue; ``retimed`` is of how many points
    that one has other times; ``links`` is what drawings may link to.
    """

    checks: pa.RecordBatch
    sessions: pa.RecordBatch
    marks: pa.RecordBatch
    repeats: pa.RecordBatch
    repeated: Repeated
    rows: record_types.Rows
    wholly: list[record_types.WhollyHeld]
    shift_model: ShiftModel
    changes: Compared
    touched: Touched
    drawn: tuple[str, ...]
    retimed: int
    plan: Thinned
    beside: list[str]
    accuracy: record_types.Accuracy
    suspect: record_types.Suspects
    linework: record_types.LineworkNoted | None = None
    links: Links = Links()


class SecondPass:
    """The second pass while it runs: what is counted and compared; rows that have to wait for their turn do so on disk.

    The rows of ``points`` come first, by `points` or `held_against`. The GeoPackage's writer runs the former in a
    thread of its own: what is counted is known when that writer returns, and not before.
    """

    def __init__(self, settled: Settled, progress: Progress | None, earlier: Earlier | None) -> None:
        self.drafter, self.progress, self.earlier = settled.drafter, progress, earlier
        self.survey, self.known = settled.drafter.survey, settled.repeated
        self.was, self.now = Side(), Side()
        self.description = described(self.survey.target["height_name"], self.survey.axes)
        self.carried = Carried.of(self.survey)
        self.count = Count(len(self.survey.windows))
        self.wholly = WhollyHeld.of(self.drafter)
        self.repeat_codes = RepeatCodes.of(self.drafter)
        self.plan = Thinner()
        self.beside = BesideMarks.of(self.drafter)
        self.far = FarFromMarks.of(self.drafter)
        self.suspects = SuspectRows(tuple(self.survey.windows))
        self.strings = Gathered.of(self.drafter)
        self.codes = Codes(self.survey.prepared.loaded, self.survey.prepared.named)
        self.measured = RepeatCollector.of(self.drafter) if self.known is None else None
        self._open = ExitStack()

    def __enter__(self) -> Self:
        self.other_lines = OtherLines.of(self.earlier.last if self.earlier is not None else None)
        self.spill = self._open.enter_context(tempfile.TemporaryFile())
        by_code = self.survey.job.issue.by_code
        self.by_code = (
            self._open.enter_context(ByCode(self.carried.schema, self.survey.prepared.named)) if by_code else None
        )
        return self

    def __exit__(self, *raised: object) -> None:
        self._open.close()

    def read_earlier(self) -> None:
        """Read the rows of the previous issue, which those of this one are compared with."""
        if self.earlier is not None:
            self.was = self.earlier.side or self.earlier.last.side()
            self.now = Side(self.was.attributes, self._pairs_of_means())

    def _pairs_of_means(self) -> pa.Table | None:
        """Return the rows of ``repeats`` where some points are means; these are known before the second pass."""
        if self.known is None or not len(self.drafter.merged.number):
            return None
        return pa.Table.from_batches([repeat_rows(self.survey, self.known.readings, self.known.pairs)])

    def write(self, package: Path, layers: Iterable[LayerSource], *, into: bool) -> Layers:
        """Write layers into a new GeoPackage, or ``into`` one that is there."""
        goal = self.survey.target
        told = {"height_datum": goal["height_name"], "compound_crs": goal["definition"], "caution": CAUTION}
        within = Georeference(goal["grid"], self.survey.axes, told)
        return write_geopackage(
            package, layers, within, self.survey.data_to, lineage=provenance(self.survey), into=into
        )

    def points(self) -> Iterator[pa.RecordBatch]:
        """Yield the rows of ``points``."""
        rows = LayerRows(self.drafter, self.carried)
        taken = self.earlier.taken if self.earlier is not None else None
        for drafted, held in self._drafted(rows, taken.passing() if taken is not None else None):
            batch = rows.points(drafted)
            if self.earlier is not None:
                for compared, is_held in ((held, True), (batch, False)):
                    if compared is not None:
                        self.now.add(compared, is_held)
            if batch.num_rows:
                self.codes.add(batch.column("code"))
                if self.by_code is not None:
                    self.by_code.add(batch)
                yield batch

    def held_against(self, changed: ChangedRows) -> list[pa.RecordBatch] | None:
        """Return the rows of ``points`` that differ from the previous issue, None where that cannot be revised."""
        rows, fresh = LayerRows(self.drafter, self.carried), []
        for drafted, _ in self._drafted(rows, changed.ready):
            found = changed.take(drafted)
            if found is None:
                return None
            differing, grid, proof = found
            if len(differing):
                fresh.append(rows.points(drafted, differing))
                self.now.add(fresh[-1], held=False)
                self.was.add(_at(fresh[-1], grid, proof), held=False)
        return fresh if changed.whole else None

    def repeated(self) -> Repeated:
        """Return the readings of points measured twice, and how they agree."""
        if self.measured is None:
            assert self.known is not None
            return self.known
        readings = self.measured.readings()
        return Repeated(readings, find_pairs(readings, self.survey, self.drafter.solved))

    def held_back(self) -> Iterator[pa.RecordBatch]:
        """Yield the rows of ``held_back``."""
        self.spill.seek(0)
        with pa.ipc.open_stream(self.spill) as held:
            yield from held

    def _drafted(self, rows: LayerRows, ready: Lookup | None = None) -> Iterator[tuple[Drafted, pa.RecordBatch | None]]:
        """Yield every batch of the second pass, with its rows that are held back, which are spilled."""
        done, total = 0, sum(self.survey.first_pass.rows)
        with pa.ipc.new_stream(self.spill, HELD_BACK) as spilled:
            for drafted in self.drafter.batches(ready):
                self._note(drafted)
                held = rows.held_back(drafted) if drafted.held.any() else None
                if held is not None:
                    spilled.write_batch(held)
                yield drafted, held
                done += len(drafted.held)
                if self.progress:
                    self.progress("correcting", done, total)

    def _note(self, drafted: Drafted) -> None:
        points = drafted.points
        self.count.add(drafted.session, drafted.held, points)
        self.count.widen(drafted.corrected.hu95[points], drafted.corrected.vu95[points])
        self.wholly.add(drafted)
        self.repeat_codes.take(drafted)
        self.beside.add(drafted)
        self.far.add(drafted)
        if self.measured is not None:
            self.measured.take(drafted)
        self.suspects.add(drafted)
        if self.strings is not None:
            self.strings.take(drafted)
        shown, place = ~drafted.on_mark, drafted.corrected
        kind = np.where(points, drafted.proof, HELD_KIND).astype(np.uint8)
        self.plan.add(kind[shown], place.easting[shown], place.northing[shown])
        if drafted.apart is not None and points.any():
            names = drafted.batch.column("name").filter(pa.array(points)).to_pylist()
            self.count.compare_models(drafted.session[points], drafted.apart[points], names)


@dataclass(frozen=True, kw_only=True)
class Rest:
    """What is known once the second pass has run: the layers after ``points``, and what the record says of the rows."""

    running: SecondPass
    checks: pa.RecordBatch
    sessions: pa.RecordBatch
    marks: pa.RecordBatch
    repeats: pa.RecordBatch
    repeated: Repeated
    changed: pa.RecordBatch | None
    changes: Compared
    touched: Touched
    drawn: tuple[str, ...]
    retimed: int
    gone: list[record_types.WhollyHeld]
    by_code: tuple[tuple[str, LayerSource], ...]
    lines: pa.RecordBatch | None
    linework: record_types.LineworkNoted | None
    of_strings: list[str]

    @classmethod
    def of(cls, running: SecondPass, causes: Sequence[str | None]) -> "Rest":
        """Return it; ``causes`` says per occupation what it may mean where it fails."""
        survey, solved = running.survey, running.drafter.solved
        changed: pa.RecordBatch | None = None
        changes: Compared = {}
        touched = Touched()
        retimed = 0
        gone: list[record_types.WhollyHeld] = []
        if running.earlier is not None:
            found = compare(running.was, running.now, running.earlier.because, survey.axes)
            changed, changes, touched, retimed = found
            gone = gone_files(running.earlier.last.record, survey, touched)
        coded, former = running.by_code, survey.former.layers
        by_code = tuple(coded.layers(running.description, former)) if coded is not None else ()
        repeated = running.repeated()
        lines, linework, of_strings = _lines(running)
        marks = mark_rows(survey, solved)
        drawn: tuple[str, ...] = ()
        if running.earlier is not None and changed is not None:
            before = running.earlier.last.record["marks"]
            of_marks = temporary_marks(before, as_records(marks, MarkRow), survey.axes)
            of_points = running.was.proven.otherwise(running.now.proven)
            drawn = (*of_points, *running.other_lines.than(lines, changed, survey.axes), *of_marks)
        return cls(
            running=running,
            checks=_all_checks(survey, solved, causes),
            sessions=session_rows(survey, solved, running.count.by_session),
            marks=marks,
            repeats=repeat_rows(survey, repeated.readings, repeated.pairs),
            repeated=repeated,
            changed=changed,
            changes=changes,
            touched=touched,
            drawn=drawn,
            retimed=retimed,
            gone=gone,
            by_code=by_code,
            lines=lines,
            linework=linework,
            of_strings=of_strings,
        )

    def sources(self) -> Iterator[LayerSource]:
        """Yield the layers after ``points``."""
        described = self.running.description
        yield LayerSource("check_marks", CHECK_MARKS, [self.checks], described)
        yield LayerSource("sessions", SESSIONS, [self.sessions], described)
        yield LayerSource("marks", MARKS, [self.marks], f"{described}. {MARKS_DRAWN}")
        yield LayerSource("held_back", HELD_BACK, self.running.held_back(), described)
        yield LayerSource("repeats", REPEATS, [self.repeats], described)
        if self.lines is not None:
            yield LayerSource("lines", LINES, [self.lines], described, geometry_type=LINE_Z)
        if self.changed is not None:
            yield LayerSource("changes", CHANGES, [self.changed], described, geometry_type=LINE_Z)
        yield from (layer for _, layer in self.by_code)

    @cached_property
    def code_of(self) -> dict[str, str]:
        """Return the codes of the layers that have one, by the layers' names."""
        return {source.name: code for code, source in self.by_code}

    def summed(self, layer: Written) -> LayerSums:
        """Return what the record says of a layer: its sums, and its code if it is a layer of one."""
        code = self.code_of.get(layer.name)
        sums = layer.as_record()
        return sums if code is None else {**sums, "code": code}

    def laid(self, notes: Sequence[str] = (), drawn: Sequence[str] | None = None) -> Laid:
        """Return the sum of it all, with what is to be noted of the files, and the drawing's layers of codes."""
        running = self.running
        told = (note for kept in (running.beside, running.far, running.repeat_codes) for note in kept.notes())
        return Laid(
            checks=self.checks,
            sessions=self.sessions,
            marks=self.marks,
            repeats=self.repeats,
            repeated=self.repeated,
            rows=running.count.rows(sum(running.survey.first_pass.rows), len(running.drafter.solved.occupations.marks)),
            wholly=[*self.gone, *running.wholly.record()],
            shift_model=running.count.shift_model(running.survey),
            changes=self.changes,
            touched=self.touched,
            drawn=self.drawn,
            retimed=self.retimed,
            plan=running.plan.thinned(),
            beside=[*told, *self.of_strings, *notes],
            accuracy=running.count.accuracy(),
            suspect=running.suspects.record(),
            linework=self.linework,
            links=Links(
                (*self.code_of, *(["lines"] if self.lines is not None else [])), running.carried.schema.names, drawn
            ),
        )


def _lines(running: SecondPass) -> tuple[pa.RecordBatch | None, record_types.LineworkNoted | None, list[str]]:
    """Return the rows of ``lines`` and what is noted and told of strings; nothing where the job has no linework."""
    if running.strings is None:
        return None, None, []
    joined = join(running.strings.rows(), running.drafter, running.strings.writing)
    return line_rows(joined, running.survey, running.strings.writing), *noted_and_told(joined, running.strings)


def _all_checks(survey: Survey, solved: Solved, causes: Sequence[str | None]) -> pa.RecordBatch:
    """Return the rows of ``check_marks``: the occupations, then the checks that were noted in the field."""
    found = pa.Table.from_batches([check_rows(survey, solved, causes), noted_rows(survey, solved)])
    (batch,) = found.combine_chunks().to_batches() or [check_rows(survey, solved, causes)]
    return batch


def _at(rows: pa.RecordBatch, grid: Floats, proof: NDArray[np.int8]) -> pa.RecordBatch:
    """Return rows of ``points`` at other (k, 3) coordinates, with other proof words by their codes (k,)."""
    words = pa.array(proof, mask=proof < 0)
    rows = rows.set_column(rows.schema.get_field_index("proof"), "proof", PROOF_WORDS.take(words))
    for axis, name in enumerate(("easting", "northing", "height")):
        rows = rows.set_column(rows.schema.get_field_index(name), name, pa.array(grid[:, axis]))
    return rows
