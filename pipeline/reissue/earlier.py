"""What a new issue takes over from the one before, and why it differs from it."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Integers
from pipeline.draft.taken_over import VALUES, Reuse
from pipeline.intake.operations import Routes
from pipeline.intake.prepare import Prepared
from pipeline.intake.target import target
from pipeline.issue.geopackage.previous import read_rows
from pipeline.issue.geopackage.recount import has_issued_bytes, has_issued_content
from pipeline.job.load import meaning_of
from pipeline.job.model import Job
from pipeline.reissue.changes import COMPARED, Side, attributes_of
from pipeline.reissue.fingerprint import program_version, sum_of
from pipeline.solve.solve import Settled


@dataclass(frozen=True)
class Before:
    """An issue that is already there: its record, and its GeoPackage."""

    record: Mapping[str, Any]
    package: Path

    @cached_property
    def points(self) -> pa.Table:
        """Its points: where each came from, and what a change may reach. Raises `Lost`."""
        return read_rows(self.package, "points", ("session", "source_file", "source_row", "proof", *VALUES))

    def forget_points(self) -> None:
        """Let go of its points, once what is needed of them was taken."""
        self.__dict__.pop("points", None)

    @cached_property
    def untouched(self) -> bool:
        """Whether its GeoPackage is byte for byte as it was issued."""
        return has_issued_bytes(self.package, self.record.get("files", []))

    @property
    def sha256(self) -> str:
        """Return the sum of its GeoPackage as it was issued."""
        return next(str(entry["sha256"]) for entry in self.record["files"] if entry["name"] == self.package.name)

    def side(self, columns: Sequence[str] = ()) -> Side:
        """Return its rows for comparison, with the attributes of points that ``columns`` has too. Raises `Lost`."""
        points = read_rows(self.package, "points", None if columns else COMPARED)
        side = Side(attributes=tuple(name for name in attributes_of(columns) if name in points.column_names))
        side.add(points, held=False)
        side.add(read_rows(self.package, "held_back", (*COMPARED, "reason")), held=True)
        return side


def another_frame(record: Mapping[str, Any], job: Job) -> str | None:
    """Return in words that an earlier issue's coordinates are in another grid or height datum, or None."""
    then, now = record["target"], target(job)
    for key, what in (("grid", "grid"), ("height", "height datum")):
        if then[key] != now[key]:
            return f"the {what} was {then[f'{key}_name']} and is {now[f'{key}_name']}"
    return None


def register_rows(prepared: Prepared, settled: Settled) -> list[dict[str, str]]:
    """Return the register's rows that the job uses, as text: coordinates as written, what is held, how well."""
    register = prepared.register
    if register is None:
        return []
    used = {*settled.occupations.marks, *settled.tied.marks.names}
    axes = ("easting", "northing", "height") if register.kind == "projected" else ("longitude", "latitude", "height")
    rows = []
    for number, name in enumerate(register.names):
        if name in used:
            row = {"mark": name, **dict(zip(axes, register.written[number], strict=True))}
            row["holds"] = str(register.holds[number])
            row["sigma horizontal"] = f"{register.sigma_east[number]:.6g}"
            row["sigma vertical"] = f"{register.sigma_up[number]:.6g}"
            rows.append(row)
    return rows


def reach(prepared: Prepared, routes: Routes, settled: Settled) -> dict[str, dict[str, str]]:
    """Return a sum per session and per raw file of everything that a point's numbers depend on.

    Where both are as they were in an earlier issue, the numbers are too, to the bit.
    """
    job = prepared.loaded.job
    common = [
        program_version(),
        [[step.definition, step.epoch, [grid.sha256 for grid in step.grids]] for step in routes.recorded()],
        job.quality.model_dump(mode="json"),
        job.shift.model,
        job.target.geoid_sigma,
    ]
    shared = sum_of(common)
    sessions = {}
    for window in prepared.windows:
        number = window.index
        parts = (
            settled.applied.shift[number],
            settled.applied.covariance[number],
            settled.field.start[number : number + 1],
            settled.field.geocentric[number],
            settled.field.grid[number],
            settled.bases.receiver[number],
            routes.epochs[number],
        )
        digest = hashlib.sha256(shared.encode())
        for part in parts:
            digest.update(np.ascontiguousarray(part).tobytes())
        sessions[window.session.name] = digest.hexdigest()
    files = {export.shown: sum_of([export.sha256, meaning_of(export.points)]) for export in prepared.exports}
    return {"sessions": sessions, "files": files}


def reuse(before: Before, prepared: Prepared, now: Mapping[str, Mapping[str, str]]) -> Reuse | None:
    """Return what of an earlier issue can be taken over, None where nothing can: not where somebody altered it.

    Args:
        before: the earlier issue.
        prepared: the job.
        now: its `reach`.
    """
    then = before.record.get("reach") or {"sessions": {}, "files": {}}
    names = [window.session.name for window in prepared.windows]
    same = np.array([then["sessions"].get(name) == now["sessions"][name] for name in names], bool)
    read = [export.shown for export in prepared.exports]
    # of a file that is read twice, such as two layers of one GeoPackage, a row's number does not say which row it is
    once = {name for name in read if read.count(name) == 1}
    files = {name for name, total in now["files"].items() if name in once and then["files"].get(name) == total}
    if not same.any() or not files or prepared.loaded.job.shift.model != "geocentric":
        return None
    if not before.untouched and not has_issued_content(before.package, before.record.get("files", [])):
        return None
    table, rows = before.points, {}
    session = position(table, "session", names)
    file = position(table, "source_file", sorted(files))
    source_row = np.asarray(table.column("source_row"), np.int64)
    values = np.column_stack([np.asarray(table.column(name), np.float64) for name in VALUES])
    for number, shown in enumerate(sorted(files)):
        here = np.flatnonzero(file == number)
        here = here[np.argsort(source_row[here], kind="stable")]
        if len(here):
            rows[shown] = (source_row[here], session[here].astype(np.int32), values[here])
    return Reuse(same, rows)


def position(table: pa.Table, column: str, words: Sequence[str]) -> Integers:
    """Return (n,) at which place among the words a column has its word, -1 where it is none of them."""
    found = pc.fill_null(pc.index_in(table.column(column), pa.array(words, pa.string())), -1)
    return np.asarray(found).astype(np.int64)
