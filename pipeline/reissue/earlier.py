"""The previous issue: its record, its rows, and which of its numbers can be taken over."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, partial
from pathlib import Path
from typing import cast

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from pipeline.arrays import Integers
from pipeline.draft.taken_over import Reuse
from pipeline.intake.survey import Survey
from pipeline.issue.geopackage.previous import read_rows
from pipeline.issue.geopackage.recount import has_issued_bytes, has_issued_content
from pipeline.issue.record_types import Reach, Record, SiteFit, Target
from pipeline.reissue.changes import COMPARED, Side, attributes_of
from pipeline.solve.correct import VALUES


@dataclass(frozen=True)
class Last:
    """The issue before: its record, and its GeoPackage."""

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

    def points(self) -> pa.Table:
        """Return its points: where each came from, and what a change may reach. Raises `Lost`."""
        return read_rows(self.package, "points", ("session", "source_file", "source_row", "proof", *VALUES))

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
        points = read_rows(self.package, "points", None if columns else COMPARED)
        names = tuple(name for name in attributes_of(columns) if name in points.column_names)
        side = Side(attributes=names, values=partial(read_rows, self.package, "points", names))
        side.add(points, held=False)
        side.add(read_rows(self.package, "held_back", (*COMPARED, "reason")), held=True)
        return side


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
        return f"the grid was {then['grid_name']} and is {now['grid_name']}"
    if then["height"] != now["height"]:
        return f"the height datum was {then['height_name']} and is {now['height_name']}"
    return None


def _base(site: SiteFit) -> dict[str, str]:
    """Return the grid and the height datum that a site's own system is derived of."""
    return {"grid": site["grid"], "height": site["height"]}


def reuse(last: Last, survey: Survey, now: Reach) -> tuple[Reuse, pa.Table] | None:
    """Return what of the issue before can be taken over, with its points; None where nothing can, or it was altered.

    Args:
        last: the issue before.
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
    table, rows = last.points(), {}
    session = position(table, "session", names)
    file = position(table, "source_file", sorted(files))
    source_row = np.asarray(table.column("source_row"), np.int64)
    values = np.column_stack([np.asarray(table.column(name), np.float64) for name in VALUES])
    for number, shown in enumerate(sorted(files)):
        here = np.flatnonzero(file == number)
        here = here[np.argsort(source_row[here], kind="stable")]
        if len(here):
            rows[shown] = (source_row[here], session[here].astype(np.int32), values[here])
    return Reuse(same, rows), table


def position(table: pa.Table, column: str, words: Sequence[str]) -> Integers:
    """Return (n,) at which place among the words a column has its word, -1 where it is none of them."""
    found = pc.fill_null(pc.index_in(table.column(column), pa.array(words, pa.string())), -1)
    return np.asarray(found).astype(np.int64)
