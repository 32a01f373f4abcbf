"""A geoid grid named in the job file: the datum surface above the ellipsoid, used instead of PROJ's choice."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from pipeline.arrays import Floats, Triple
from pipeline.geodesy import grids, pipelines
from pipeline.geodesy.area import Area
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.transform import Operation
from pipeline.replace import replace

# With a wrong height the plan is off by the tilt between two ellipsoids (below 1e-3) times the error of the height, and
# the height in turn by the slope of the geoid times that: each round gains a factor of more than a thousand.
_ROUNDS = 4

#: Metres: no geoid is farther from its ellipsoid. EGM96 (NGA's grid of 15') is between -106.99 m south of India and
#: 85.39 m at New Guinea; the rest is room for other models.
FARTHEST_GEOID = 110.0

_TO_DEGREES = "proj=unitconvert xy_in=rad xy_out=deg"


def with_geoid(plain: Operation, geoid: Path, area: Area, relation: Operation | None = None) -> Operation:
    """Return an operation to or from X, Y, Z with ellipsoidal heights as one with heights of the geoid grid.

    ``plain`` starts or ends with X, Y, Z of the grid's own datum; the geoid grid (GTX, GeoTIFF: N = h - H) is put in
    beside that, at geographic coordinates. With ``relation``, which leads from another height datum to the geoid's,
    the heights are in that one. Raises `OperationError` naming the file where it is absent, is no vertical grid, or
    covers no part of the area.
    """
    file = _file(plain.step, geoid)
    shifts = (*(() if relation is None else _height_steps(relation)), _shift(file))
    steps = pipelines.steps(plain.definition)
    if steps[0].startswith("inv proj=cart"):
        steps = (steps[0], *map(pipelines.inverse, reversed(shifts)), *steps[1:])
    elif steps[-1].startswith("proj=cart"):
        steps = (*steps[:-1], *shifts, steps[-1])
    else:
        raise ValueError(f"{plain.definition} neither starts nor ends with X, Y, Z")
    between = "" if relation is None else f"{relation.name} + "
    named = replace(
        plain,
        name=f"{plain.name} + {between}geoid grid {file.name}",
        definition=pipelines.join(steps),
        accuracy=None,
        grids=(*plain.grids, *(() if relation is None else relation.grids), file),
    )
    _refuse_elsewhere(plain.step, file, area)
    return named


@dataclass(frozen=True)
class IteratedHeight(Operation):
    """Coordinates in another datum whose heights H are those of the named geoid grid, given in the target's datum.

    ``plan`` leads from the coordinates (with ellipsoidal height) to X, Y, Z; ``heights`` from there to longitude,
    latitude and H. The ellipsoidal height that gives H at the place it leads to is found by iteration.
    """

    plan: Operation | None = None
    heights: Operation | None = None

    def _run(
        self, direction: str, first: ArrayLike, second: ArrayLike, third: ArrayLike, time: ArrayLike | None
    ) -> Triple:
        """Return the three coordinates as `Operation` does: ``plan``, with the height that ``heights`` gives [m]."""
        assert self.plan is not None and self.heights is not None
        if direction == "INVERSE":
            _, _, height = self.heights.forward(first, second, third)
            east, north, _ = self.plan.inverse(first, second, third, time)
            return _together(east, north, height)
        wanted = np.asarray(third, dtype=np.float64)
        guess = wanted
        for _ in range(_ROUNDS):
            place = self.plan.forward(first, second, guess, time)
            guess = guess + (wanted - self.heights.forward(*place)[2])
        return self.plan.forward(first, second, guess, time)


def with_distant_geoid(plan: Operation, geoid: Path, area: Area, cart: str, relation: Operation | None) -> Operation:
    """Return ``plan`` (coordinates with ellipsoidal height to X, Y, Z of another datum) for heights of the geoid grid.

    ``cart`` is PROJ's step from geographic coordinates to X, Y, Z of the target's datum; ``relation`` as `with_geoid`
    has it. Raises as that.
    """
    definition = pipelines.join((f"inv {cart}", _TO_DEGREES))
    heights = with_geoid(Operation(plan.step, "geocentric to geographic", definition, 0.0), geoid, area, relation)
    return IteratedHeight(
        step=plan.step,
        name=f"{plan.name} + {heights.name.removeprefix('geocentric to geographic + ')}",
        definition=f"{plan.definition}, its height such that H results from: {heights.definition}",
        accuracy=None,
        grids=(*plan.grids, *heights.grids),
        time_dependent=plan.time_dependent,
        epoch=plan.epoch,
        plan=plan,
        heights=heights,
    )


def between_heights(steps: pipelines.Steps) -> bool:
    """Tell whether an operation leads from one height datum to another by a grid or an offset, not by the ellipsoid."""
    return sum(pipelines.has_height_step((step,)) for step in steps) == 1 and not pipelines.turns_height(steps)


def _height_steps(relation: Operation) -> pipelines.Steps:
    """Return the steps of an operation that change heights: they work at geographic coordinates."""
    return tuple(step for step in pipelines.steps(relation.definition) if pipelines.has_height_step((step,)))


def _together(*columns: Floats) -> Triple:
    known = np.isfinite(columns[0]) & np.isfinite(columns[1]) & np.isfinite(columns[2])
    first, second, third = (np.where(known, column, np.nan) for column in columns)
    return first, second, third


def _file(step: str, geoid: Path) -> grids.Grid:
    if not geoid.is_file():
        raise OperationError(f"{step}: geoid grid {geoid} is not there", "check the path of target.geoid")
    file = grids.grid(geoid.resolve())
    if '"' in file.name or "," in file.name:
        raise OperationError(f"{step}: geoid grid {file.name} has a comma or quote in its name", "rename the file")
    return file


def _refuse_elsewhere(step: str, file: grids.Grid, area: Area) -> None:
    """Raise where the grid gives no height anywhere in the area: a wrong file rather than points at its edge."""
    definition = pipelines.join(("proj=unitconvert xy_in=deg xy_out=rad", f"inv {_shift(file)}"))
    probe = Operation(step, f"geoid grid {file.name}", definition, None, (file,))
    lon, lat = area.samples()
    if not np.isfinite(probe.forward(lon, lat, np.zeros_like(lon))[2]).any():
        middle = area.centre
        raise OperationError(
            f"{step}: geoid grid {file.name} does not cover the job's area (around {middle[0]:.3f}, {middle[1]:.3f})",
            "name the grid of this area as target.geoid, and check source.crs",
        )


def _shift(file: grids.Grid) -> str:
    """Return PROJ's step from heights of the grid to ellipsoidal heights, h = H + N."""
    return f"proj=vgridshift grids={pipelines.quoted(file.name)} multiplier=1"
