"""One PROJ operation, as it is recorded and as it is run."""

import threading
from dataclasses import dataclass
from typing import Any

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike
from pyproj import Transformer
from pyproj.exceptions import ProjError

from pipeline.arrays import Flags, Floats, Triple
from pipeline.geodesy import grids, pipelines
from pipeline.geodesy.area import Use
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.frames import GRS80, to_geographic
from pipeline.geodesy.grids import Grid


@dataclass(frozen=True)
class Operation:
    """One chosen operation, the same for every point; plain values, so that it can be sent to another process.

    ``definition`` is a PROJ pipeline that names grid files by their base names only; ``accuracy`` is PROJ's stated one
    [m], 0 for a plain conversion, None where it is not known. Where ``time_dependent``, every point needs its own time;
    a fixed coordinate ``epoch`` [decimal year] serves all points instead where it is given.

    ``within`` are its areas of use where not all of the job lies in them; points outside are given no coordinates.
    X, Y, Z, by which that is judged, are what it leads to, or from where ``from_xyz``.
    """

    step: str
    name: str
    definition: str
    accuracy: float | None
    grids: tuple[Grid, ...] = ()
    time_dependent: bool = False
    epoch: float | None = None
    within: tuple[Use, ...] = ()
    from_xyz: bool = False

    def forward(self, first: ArrayLike, second: ArrayLike, third: ArrayLike, time: ArrayLike | None = None) -> Triple:
        """Return the three coordinates (n,) after the operation, given before it (n,) and times [decimal year] (n,).

        Degrees and metres. A point that is not finite, has no time where one is needed, or lies outside a grid or the
        area of use comes out as NaN in all three. Raises `ValueError` where the operation is time-dependent and
        ``time`` is not given, `OperationError` where a grid file is no longer there.
        """
        return self._run("FORWARD", first, second, third, time)

    def inverse(self, first: ArrayLike, second: ArrayLike, third: ArrayLike, time: ArrayLike | None = None) -> Triple:
        """Return the three coordinates (n,) before the operation, given after it; otherwise as `forward`."""
        return self._run("INVERSE", first, second, third, time)

    def _run(
        self, direction: str, first: ArrayLike, second: ArrayLike, third: ArrayLike, time: ArrayLike | None
    ) -> Triple:
        """Return the three coordinates, each of the shape that all arguments broadcast to: degrees, metres.

        ``direction`` is FORWARD or INVERSE as PROJ has it; ``time`` are decimal years, None where none is needed.
        """
        columns = np.broadcast_arrays(*(np.asarray(values, dtype=np.float64) for values in (first, second, third)))
        shape = columns[0].shape
        # PROJ works in place, on copies of our own
        x, y, z = (np.array(column, dtype=np.float64, order="C", ndmin=1).reshape(-1) for column in columns)
        forward = direction == "FORWARD"
        outside = self._outside(x, y, z) if self.within and forward is self.from_xyz else None
        moments = self._times(time, x.size)
        if x.size:
            made = _transformer(self)
            if moments is None:
                made.transform(x, y, z, direction=direction, inplace=True)
            else:
                made.transform(x, y, z, moments, direction=direction, inplace=True)
        lost = ~(np.isfinite(x) & np.isfinite(y) & np.isfinite(z))
        if moments is not None:
            lost |= ~np.isfinite(moments)
        if self.within:
            lost |= self._outside(x, y, z) if outside is None else outside
        if lost.any():
            x[lost] = y[lost] = z[lost] = np.nan
        return x.reshape(shape), y.reshape(shape), z.reshape(shape)

    def _outside(self, x: Floats, y: Floats, z: Floats) -> Flags:
        """Return (n,) which X, Y, Z lie outside an area of use; such areas are stated to a kilometre."""
        longitude, latitude, _ = to_geographic(x, y, z, GRS80)
        outside = np.zeros(x.shape, bool)
        for use in self.within:
            outside |= ~use.area.holds(longitude, latitude)
        return outside

    def _times(self, time: ArrayLike | None, size: int) -> Floats | None:
        if self.epoch is not None:
            return np.full(size, self.epoch)
        if not self.time_dependent:
            return None
        if time is None:
            raise ValueError(f"{self.step}: {self.name} depends on time; without times it would be a silent zero")
        moments = np.array(np.broadcast_to(np.asarray(time, dtype=np.float64).reshape(-1), size))
        # PROJ takes an infinite time for none and moves nothing
        moments[~np.isfinite(moments)] = np.nan
        return moments


_ready = threading.local()


def _transformer(operation: Operation) -> Transformer:
    """Return this thread's PROJ object: those of one thread must not be used in another."""
    made: dict[Any, Transformer] = _ready.__dict__.setdefault("made", {})
    key = (operation.definition, operation.grids)
    if key not in made:
        made[key] = _build(operation)
    return made[key]


def _build(operation: Operation) -> Transformer:
    grids.prepare_proj()
    located = {known.name: _located(operation, known) for known in operation.grids}
    definition = pipelines.with_grids(operation.definition, lambda name: located.get(name, name))
    try:
        return Transformer.from_pipeline(definition)
    except ProjError as error:
        names = ", ".join(located) or "no grid"
        raise OperationError(
            f"{operation.step}: PROJ cannot use {operation.name} ({names}): {str(error).rsplit(': ', 1)[-1]}",
            "check that the file is the right grid and is complete" if located else "check the definitions of the CRSs",
        ) from error


#: What PROJ cannot read in the path of a grid, quoted or not, and why.
_UNREADABLE = {
    ",": "comma, which PROJ reads as a list",
    "#": "number sign, after which PROJ treats the rest as a comment",
    ";": "semicolon, which PROJ reads as a blank",
}


def _located(operation: Operation, known: Grid) -> str:
    """Return the grid's path on this machine: where it was chosen, or, in another place, the same file by its hash."""
    path = known.path if known.path.is_file() else grids.find_grid(known.name)
    if path is None:
        raise grids.missing(operation.step, [known.name], operation.name)
    if path != known.path and grids.grid(path).sha256 != known.sha256:
        raise OperationError(
            f"{operation.step}: {path} is not the grid file {known.name} that was chosen (its SHA-256 differs)",
            "use the same grid files on every machine",
        )
    text = path.resolve().as_posix()
    wrong = next((sign for sign in _UNREADABLE if sign in text), None)
    if wrong is not None:
        raise OperationError(
            f"{operation.step}: the path of grid file {known.name} has a {_UNREADABLE[wrong]} ({text})",
            f'move it to a folder without "{wrong}" in its name',
        )
    return text


class Frames(Struct, frozen=True):
    """The chosen operations: raw to working per ``[[points]]`` block, working to issued and to geographic."""

    to_working: tuple[Operation, ...]
    to_issued: Operation
    to_geographic: Operation
