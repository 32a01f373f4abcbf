"""The marks at hand: those of the register, and those that the newest issue adjusted, in the job's own frames.

What the register holds of a mark is the register's. What it does not hold, and an issue has found by ties, is taken
from there: a temporary mark, or the position of a bench mark.
"""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from pipeline.arrays import Flags, Floats, Integers
from pipeline.control import Register
from pipeline.geodesy import crs
from pipeline.geodesy.uncertainty import CIRCLE_95, NORMAL_95
from pipeline.intake.operations import Operations
from pipeline.issue.record_types import Record
from pipeline.issue.row_types import MarkRow
from pipeline.issue.written_axes import axes_written
from pipeline.job.model import Job
from pipeline.replace import replace
from pipeline.words import Holds


@dataclass(frozen=True)
class Marks:
    """Marks, (n,) of them, metres to the east, north and up, degrees.

    Args:
        names: as in the register or the issue.
        grid: (n, 3) easting, northing, height in the issued frame; NaN where it is not known.
        geographic: (n, 3) longitude, latitude and ellipsoidal height in the datum of the grid; NaN likewise.
        xyz: (n, 3) working frame, NaN without a position; a height that is not known is that of marks nearby.
        held: (n, 3) whether east, north, up are known well enough to tie to.
        sigma: (n, 3) standard uncertainty of what is held.
        stated: (n, 2) whether somebody states how well position and height are known.
        issued: (n, 2) whether position and height come from the newest issue rather than the register.
        source: where the coordinates come from, in the register's words.
        dated: of what day they are, likewise.
    """

    names: tuple[str, ...]
    grid: Floats
    geographic: Floats
    xyz: Floats
    held: Flags
    sigma: Floats
    stated: Flags
    issued: Flags
    source: tuple[str, ...]
    dated: tuple[str, ...]

    @property
    def placed(self) -> Flags:
        """Return (n,) which marks have a position."""
        return np.asarray(np.isfinite(self.geographic[:, :2]).all(axis=1))

    @property
    def holds(self) -> list[Holds | None]:
        """Return what each mark can be held by, as a register says it; None for nothing."""
        words = {(True, True): Holds.FULL, (True, False): Holds.POSITION, (False, True): Holds.HEIGHT}
        return [words.get((position, height)) for position, height in self.held[:, [0, 2]].tolist()]

    def taken(self, rows: Integers | Flags) -> "Marks":
        """Return some of the marks, by their numbers (k,) in the order wanted or by a mask (n,)."""
        rows = np.arange(len(self.names))[rows]
        found: dict[str, Any] = {}
        for one in fields(self):
            values = getattr(self, one.name)
            found[one.name] = values[rows] if isinstance(values, np.ndarray) else tuple(values[row] for row in rows)
        return Marks(**found)


def registered(register: Register | None, job: Job, operations: Operations) -> Marks:
    """Return the marks of a register; none where there is none."""
    if register is None or operations.register is None or job.control is None:
        return _nothing()
    given = np.column_stack([register.first, register.second, register.third])
    there = np.isfinite(given)
    filled = given.copy()
    filled[:, 2] = _filled(given)
    xyz = np.column_stack(operations.register.forward(*filled.T))
    geographic = np.column_stack(operations.frames.to_geographic.forward(*xyz.T))
    own = operations.site is None and crs.same_crs(job.control.crs, job.target.grid)
    if own and crs.same_height_datum(job.control.height, job.target.height):
        grid = given  # the register's own numbers, which no way there and back has touched
    else:
        grid = np.column_stack(operations.frames.to_issued.forward(*xyz.T))
    grid, geographic = np.where(there, grid, np.nan), np.where(there, geographic, np.nan)
    position, height = register.holds_position, register.holds_height
    held = np.column_stack([position, position, height]) & np.isfinite(grid)
    return Marks(
        names=register.names,
        grid=grid,
        geographic=geographic,
        xyz=xyz,
        held=held,
        sigma=np.column_stack([register.sigma_east, register.sigma_north, register.sigma_up]),
        stated=np.array(register.stated),
        issued=np.zeros((len(register.names), 2), bool),
        source=register.source,
        dated=register.dated,
    )


