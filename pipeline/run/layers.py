"""The second pass laid out as the layers of one GeoPackage, written and read back; or counted and thrown away."""

import tempfile
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import numpy as np
import pyarrow as pa

from pipeline.arrays import Floats
from pipeline.clock import moment
from pipeline.digest import digest
from pipeline.draft.codes import Codes
from pipeline.draft.layer_rows import Carried, Rows, check_rows, mark_rows, session_rows
from pipeline.draft.second_pass import Drafted, Drafter
from pipeline.draft.wholly_held import WhollyHeld
from pipeline.intake.first_pass import Progress
from pipeline.intake.target import target
from pipeline.issue.folder.durable import has_room
from pipeline.issue.formats.formats import write_formats
from pipeline.issue.geopackage.by_code import ByCode
from pipeline.issue.geopackage.layers import CHANGES, CHECK_MARKS, HELD_BACK, LINE_Z, MARKS, SESSIONS
from pipeline.issue.geopackage.readback import ReadBackError, read_back
from pipeline.issue.geopackage.revise import copy_with_rows
from pipeline.issue.geopackage.streamed import Package
from pipeline.issue.geopackage.tally import Written
from pipeline.issue.geopackage.write import LayerSource, write_geopackage
from pipeline.issue.report.thinning import HELD_KIND, Thinned, Thinner
from pipeline.reissue.changed_rows import REVISED, Kept
from pipeline.reissue.changes import Because, Side, compare
from pipeline.reissue.earlier import Before
from pipeline.run.record import CAUTION, Count, about


@dataclass(frozen=True)
class Laid:
    """What the second pass gave: the small layers, keys of the record, the files written, points for the plan."""

    checks: pa.RecordBatch
    sessions: pa.RecordBatch
    marks: pa.RecordBatch
    rows: dict[str, Any]
    wholly: list[dict[str, Any]]
    shift_model: dict[str, Any]
    files: list[dict[str, Any]]
    changes: dict[str, Any] | None
    plan: Thinned


@dataclass(frozen=True)
class Earlier:
    """The issue before, for a re-issue, and what gives the reason of a change.

    ``kept`` are its points where few of them can differ; ``side`` its rows for comparison, else read when needed.
    """

    before: Before
    because: Because
    kept: Kept | None
    side: Side | None


def lay_out(
    drafter: Drafter,
    told: Sequence[str | None],
    package: Path,
    number: int,
    progress: Progress | None,
    earlier: Earlier | None = None,
) -> Laid:
    """Run the second pass into the GeoPackage of issue ``number``, read it back, and write the other formats from it.

    With the issue ``earlier`` goes a layer of what changed; where few points did, its GeoPackage is copied and they are
    changed in the copy.

    Raises `RuntimeError` where the rows do not add up and `ReadBackError` where a file is not what was written.
    """
    written, job = None, drafter.prepared.loaded.job
    if earlier is not None and earlier.kept is not None:
        with _Layers(drafter, told, progress, earlier) as layers:
            written = layers.revise(earlier.kept, package)
    if written is None:
        with _Layers(drafter, told, progress, earlier) as layers:
            written = layers.write(package)
    try:
        read_back(package, written)
    except ReadBackError:
        # GDAL may say nothing of a disk that fills while it closes a file or begins a layer
        has_room(package, earlier.before.package.stat().st_size if earlier is not None else 0)
        raise
    entries = [{**layer.as_record(), **layers.code_of(layer.name)} for layer in written]
    files: list[dict[str, Any]] = [{"name": package.name, "sha256": digest(package), "layers": entries}]
    complete = Package(package, {layer.name: layer.rows for layer in written})
    files += write_formats(job.issue.formats, complete, about(job, number, _newest(drafter)))
    return layers.laid(files)


def dry(drafter: Drafter, told: Sequence[str | None], progress: Progress | None) -> Laid:
    """Run the second pass and write nothing."""
    with _Layers(drafter, told, progress, None) as layers:
        for source in layers.sources():
            for _ in source.batches:
                pass
    return layers.laid([])


