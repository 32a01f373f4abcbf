"""Asks which ellipsoid a register's heights are above where the readings are not in its datum."""

from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Flags, Integers
from pipeline.geodesy.ellipsoid_steps import are_carried, ellipsoid_step, step_not_taken
from pipeline.geodesy.indirect_operations import datum_name
from pipeline.geodesy.unit_words import is_one
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.file_positions import RegisterRead
from pipeline.new_job.frames import GridState, own_crs
from pipeline.new_job.plain_grids import WORLD
from pipeline.new_job.questions import Candidate, Known, Question, State
from pipeline.new_job.timed_rows import TimedRows
from pipeline.new_job.values import with_unit
from pipeline.read.heading_units import metres_in_heading
from pipeline.sphere import apart

#: Metres: a smaller step between ellipsoids is taken up by the shift from the ties; so far may a base be off in height,
#: and so far it seldom is.
_LEAST, _BASE_OFF, _SELDOM = 1.0, 15.0, 10.0
#: Metres in plan that readings and marks in degrees of one datum are apart at most.
_ONE_DATUM = 10.0


def ellipsoid_state(
    register: RegisterRead,
    rows: TimedRows,
    says: tuple[Integers, Integers],
    exports: Sequence[FileFound],
    grid: GridState,
) -> State:
    """Return the state of ``control.height`` of a register with ellipsoidal heights; None where nothing is to be asked.

    Where the grid is asked for, it is the first of which ellipsoidal heights are known to differ that is compared with.
    A run carries heights as they are in a datum that has no ellipsoidal heights registered: it is only asked after
    where the marks lie as far from the readings as heights above its own ellipsoid would.

    Args:
        register: its heights are above an ellipsoid.
        rows: the exports' rows.
        says: which of them say that they stand on a mark, and on which.
        exports: in the order of the rows' numbers.
        grid: in whose datum the degrees of exports are not, where it has a step.
    """
    codes, place = _codes_of(register, grid), grid.place
    if place is None or not codes or _in_one_datum(register, rows, says, exports):
        return None
    stated = (own_crs(one)[0] for one in exports if one.mapped.kind == "degrees")
    theirs = next((crs for crs in stated if crs is not None), WORLD)  # where no file states its datum
    up = _above_readings(register, rows, says, exports)
    whose = "the grid's datum" if register.table.kind == "plane" else "the register's datum"
    for code in codes:
        step = ellipsoid_step(theirs, code, *place)
        if step is not None and abs(step) >= _LEAST:
            return _stated_or_asked(step, up, (datum_name(code), whose), (datum_name(theirs), theirs))
    for code in codes:
        step = step_not_taken(theirs, code, *place) if are_carried(code, code) else None
        if step is not None and abs(up + step) <= abs(up) / 3.0 and min(abs(up), abs(step)) >= _SELDOM:
            return _asked_of_carried(step, up, datum_name(code), datum_name(theirs))
    return None


def _codes_of(register: RegisterRead, grid: GridState) -> list[str]:
    """Return the CRS of a register, or those that it may be; none where nothing states it, or readings fit the grid."""
    if register.table.kind == "plane":
        return grid.codes if grid.step is not None else []
    own = own_crs(register.found)[0]
    return [own] if own is not None and register.table.kind == "degrees" else []


def _in_one_datum(
    register: RegisterRead, rows: TimedRows, says: tuple[Integers, Integers], exports: Sequence[FileFound]
) -> bool:
    """Tell whether degrees of readings lie beside those of the marks that they name: both are in one datum then."""
    if register.table.kind != "degrees":
        return False
    naming, (readings, marks) = _naming(rows, says, exports, ("degrees",)), says
    far = apart(
        rows.first[readings[naming]],
        rows.second[readings[naming]],
        register.table.first[marks[naming]],
        register.table.second[marks[naming]],
    )
    far = far[np.isfinite(far)]
    return len(far) > 0 and float(np.median(far)) <= _ONE_DATUM


def _naming(
    rows: TimedRows, says: tuple[Integers, Integers], exports: Sequence[FileFound], kinds: Sequence[str]
) -> Flags:
    """Tell (n,) which readings of exports of some kinds name a mark."""
    of_kind = [number for number, one in enumerate(exports) if one.mapped.kind in kinds]
    return (says[1] >= 0) & np.isin(rows.export[says[0]], of_kind)


def _stated_or_asked(step: float, up: float, its: tuple[str, str], readings: tuple[str, str]) -> State:
    """Return the state where a run takes heights for those above the ellipsoid of the register's datum.

    ``its`` is the name of that datum and whose it is, ``readings`` the name of theirs and its CRS.
    """
    (name, whose), (other, crs) = its, readings
    found = f"the marks are {up:+.1f} m above the readings on them as the numbers stand" if np.isfinite(up) else ""
    if abs(up + step) <= min(_BASE_OFF, abs(up) / 3.0) and abs(up) >= _BASE_OFF:
        return Known('"ellipsoid"', f"above that of {name}: {found}, and the ellipsoids are {abs(step):.1f} m apart")
    looks = f", and {found}: they look like those of {other}" if abs(up) < abs(up + step) else ""
    asks = (
        f"which ellipsoid are the register's heights above, that of {whose} or that of the readings? heights"
        f" above that of {other} are {step:+.1f} m above those of {name} here{looks}. If they are above that of"
        f' {other}: give the marks as longitude, latitude and ellipsoid_height in it, with crs = "{crs}" here, or take'
        f" {step:+.1f} m off their heights. Issued heights above the ellipsoid are above that of the grid's datum"
    )
    return Question("control.height", asks, (Candidate('"ellipsoid"', f"if above that of {name}"),))


def _asked_of_carried(step: float, up: float, its: str, other: str) -> State:
    """Return the question where a run takes heights as they are, as those of the readings, and they look otherwise."""
    asks = (
        f"which ellipsoid are the register's heights above, that of {its} or that of the readings? the marks are"
        f" {up:+.1f} m above the readings on them as the numbers stand: they look like those of {its}, which are"
        f" {-step:+.1f} m above those of {other} here, or else like heights above a height datum. A run takes them as"
        f" above the ellipsoid of {other}, since no ellipsoidal heights are registered for {its}: if they are above"
        f" that of {its}, add {step:+.1f} m to them; if they are above a height datum, name it here"
    )
    return Question("control.height", asks, (Candidate('"ellipsoid"', f"if above that of {other}"),))


def _above_readings(
    register: RegisterRead, rows: TimedRows, says: tuple[Integers, Integers], exports: Sequence[FileFound]
) -> float:
    """Return the middle of marks above the readings that name them, metres; NaN where that is not known."""
    name = register.found.mapped.columns.get("height", "")
    said = metres_in_heading(with_unit(name, register.found.look.columns.get(name, [])))
    if said and not any(is_one(1.0, each) for each in said):
        return float("nan")
    naming = _naming(rows, says, exports, ("degrees", "plane"))
    readings, marks = (each[naming] for each in says)
    up = register.heights[marks] - rows.third[readings]
    up = up[np.isfinite(up)]
    return float(np.median(up)) if len(up) else float("nan")