def with_adjusted(marks: Marks, record: Record, operations: Operations) -> Marks:
    """Return marks with those of an issue beside them, and with what an issue found of those that are there.

    The issue's coordinates have to be in the grid and height datum that ``operations`` lead to.
    """
    found = [row for row in record["marks"] if row["easting"] is not None and row["northing"] is not None]
    new = [row["mark"] for row in found if row["mark"] not in marks.names]
    made = with_blanks(marks, new)
    number = {name: row for row, name in enumerate(made.names)}
    source, dated = list(made.source), list(made.dated)
    for row in found:
        at = number[row["mark"]]
        taken = _taken(row, made.held[at, [0, 2]])
        if taken.any():
            _take(made, at, row, taken, _metres(record, row), operations)
        if taken.all():
            source[at], dated[at] = f"{record['job']} issue {record['issue']:03d}", record["data_to"][:10]
    return replace(made, source=tuple(source), dated=tuple(dated))


def _taken(row: MarkRow, held: Flags) -> Flags:
    """Return (2,) whether position and height of a mark are taken from the issue: what no register holds, it knows."""
    known = np.array([row["hu95"] is not None, row["height"] is not None and row["vu95"] is not None])
    return np.asarray(known & ~held)


def _take(marks: Marks, at: int, row: MarkRow, taken: Flags, metres: Floats, operations: Operations) -> None:
    """Put what is taken of an issue's mark into the arrays, in place; ``metres`` (3,) are its coordinates."""
    components = taken[[0, 0, 1]]
    marks.grid[at, components] = metres[components]
    known = np.isfinite(marks.grid[at])
    xyz = np.column_stack(operations.frames.to_issued.inverse(*np.where(known, marks.grid[at], 0.0)[None].T))
    marks.xyz[at] = xyz[0]
    marks.geographic[at] = np.where(known, np.column_stack(operations.frames.to_geographic.forward(*xyz.T))[0], np.nan)
    sigma = np.array([(row["hu95"] or 0.0) / CIRCLE_95] * 2 + [(row["vu95"] or 0.0) / NORMAL_95])
    marks.sigma[at, components] = sigma[components]
    marks.held[at] |= components
    marks.stated[at] |= taken
    marks.issued[at] |= taken


def _metres(record: Record, row: MarkRow) -> Floats:
    """Return (3,) metres to the east, north and up of a mark of an issue; NaN for what it lacks."""
    written = [np.nan if value is None else value for value in (row["easting"], row["northing"], row["height"])]
    return np.array(axes_written(record).metres(*written), np.float64)


def with_blanks(marks: Marks, names: Sequence[str]) -> Marks:
    """Return copies of marks with others behind them, of which nothing but the name is known."""
    count = len(names)
    unknown, nothing, blank = np.full((count, 3), np.nan), np.zeros((count, 3), bool), ("",) * count
    return Marks(
        names=(*marks.names, *names),
        grid=np.vstack([marks.grid, unknown]),
        geographic=np.vstack([marks.geographic, unknown]),
        xyz=np.vstack([marks.xyz, unknown]),
        held=np.vstack([marks.held, nothing]),
        sigma=np.vstack([marks.sigma, np.ones((count, 3))]),
        stated=np.vstack([marks.stated, nothing[:, :2]]),
        issued=np.vstack([marks.issued, nothing[:, :2]]),
        source=(*marks.source, *blank),
        dated=(*marks.dated, *blank),
    )


def _nothing() -> Marks:
    none, neither = np.zeros((0, 3)), np.zeros((0, 3), bool)
    return Marks((), none, none, none, neither, none, neither[:, :2], neither[:, :2], (), ())


def _filled(given: Floats) -> Floats:
    """Return (n,) heights, in the place of one that is not known that of the mark nearest to it, else 0.

    It only serves to bring the position into another frame, where a few metres of height move nothing that counts.
    """
    height = given[:, 2].copy()
    known = np.flatnonzero(np.isfinite(given).all(axis=1))
    for row in np.flatnonzero(~np.isfinite(height)).tolist():
        off = np.hypot(*(given[known, :2] - given[row, :2]).T)
        height[row] = given[known[np.argmin(off)], 2] if len(known) and np.isfinite(off).all() else 0.0
    return height
