"""The control register in the frames of the job: working for the adjustment, issued for comparison."""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats
from pipeline.control import Register
from pipeline.control.register_rows import POSITION
from pipeline.geodesy import crs
from pipeline.geodesy.transform import Operation
from pipeline.intake.survey import Survey

#: What the three coordinates of a mark are called, by the kind of the register's CRS.
COORDINATES = {kind: (*names, "height") for kind, names in POSITION.items()}


class Reference(Struct, frozen=True):
    """The register's marks, (R,) of them.

    Args:
        names: as in the register.
        xyz: (R, 3) working frame; where the register lacks a component, `guess` stood in for it.
        grid: (R, 3) easting, northing, height in the issued frame; NaN where the register lacks the component.
        held: (R, 3) whether east, north, up are held.
        sigma: (R, 3) standard uncertainty of east, north, up.
        lost: (R, 2) whether position, height are held at numbers that no operation of the job reaches, such as those
            of another hemisphere: they tie nothing, and whatever is compared with them fails.
    """

    names: tuple[str, ...]
    xyz: Floats
    grid: Floats
    held: Flags
    sigma: Floats
    lost: Flags

    def holds(self) -> Flags:
        """Return (R, 2) whether position and height are held."""
        return self.held[:, [0, 2]]


def nothing_known() -> Reference:
    """Return the reference of a job without a register."""
    none, neither = np.zeros((0, 3)), np.zeros((0, 3), bool)
    return Reference((), none, none, neither, none, neither[:, :2])


def reference(survey: Survey, guess: dict[str, Floats]) -> Reference:
    """Bring the register into the working and the issued frame.

    Args:
        survey: the job; where it has no register, nothing is known.
        guess: for marks that hold only position or only height, an approximate (3,) position in the working frame to
            go with it; good to some metres, and not held. It is taken before what the register says of the rest.
    """
    job, register = survey.job, survey.register
    if register is None or survey.operations.register is None or job.control is None:
        return nothing_known()
    given = np.column_stack([register.first, register.second, register.third])
    position, height = register.holds_position, register.holds_height
    holds = np.column_stack([position, position, height])
    # What a mark does not hold is often taken off a map; its height would be reduced for the geoid at that place, and
    # held along the vertical there.
    xyz = _working(given, ~holds, register, survey.operations.register, guess)
    target = job.target
    own = survey.operations.site is None and crs.same_crs(job.control.crs, target.grid)
    if own and crs.same_height_datum(job.control.height, target.height):
        grid = given
    else:
        stated = _working(given, np.zeros_like(holds), register, survey.operations.register, guess)
        grid = np.column_stack(survey.operations.frames.to_issued.forward(*stated.T))
        grid[np.isnan(given[:, :2]).any(axis=1), :2] = np.nan
        grid[np.isnan(given[:, 2]), 2] = np.nan
    held = holds & np.isfinite(xyz)
    sigma = np.column_stack([register.sigma_east, register.sigma_north, register.sigma_up])
    whole = np.isfinite(given).all(axis=1, keepdims=True)
    lost = holds & whole & ~np.isfinite(xyz + grid).all(axis=1, keepdims=True)
    return Reference(register.names, xyz, grid, held, sigma, lost[:, [0, 2]])


def _working(
    given: Floats, doubted: Flags, register: Register, operation: Operation, guess: dict[str, Floats]
) -> Floats:
    """Return (R, 3) in the working frame; what is not given, or doubted, from ``guess`` where it has any."""
    filled = given.copy()
    lacking = np.isnan(given) | doubted
    for number, name in enumerate(register.names):
        if lacking[number].any() and name in guess:
            near = np.array([float(part) for part in operation.inverse(*guess[name])])
            filled[number, lacking[number]] = near[lacking[number]]
    return np.column_stack(operation.forward(*filled.T))
