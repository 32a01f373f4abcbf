"""Asks which ellipsoid a register's heights are above where the readings are not in the datum of its grid."""

from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Integers
from pipeline.geodesy.ellipsoid_steps import ellipsoid_step
from pipeline.geodesy.indirect_operations import datum_name
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.file_positions import RegisterRead
from pipeline.new_job.frames import GridState, own_crs
from pipeline.new_job.plain_grids import WORLD
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.timed_rows import TimedRows
from pipeline.new_job.values import with_unit
from pipeline.read.heading_units import is_one, metres_in_heading

#: Metres: a smaller step between ellipsoids is taken up by the shift from the ties; so far may a base be off in height.
_LEAST, _BASE_OFF = 1.0, 15.0


def ellipsoid_state(
    register: RegisterRead,
    rows: TimedRows,
    says: tuple[Integers, Integers],
    exports: Sequence[FileFound],
    grid: GridState,
    place: tuple[float, float] | None,
) -> State:
    """Return the state of ``control.height`` of a register with ellipsoidal heights; None where nothing is to be asked.

    Where the grid is asked for, it is the first of which ellipsoidal heights are known to differ that is compared with.

    Args:
        register: its heights are above an ellipsoid.
        rows: the exports' rows.
        says: which of them say that they stand on a mark, and on which.
        exports: in the order of the rows' numbers.
        grid: in whose datum the degrees of exports are not, where it has a step.
        place: longitude and latitude of the job, degrees.
    """
    if grid.step is None or place is None or register.table.kind != "plane":
        return None
    stated = (own_crs(one)[0] for one in exports if one.mapped.kind == "degrees")
    theirs = next((crs for crs in stated if crs is not None), WORLD)  # where no file states its datum
    steps = {code: ellipsoid_step(theirs, code, *place) for code in grid.codes}
    code, step = next(((code, step) for code, step in steps.items() if abs(step or 0.0) >= _LEAST), ("", None))
    if step is None:
        return None
    its, other = datum_name(code), datum_name(theirs)
    up = _above_readings(register, rows, says, exports)
    found = f"the marks are {up:+.1f} m above the readings on them as the numbers stand" if np.isfinite(up) else ""
    if abs(up + step) <= min(_BASE_OFF, abs(up) / 3.0) and abs(up) >= _BASE_OFF:
        return Known('"ellipsoid"', f"above that of {its}: {found}, and the ellipsoids are {abs(step):.1f} m apart")
    looks = f", and {found}: they look like those of {other}" if abs(up) < abs(up + step) else ""
    asks = (
        "which ellipsoid are the register's heights above, that of the grid's datum or that of the readings? heights"
        f" above that of {other} are {step:+.1f} m above those of {its} here{looks}. If they are above that of {other}:"
        f' give the marks as longitude, latitude and ellipsoid_height in it, with crs = "{theirs}" here, or take'
        f" {step:+.1f} m off their heights. Issued heights above the ellipsoid are above that of the grid's datum"
    )
    return Question("control.height", asks, (Candidate('"ellipsoid"', f"if above that of {its}"),))


def _above_readings(
    register: RegisterRead, rows: TimedRows, says: tuple[Integers, Integers], exports: Sequence[FileFound]
) -> float:
    """Return the middle of marks above the readings that name them, metres; NaN where that is not known."""
    name = register.found.mapped.columns.get("height", "")
    said = metres_in_heading(with_unit(name, register.found.look.columns.get(name, [])))
    if said and not any(is_one(1.0, each) for each in said):
        return float("nan")
    with_height = [number for number, one in enumerate(exports) if one.mapped.kind != "geocentric"]
    naming = (says[1] >= 0) & np.isin(rows.export[says[0]], with_height)
    readings, marks = (each[naming] for each in says)
    up = register.heights[marks] - rows.third[readings]
    up = up[np.isfinite(up)]
    return float(np.median(up)) if len(up) else float("nan")
