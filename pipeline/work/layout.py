"""The second pass laid out as the layers of one GeoPackage, written and read back; or counted and thrown away."""

import hashlib
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import pyarrow as pa

from pipeline.issue.by_code import ByCode
from pipeline.issue.formats import write_formats
from pipeline.issue.geopackage import LayerSource, write_geopackage
from pipeline.issue.layers import CHANGES, CHECK_MARKS, HELD_BACK, LINE_Z, MARKS, SESSIONS
from pipeline.issue.readback import read_back
from pipeline.issue.streamed import Package
from pipeline.work.account import CAUTION, Count, about, target
from pipeline.work.changes import Because, Side, compare
from pipeline.work.codes import Codes
from pipeline.work.draft import Drafted, Drafter
from pipeline.work.gather import Progress
from pipeline.work.rows import Carried, Rows, check_rows, mark_rows, session_rows


@dataclass(frozen=True)
class Laid:
    """What the second pass gave: the small layers, the record's ``rows`` and the files written."""

    checks: pa.RecordBatch
    sessions: pa.RecordBatch
    marks: pa.RecordBatch
    rows: dict[str, Any]
    shift_model: dict[str, Any]
    files: list[dict[str, Any]]
    changes: dict[str, Any] | None


def lay_out(
    drafter: Drafter,
    told: Sequence[str | None],
    package: Path,
    number: int,
    progress: Progress | None,
    earlier: tuple[Side, Because] | None = None,
) -> Laid:
    """Run the second pass into the GeoPackage of issue ``number``, read it back, and write the other formats from it.

    ``earlier`` are the rows of the issue before, and what gives the reason of a change; with it goes a layer of them.

    Raises `RuntimeError` where the rows do not add up and `ReadBackError` where a file is not what was written.
    """
    newest = datetime.fromtimestamp((drafter.gathered.newest or 0) / 1000, UTC)
    with _Layers(drafter, told, progress, earlier) as layers:
        job = drafter.prepared.loaded.job
        goal = target(job)
        written = write_geopackage(
            package,
            layers.sources(f"heights: {goal['height_name']}"),
            crs=goal["grid"],
            data_to=newest,
            metadata={
                "height_datum": goal["height_name"],
                "compound_crs": goal["definition"],
                "caution": CAUTION,
            },
        )
    read_back(package, written)
    with package.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    entries = [{**layer.as_record(), **layers.code_of(layer.name)} for layer in written]
    files: list[dict[str, Any]] = [{"name": package.name, "sha256": digest, "layers": entries}]
    complete = Package(package, {layer.name: layer.rows for layer in written})
    files += write_formats(job.issue.formats, complete, about(job, number, newest))
    return layers.laid(files)


def dry(drafter: Drafter, told: Sequence[str | None], progress: Progress | None) -> Laid:
    """Run the second pass and write nothing."""
    with _Layers(drafter, told, progress, None) as layers:
        for source in layers.sources(""):
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
        earlier: tuple[Side, Because] | None,
    ) -> None:
        self.earlier, self.now = earlier, Side()
        self.changes: dict[str, Any] | None = None
        self.drafter, self.progress = drafter, progress
        self.prepared, self.settled = drafter.prepared, drafter.settled
        self.carried = Carried.of(self.prepared.exports)
        self.count = Count(len(self.prepared.windows))
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

    def sources(self, description: str) -> Iterator[LayerSource]:
        """Yield each layer when the one before is complete."""
        yield LayerSource("points", self.carried.schema, self._points(), description)
        yield LayerSource("check_marks", CHECK_MARKS, [self.checks], description)
        self.sessions = session_rows(self.prepared, self.settled, self.drafter.routes, self.count.by_session)
        yield LayerSource("sessions", SESSIONS, [self.sessions], description)
        yield LayerSource("marks", MARKS, [self.marks], description)
        yield LayerSource("held_back", HELD_BACK, self._held_back(), description)
        if self.earlier is not None:
            rows, self.changes = compare(self.earlier[0], self.now, self.earlier[1])
            yield LayerSource("changes", CHANGES, [rows], description, geometry_type=LINE_Z)
        if self.by_code is not None:
            for code, layer in self.by_code.layers(description):
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
            self.count.shift_model(self.prepared),
            files,
            self.changes,
        )

    def _points(self) -> Iterator[pa.RecordBatch]:
        rows, done, total = Rows(self.drafter, self.carried), 0, sum(self.drafter.gathered.rows)
        with pa.ipc.new_stream(self.spill, HELD_BACK) as spilled:
            for drafted in self.drafter.batches():
                self._note(drafted)
                if drafted.held.any():
                    spilled.write_batch(self._seen(rows.held_back(drafted), held=True))
                batch = rows.points(drafted)
                if batch.num_rows:
                    self.codes.add(batch.column("code"))
                    if self.by_code is not None:
                        self.by_code.add(batch)
                    yield self._seen(batch, held=False)
                done += len(drafted.held)
                if self.progress:
                    self.progress("correcting", done, total)

    def _seen(self, batch: pa.RecordBatch, held: bool) -> pa.RecordBatch:
        """Keep what a comparison with the issue before needs."""
        if self.earlier is not None:
            self.now.add(batch, held)
        return batch

    def _note(self, drafted: Drafted) -> None:
        points = drafted.points
        self.count.add(drafted.session, drafted.held, points)
        if drafted.apart is not None and points.any():
            names = drafted.batch.column("name").filter(pa.array(points)).to_pylist()
            self.count.compare_models(drafted.session[points], drafted.apart[points], names)

    def _held_back(self) -> Iterator[pa.RecordBatch]:
        self.spill.seek(0)
        with pa.ipc.open_stream(self.spill) as held:
            yield from held
