"""Writes an issue's layers to its files: what is known early, and what only when all files are written.

The GeoPackage is written in a thread of its own. All that the record and the report say of the points is known when the
last of them is on its way; the index of a large layer, which lets other threads run, is packed while they are made.
"""

import threading
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from functools import cached_property
from pathlib import Path
from typing import Self

import pyarrow as pa

from pipeline.digest import digest
from pipeline.draft.merged import Settled
from pipeline.intake.survey import Survey
from pipeline.issue.folder.synced_write import has_room, sync
from pipeline.issue.formats.dxf_former import layers_of_codes
from pipeline.issue.formats.unused_codes import without_points
from pipeline.issue.geopackage.layer_source import LayerSource
from pipeline.issue.geopackage.readback import ReadBackError, load_reader, read_back
from pipeline.issue.geopackage.revise import copy_with_rows
from pipeline.issue.geopackage.write_errors import NotWritten
from pipeline.issue.record_types import FileIssued
from pipeline.progress import Progress
from pipeline.reissue.against import Earlier
from pipeline.reissue.changed_rows import REVISED, ChangedRows
from pipeline.run.about import about
from pipeline.run.judged_facts import judged
from pipeline.run.layers import Laid, Layers, Rest, SecondPass


def dry(settled: Settled, causes: Sequence[str | None], progress: Progress | None) -> Laid:
    """Run the second pass and write nothing."""
    with SecondPass(settled, progress, None) as running:
        for _ in running.points():
            pass
        return Rest.of(running, causes).laid()


class LayOut:
    """Runs the second pass into the GeoPackage of an issue and what the job asks for besides, within a context.

    With the issue ``earlier`` goes a layer of what changed; where few points did, its GeoPackage is copied and they are
    changed in the copy. ``causes`` says per occupation what it may mean where it fails. On leaving, the thread that
    writes is over; what it was about, if nobody waited for `files`, is given up.
    """

    def __init__(
        self,
        settled: Settled,
        causes: Sequence[str | None],
        package: Path,
        number: int,
        progress: Progress | None,
        earlier: Earlier | None = None,
    ) -> None:
        self._settled, self._causes, self._earlier = settled, causes, earlier
        self._package, self._number, self._progress = package, number, progress
        self._beside = ThreadPoolExecutor(1, "tiedown-layers")
        self._rest: Future[Rest] = Future()
        self._given_up = threading.Event()

    def __enter__(self) -> Self:
        self._written = self._beside.submit(self._write)
        return self

    def __exit__(self, *raised: object) -> None:
        self._given_up.set()
        self._beside.shutdown()

    def laid(self) -> Laid:
        """Wait for the second pass and return what it gave; where a drawing is written, mostly for all files too.

        Codes of the job may be in no drawing, and its layers are compared with the earlier drawing's.

        Raises `RuntimeError` where the rows do not add up, and whatever comes of writing.
        """
        rest, job = self._rest.result(), self._survey.job
        codes = [one.code for one in job.drawing.codes]
        if "dxf" not in job.issue.formats or (self._number == 1 and not codes):
            return rest.laid()
        _ = self.files  # nothing is taken from a file before it was read back
        left_out = without_points(self._package, codes) if codes else []
        return rest.laid(left_out, layers_of_codes(self._package.with_suffix(".dxf")))

    @cached_property
    def files(self) -> list[FileIssued]:
        """Wait for the GeoPackage, read it back, write the other formats from it, and return all files with their sums.

        Raises `ReadBackError` where a file is not what was written, and `NotWritten` where that is the disk's doing.
        """
        load_reader()  # meanwhile
        written = self._written.result()
        package, rest = self._package, self._rest.result()
        try:
            with ThreadPoolExecutor(2) as beside:  # both let other threads run
                summed = beside.submit(digest, package)
                synced = beside.submit(sync, package)  # on its way to the disk while it is read back
                database = read_back(package, written)
            synced.result()
        except ReadBackError as error:
            # GDAL may say nothing of a disk that fills or fails while it closes a file or begins a layer
            has_room(package, self._earlier.last.package.stat().st_size if self._earlier is not None else 0)
            if self._reads_back_anew():
                raise NotWritten(str(error)) from error
            raise
        entries = [rest.summed(layer) for layer in written]
        first: FileIssued = {"name": package.name, "sha256": summed.result(), "layers": entries, "database": database}
        return [first, *_further_formats(self._survey, self._number, package, written, rest)]

    @property
    def _survey(self) -> Survey:
        return self._settled.drafter.survey

    def _write(self) -> Layers:
        """Write the GeoPackage, and let the others know what is known as soon as it is."""
        try:
            return self._written_now()
        except BaseException as failure:  # whoever waits for the second pass is told what became of it
            if not self._rest.done():
                self._rest.set_exception(failure)
            raise

    def _written_now(self) -> Layers:
        earlier = self._earlier
        if earlier is not None and earlier.changed is not None:
            with SecondPass(self._settled, self._progress, earlier) as running:
                written = self._revised(running, earlier.changed)
            if written is not None:
                return written
        with SecondPass(self._settled, self._progress, earlier) as running:
            return self._written_anew(running, self._package, self._rest)

    def _written_anew(self, running: SecondPass, package: Path, known: Future[Rest]) -> Layers:
        """Write every layer into a new GeoPackage."""
        running.read_earlier()

        def points() -> Iterator[pa.RecordBatch]:
            for batch in running.points():
                if self._given_up.is_set():
                    raise InterruptedError("the issue was given up")
                yield batch
            known.set_result(Rest.of(running, self._causes))

        def layers() -> Iterator[LayerSource]:
            yield LayerSource("points", running.carried.schema, points(), running.description)
            yield from known.result().sources()

        return running.write(package, layers(), into=False)

    def _revised(self, running: SecondPass, changed: ChangedRows) -> Layers | None:
        """Run the second pass against the points of the previous issue, and change a copy of its GeoPackage.

        Returns None, and has written nothing, where points came or went or too many of them differ.
        """
        fresh = running.held_against(changed)
        if fresh is None:
            return None
        points = changed.written(self._survey.target["grid"], running.carried.schema)
        revised = [batch.select(REVISED) for batch in fresh]
        copy_with_rows(changed.last.package, changed.last.sha256, self._package, points, changed.fids(), revised)
        rest = Rest.of(running, self._causes)
        self._rest.set_result(rest)
        return (points, *running.write(self._package, rest.sources(), into=True))

    def _reads_back_anew(self) -> bool:
        """Say whether the layers read back where they are written once more: then the disk lost some the first time."""
        again = self._package.with_name(f"again-{self._package.name}")
        with SecondPass(self._settled, self._progress, None) as running:
            written = self._written_anew(running, again, Future())
        try:
            read_back(again, written)
        except ReadBackError:
            return False
        finally:
            again.unlink(missing_ok=True)
        return True


def _further_formats(survey: Survey, number: int, package: Path, written: Layers, rest: Rest) -> list[FileIssued]:
    """Write what the job asks for besides the GeoPackage; what makes it is loaded for such a job alone."""
    if set(survey.job.issue.formats) == {"gpkg"}:
        return []
    from pipeline.issue.formats.formats import write_formats
    from pipeline.issue.geopackage.layer_stream import Package

    complete = Package(package, {layer.name: layer.rows for layer in written})
    return write_formats(survey.job.issue.formats, complete, about(survey, number, tuple(judged(rest))))
