"""The previous issue: its record and its rows."""

from collections.abc import Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import cast

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.arrays import Flags
from pipeline.draft.earlier_numbers import Reuse
from pipeline.draft.second_pass import Lookup
from pipeline.intake.survey import Survey
from pipeline.issue.geopackage.earlier_rows import columns_of, read_batches
from pipeline.issue.geopackage.recount import has_issued_bytes, has_issued_content
from pipeline.issue.record_types import Reach, Record, SiteFit, Target
from pipeline.read.exports import Export
from pipeline.reissue.earlier_points import READ, EarlierPoints, Passing
from pipeline.reissue.means import PAIRS
from pipeline.reissue.side import COMPARED, Side, attributes_of


@dataclass(frozen=True)
class Last:
    """The previous issue: its record, and its GeoPackage."""

    record: Record
    package: Path

    @classmethod
    def of(cls, path: Path, record: Record) -> "Last":
        """Return the issue whose record lies at a path."""
        return cls(record, path.with_name(f"{record['job']}-{record['issue']:03d}.gpkg"))

    @property
    def folder(self) -> Path:
        """Return where its files stand."""
        return self.package.parent

    @property
    def columns(self) -> list[str]:
        """Return the columns of its points, as its record has them; none where an early version wrote it."""
        layers = (layer for file in self.record["files"] for layer in file.get("layers", []))
        return next((list(layer["columns"]) for layer in layers if layer["name"] == "points"), [])

    def points(self, sessions: Sequence[str], files: Sequence[str]) -> EarlierPoints:
        """Return its points; ``sessions`` and ``files`` are what those are called now. Raises `Lost`."""
        with closing(read_batches(self.package, "points", READ)) as batches:
            return EarlierPoints(batches, sessions, files)

    @cached_property
    def untouched(self) -> bool:
        """Whether its GeoPackage is byte for byte as it was issued."""
        return has_issued_bytes(self.package, self.record["files"])

    @property
    def sha256(self) -> str:
        """Return the sum of its GeoPackage as it was issued."""
        return next(entry["sha256"] for entry in self.record["files"] if entry["name"] == self.package.name)

    def side(self, columns: Sequence[str] = ()) -> Side:
        """Return its rows for comparison, with the attributes of points that ``columns`` has too. Raises `Lost`."""
        side = self._side_without_points(columns)
        with closing(read_batches(self.package, "points", (*COMPARED, *self._proof, *side.attributes))) as batches:
            for batch in batches:
                side.add(batch, held=False)
        return side

    def side_and_points(
        self, columns: Sequence[str], sessions: Sequence[str], files: Sequence[str]
    ) -> tuple[Side, EarlierPoints]:
        """Return what `side` and `points` do, read at once. Raises `Lost`."""
        side = self._side_without_points(columns)
        wanted = tuple(dict.fromkeys((*READ, *COMPARED, *self._proof, *side.attributes)))
        with closing(read_batches(self.package, "points", wanted)) as batches:
            return side, EarlierPoints(_added_to(side, batches), sessions, files)

    @property
    def _proof(self) -> tuple[str, ...]:
        """Return the column of the points' proof words, where its record has it."""
        return ("proof",) if "proof" in self.columns else ()

    def _side_without_points(self, columns: Sequence[str]) -> Side:
        there = columns_of(self.package, "points") if columns else set()
        side = Side([name for name in attributes_of(columns) if name in there], self._pairs())
        with closing(read_batches(self.package, "held_back", (*COMPARED, "reason"))) as batches:
            for batch in batches:
                side.add(batch, held=True)
        return side

    def _pairs(self) -> pa.Table | None:
        """Return which readings are of one point where some points are means, else None. Raises `Lost`."""
        if not self.record["repeats"]["means"]:
            return None
        with closing(read_batches(self.package, "repeats", PAIRS)) as batches:
            return pa.Table.from_batches(batches)


def _added_to(side: Side, points: Iterable[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
    for batch in points:
        side.add(batch, held=False)
        yield batch


def both_sides(old: Last, new: Last) -> tuple[Side, Side]:
    """Return the rows of two issues for comparison, with the attributes of points that both have. Raises `Lost`."""
    common = [name for name in old.columns if name in new.columns]
    return old.side(common), new.side(common)


def another_frame(record: Record, now: Target) -> str | None:
    """Return in words that an earlier issue's coordinates are in another grid or height datum, or None."""
    then = record["target"]
    if then["site"] is not None and now["site"] is not None:  # one site's system, however it was found
        then, now = cast(Target, {**then, **_base(then["site"])}), cast(Target, {**now, **_base(now["site"])})
    if then["grid"] != now["grid"]:
        return f"the grid was {then['grid_name']} and is now {now['grid_name']}"
    if then["height"] != now["height"]:
        return f"the height datum was {then['height_name']} and is now {now['height_name']}"
    return None


def _base(site: SiteFit) -> dict[str, str]:
    """Return the grid and the height datum that a site's own system is derived of."""
    return {"grid": site["grid"], "height": site["height"]}


class Standing(Struct, frozen=True):
    """What of an issue before stands as it was: (S,) which sessions, and which raw files, whose points can be told."""

    sessions: Flags
    files: frozenset[str]

    def names(self, survey: Survey) -> set[str]:
        """Return the names of the sessions that are as they were."""
        return {window.session.name for window in survey.windows if self.sessions[window.index]}


def standing(last: Last, survey: Survey, now: Reach) -> Standing | None:
    """Return what of the previous issue can be taken over; None where nothing can, or its content was altered.

    Args:
        last: the previous issue.
        survey: the job.
        now: its `Fingerprint.reach`.
    """
    then = last.record["reach"]
    names = [window.session.name for window in survey.windows]
    same = np.array([then["sessions"].get(name) == now["sessions"][name] for name in names], bool)
    read = [export.shown for export in survey.exports]
    # of a file that is read twice, such as two layers of one GeoPackage, a row's number does not say which row it is
    once = {name for name in read if read.count(name) == 1}
    files = {name for name, total in now["files"].items() if name in once and then["files"].get(name) == total}
    if not same.any() or not files or survey.job.shift.model != "geocentric":
        return None
    if not last.untouched and not has_issued_content(last.package, last.record["files"]):
        return None
    return Standing(same, frozenset(files))


class TakenOver(Struct, frozen=True):
    """The numbers of an issue's points that can be taken over; ``files`` are what all raw files are called now."""

    standing: Standing
    points: EarlierPoints
    files: Sequence[str]

    def passing(self) -> Lookup:
        """Give them to a second pass, as it comes past them; what is in another order now has to be worked out."""
        passing = Passing(self.points)

        def ready(batch: pa.RecordBatch, export: Export) -> Reuse | None:
            if export.shown not in self.standing.files:
                return None
            found = passing.among(self.files.index(export.shown), np.asarray(batch.column("source_row"), np.int64))
            return None if found is None else Reuse(self.standing.sessions, {export.shown: found.rows()})

        return ready


def called(survey: Survey) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return what the sessions and the raw files of a job are called, each once."""
    shown = dict.fromkeys(export.shown for export in survey.exports)
    return tuple(window.session.name for window in survey.windows), tuple(shown)
