"""The control register in the frames of the job: working for the adjustment, issued for comparison."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.control import Register
from pipeline.geodesy import crs
from pipeline.job.model import Job
from pipeline.work.routes import Routes

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Reference:
    """The register's marks, (R,) of them.

    Args:
        names: as in the register.
        xyz: (R, 3) working frame; where the register lacks a component, `guess` stood in for it.
        grid: (R, 3) easting, northing, height in the issued frame; NaN where the register lacks the component.
        held: (R, 3) whether east, north, up are held.
        sigma: (R, 3) standard uncertainty of east, north, up.
    """

    names: tuple[str, ...]
    xyz: Floats
    grid: Floats
    held: NDArray[np.bool_]
    sigma: Floats

    def holds(self) -> NDArray[np.bool_]:
        """Return (R, 2) whether position and height are held."""
        return self.held[:, [0, 2]]


def nothing_known() -> Reference:
    """Return the reference of a job without a register."""
    return Reference((), np.zeros((0, 3)), np.zeros((0, 3)), np.zeros((0, 3), bool), np.zeros((0, 3)))


def reference(job: Job, register: Register | None, routes: Routes, guess: dict[str, Floats]) -> Reference:
    """Bring the register into the working and the issued frame.

    Args:
        job: the job.
        register: the register, None where the job has none.
        routes: the operations.
        guess: for marks of which the register gives only position or only height, an approximate (3,) position in
            the working frame to go with it; good to some metres, and not held.
    """
    if register is None or routes.register is None or job.control is None:
        return nothing_known()
    given = np.column_stack([register.first, register.second, register.third])
    filled = given.copy()
    for number, name in enumerate(register.names):
        lacking = np.isnan(given[number])
        if lacking.any() and name in guess:
            near = np.array([float(part) for part in routes.register.inverse(*guess[name])])
            filled[number, lacking] = near[lacking]
    xyz = np.column_stack(routes.register.forward(*filled.T))
    target = job.target
    if crs.same_crs(job.control.crs, target.grid) and crs.same_height_datum(job.control.height, target.height):
        grid = given
    else:
        grid = np.column_stack(routes.frames.to_issued.forward(*xyz.T))
        grid[np.isnan(given[:, :2]).any(axis=1), :2] = np.nan
        grid[np.isnan(given[:, 2]), 2] = np.nan
    position, height = register.holds_position, register.holds_height
    held = np.column_stack([position, position, height]) & np.isfinite(xyz)
    sigma = np.column_stack([register.sigma_east, register.sigma_north, register.sigma_up])
    return Reference(register.names, xyz, grid, held, sigma)