class _Layers:
    """The layers in the order in which they are written; rows that have to wait for their turn do so on disk."""

    def __init__(
        self,
        drafter: Drafter,
        told: Sequence[str | None],
        progress: Progress | None,
        earlier: Earlier | None,
    ) -> None:
        self.earlier, self.was, self.now = earlier, Side(), Side()
        self.description = f"heights: {target(drafter.prepared.loaded.job)['height_name']}"
        self.changes: dict[str, Any] | None = None
        self.drafter, self.progress = drafter, progress
        self.prepared, self.settled = drafter.prepared, drafter.settled
        self.carried = Carried.of(self.prepared.exports)
        self.count = Count(len(self.prepared.windows))
        self.wholly = WhollyHeld.of(self.prepared, drafter.gathered)
        self.plan = Thinner()
        self.checks = check_rows(self.prepared, self.settled, told)
        self.marks = mark_rows(self.settled, drafter.routes)
        self.sessions: pa.RecordBatch | None = None
        self.codes = Codes(self.prepared.loaded)
        self.code_of_layer: dict[str, str] = {}
        self._open = ExitStack()

    def __enter__(self) -> Self:
        self.spill = self._open.enter_context(tempfile.TemporaryFile())
        by_code = self.prepared.loaded.job.issue.by_code
        self.by_code = self._open.enter_context(ByCode(self.carried.schema)) if by_code else None
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._open.close()

    def code_of(self, layer: str) -> dict[str, str]:
        """Return what the record says of a layer of one code beside its sums: which code; nothing of other layers."""
        return {"code": self.code_of_layer[layer]} if layer in self.code_of_layer else {}

    def write(self, package: Path) -> tuple[Written, ...]:
        """Write every layer into a new GeoPackage."""
        if self.earlier is not None:
            self.was = self.earlier.side or self.earlier.before.side()
            self.now.attributes = self.was.attributes
        return self._write(package, self.sources(), into=False)

    def revise(self, kept: Kept, package: Path) -> tuple[Written, ...] | None:
        """Run the second pass against the points of the issue before, and change a copy of its GeoPackage.

        Returns None, and has written nothing, where points came or went or too many of them differ.
        """
        rows, fresh = Rows(self.drafter, self.carried), []
        for drafted, _ in self._drafted(rows):
            found = kept.take(drafted)
            if found is None:
                return None
            differing, grid = found
            if len(differing):
                fresh.append(rows.points(drafted, differing))
                self.now.add(fresh[-1], held=False)
                self.was.add(_at(fresh[-1], grid), held=False)
        if not kept.whole:
            return None
        points = kept.written(target(self.prepared.loaded.job)["grid"], self.carried.schema)
        revised = [batch.select(REVISED) for batch in fresh]
        copy_with_rows(kept.before.package, kept.before.sha256, package, points, kept.fids(), revised)
        return points, *self._write(package, self._others(), into=True)

    def _write(self, package: Path, layers: Iterable[LayerSource], *, into: bool) -> tuple[Written, ...]:
        goal = target(self.prepared.loaded.job)
        return write_geopackage(
            package,
            layers,
            crs=goal["grid"],
            data_to=_newest(self.drafter),
            metadata={
                "height_datum": goal["height_name"],
                "compound_crs": goal["definition"],
                "caution": CAUTION,
            },
            into=into,
        )

    def sources(self) -> Iterator[LayerSource]:
        """Yield each layer when the one before is complete."""
        yield LayerSource("points", self.carried.schema, self._points(), self.description)
        yield from self._others()

    def _others(self) -> Iterator[LayerSource]:
        """Yield the layers after ``points``, once the second pass is done."""
        yield LayerSource("check_marks", CHECK_MARKS, [self.checks], self.description)
        self.sessions = session_rows(self.prepared, self.settled, self.drafter.routes, self.count.by_session)
        yield LayerSource("sessions", SESSIONS, [self.sessions], self.description)
        yield LayerSource("marks", MARKS, [self.marks], self.description)
        yield LayerSource("held_back", HELD_BACK, self._held_back(), self.description)
        if self.earlier is not None:
            rows, self.changes = compare(self.was, self.now, self.earlier.because)
            yield LayerSource("changes", CHANGES, [rows], self.description, geometry_type=LINE_Z)
        if self.by_code is not None:
            for code, layer in self.by_code.layers(self.description):
                self.code_of_layer[layer.name] = code
                yield layer

    def laid(self, files: list[dict[str, Any]]) -> Laid:
        """Return the sum of it all, once every layer has been taken."""
        assert self.sessions is not None
        read, on_marks = sum(self.drafter.gathered.rows), self.checks.num_rows
        return Laid(
            self.checks,
            self.sessions,
            self.marks,
            self.count.rows(read, on_marks),
            self.wholly.record(),
            self.count.shift_model(self.prepared),
            files,
            self.changes,
            self.plan.thinned(),
        )

    def _points(self) -> Iterator[pa.RecordBatch]:
        rows = Rows(self.drafter, self.carried)
        for drafted, held in self._drafted(rows):
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

    def _drafted(self, rows: Rows) -> Iterator[tuple[Drafted, pa.RecordBatch | None]]:
        """Yield every batch of the second pass, with its rows that are held back, which are spilled."""
        done, total = 0, sum(self.drafter.gathered.rows)
        with pa.ipc.new_stream(self.spill, HELD_BACK) as spilled:
            for drafted in self.drafter.batches():
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
        self.wholly.add(drafted)
        shown, place = ~drafted.on_mark, drafted.corrected
        kind = np.where(points, drafted.proof, HELD_KIND).astype(np.uint8)
        self.plan.add(kind[shown], place.easting[shown], place.northing[shown])
        if drafted.apart is not None and points.any():
            names = drafted.batch.column("name").filter(pa.array(points)).to_pylist()
            self.count.compare_models(drafted.session[points], drafted.apart[points], names)

    def _held_back(self) -> Iterator[pa.RecordBatch]:
        self.spill.seek(0)
        with pa.ipc.open_stream(self.spill) as held:
            yield from held


def _newest(drafter: Drafter) -> datetime:
    """Return the time of the newest observation, which every file bears as its date."""
    return moment(drafter.gathered.newest or 0)


def _at(rows: pa.RecordBatch, grid: Floats) -> pa.RecordBatch:
    """Return rows of ``points`` at other (k, 3) coordinates."""
    for axis, name in enumerate(("easting", "northing", "height")):
        rows = rows.set_column(rows.schema.get_field_index(name), name, pa.array(grid[:, axis]))
    return rows
