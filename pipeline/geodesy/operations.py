"""The operations of a job: raw to working, register to working, working to issued.

The working frame is geocentric X, Y, Z of the target grid's datum. One operation, chosen for the job's area, serves
every point; it is recorded with its grid files, and a height never passes a step that should have changed it.

Classical datums (OSGB36, Amersfoort) have no ellipsoidal heights of their own. On the way into or out of such a datum
the source's ellipsoidal height is carried as it is, as its grid shifts do, and a height datum is reached only by
operations that do the same: the two halves of the chain would otherwise differ by tens of metres.
"""

from pathlib import Path

import numpy as np
from msgspec import Struct
from pyproj.crs import CRS

from pipeline.geodesy import crs as systems
from pipeline.geodesy import frames, geoid_grid, pipelines
from pipeline.geodesy.area import WHOLE_EARTH, Area
from pipeline.geodesy.axes import axes_of
from pipeline.geodesy.crs import ELLIPSOID
from pipeline.geodesy.datum_steps import carrying, cart_step, from_axes, in_metres, plain_conversion, to_working
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.operation_choice import choose_operation
from pipeline.geodesy.step_names import GEOGRAPHIC, ISSUED, RAW, REGISTER
from pipeline.geodesy.transform import Operation
from pipeline.replace import replace

#: Two ways to one height may differ by what their accuracies say and this [m]; a geoid separation missed is far larger.
_SAME_HEIGHT = 2.0


def raw_to_working(
    crs: str,
    grid: str,
    area: Area,
    *,
    step: str = RAW,
    height: str | None = None,
    epoch: float | None = None,
    geoid: Path | None = None,
) -> Operation:
    """Return the operation from the export's CRS to X, Y, Z of the grid's datum.

    Geographic or projected coordinates come with ellipsoidal heights, those of a compound CRS with heights in its
    height datum; degrees and metres to the east, north and up, in whatever unit and to whatever side the CRS counts.
    With ``height`` (target.height) a change of datum is proven against PROJ's direct way to that height datum. A
    ``geoid`` of that height datum serves the heights of a compound CRS too. ``epoch`` [decimal year] is the target's
    coordinate epoch: it serves where the source's datum stands still and the target's moves; otherwise each point's own
    time does. Raises `OperationError`.
    """
    source, target = systems.source_crs(crs), systems.target_grid(grid)
    if geoid is not None and height is not None and source.is_compound:
        horizontal, own = source.sub_crs_list
        plan = to_working(horizontal, target, area, step, epoch)
        found = _with_named_geoid(plan, (horizontal, own), target, height, geoid, area)
        if found is not None:
            return found
    operation = to_working(source, target, area, step, epoch)
    datum = None if height is None else systems.vertical_of(height)
    if datum is not None and not systems.same_datum(source, target):
        _prove(operation, source, target, datum, area)
    return operation


def datum_to_datum(crs: str, other: str, area: Area) -> Operation:
    """Return the operation from longitude, latitude and ellipsoidal height of one CRS's datum to X, Y, Z of another's.

    Degrees and metres. Raises `OperationError`.
    """
    source, target = systems.source_crs(crs), systems.source_crs(other)
    return to_working(systems.geographic_of(source), systems.geographic_of(target), area, RAW, None)


def with_heights_turned(crs: str, other: str, area: Area) -> Operation:
    """Return the same with heights above the other's ellipsoid, also into a datum to which `datum_to_datum` carries.

    Raises `OperationError`, also where the best operation says nothing of heights.
    """
    source, target = (systems.geographic_of(systems.source_crs(text)) for text in (crs, other))
    operation = choose_operation(systems.promote(source), systems.geocentric_of(target), area, RAW)
    if not pipelines.turns_height(pipelines.steps(operation.definition)):
        raise OperationError(
            f"{RAW}: {operation.name} says nothing of heights", "state heights above another ellipsoid"
        )
    return operation


class Frame(Struct, frozen=True):
    """What coordinates are in: a CRS, a height datum (or "ellipsoid"), and an epoch [decimal year] if one is stated."""

    crs: str
    height: str
    epoch: float | None = None


def register_to_working(own: Frame, *, target: Frame, geoid: Path | None, area: Area) -> Operation:
    """Return the operation from the register's frame to X, Y, Z of the datum of the grid that is the target's CRS.

    Coordinates are degrees and metres to the east, north and up, in whatever unit and to whatever side CRS and height
    datum count. Where the register's height datum is the target's and a geoid grid is named, the same geoid serves, and
    so it does where PROJ has a relation from the one height datum to the other; it stands in the grid's datum also
    where the register is in another. A register in a datum that moves needs an epoch of its own. Raises
    `OperationError`.
    """
    source, grid = systems.source_crs(own.crs), systems.target_grid(target.crs)
    datum = systems.vertical_of(own.height)

    def from_part(part: CRS) -> Operation:
        return _at_epoch(to_working(part, grid, area, REGISTER, target.epoch), part, own.epoch)

    if datum is None:
        if source.is_compound:
            raise OperationError(
                f'{REGISTER}: {source.name} has a height datum, but control.height is "{ELLIPSOID}"',
                "name the horizontal CRS as control.crs and the height datum as control.height",
            )
        return from_part(source)
    if source.is_geocentric:
        raise OperationError(
            f"{REGISTER}: {source.name} is geocentric and cannot go with heights in {datum.name}",
            f'set control.height = "{ELLIPSOID}"',
        )
    horizontal = systems.horizontal_of(source)
    if geoid is not None:
        found = _with_named_geoid(from_part(horizontal), (horizontal, datum), grid, target.height, geoid, area)
        if found is not None:
            return found
    return from_part(systems.compound(horizontal, datum))


def working_to_issued(grid: str, height: str, area: Area, geoid: Path | None = None) -> Operation:
    """Return the operation from X, Y, Z of the grid's datum to easting, northing and height [m].

    Metres to the east, north and up, in whatever unit and to whatever side grid and height datum count: how the numbers
    are written is a matter of `crs.target_axes`. ``height`` is a vertical CRS, or "ellipsoid" to keep ellipsoidal
    heights. With ``geoid`` that grid file gives the height of the datum surface above the ellipsoid instead of PROJ's
    choice. Raises `OperationError`.
    """
    target, datum = systems.target_grid(grid), systems.vertical_of(height)
    working = systems.geocentric_of(target)
    plain = choose_operation(working, systems.promote(target), WHOLE_EARTH, ISSUED)
    if datum is None:
        if geoid is not None:
            raise OperationError(
                f'{ISSUED}: target.geoid is named, but target.height is "{ELLIPSOID}"',
                "name the height datum as target.height, or leave target.geoid out",
            )
        return from_axes(plain, target)
    if geoid is not None:
        return from_axes(geoid_grid.with_geoid(plain, geoid, area), target)
    whole = systems.compound(target, datum)
    return from_axes(choose_operation(working, whole, area, ISSUED, accept=carrying(target)), whole)


def working_to_geographic(grid: str) -> Operation:
    """Return the operation from X, Y, Z to longitude, latitude [deg] and ellipsoidal height [m] of the grid's datum.

    In a datum that has no ellipsoidal heights of its own the height is that of the source, carried along. Raises
    `OperationError`.
    """
    target = systems.target_grid(grid)
    steps = (f"inv {cart_step(target)}", "proj=unitconvert xy_in=rad xy_out=deg")
    return Operation(
        GEOGRAPHIC, f"geocentric to geographic, {systems.geographic_of(target).name}", pipelines.join(steps), 0.0
    )


def _with_named_geoid(
    plan: Operation, parts: tuple[CRS, CRS], target: CRS, height: str, geoid: Path, area: Area
) -> Operation | None:
    """Return ``plan``, which takes ellipsoidal heights, for heights that the job's own geoid grid leads to.

    ``parts`` are the horizontal and the vertical CRS of the coordinates. Their height datum is the target's, or one
    from which PROJ has a relation to it: a grid or an offset between the two surfaces. None where there is neither.
    """
    horizontal, datum = parts
    relation: Operation | None = None
    if not systems.same_height_datum(datum.to_wkt(), height):
        relation = _relation(horizontal, datum, height, area, plan.step)
        if relation is None:
            return None
    if systems.same_datum(horizontal, target):
        return geoid_grid.with_geoid(plan, geoid, area, relation)
    return geoid_grid.with_distant_geoid(plan, geoid, area, cart_step(target), relation)


def _relation(horizontal: CRS, datum: CRS, height: str, area: Area, step: str) -> Operation | None:
    """Return PROJ's operation from one height datum to the target's, None where it has none that passes no ellipsoid.

    A relation whose grid is missing is none: the way that goes without it is tried, and says what it lacks.
    """
    goal = systems.vertical_of(height)
    if goal is None:
        return None
    geographic = systems.geographic_of(horizontal)
    here, there = (systems.compound(geographic, part) for part in (datum, goal))
    try:
        return choose_operation(here, there, area, step, accept=geoid_grid.between_heights)
    except OperationError:
        return None


def _at_epoch(operation: Operation, source: CRS, epoch: float | None) -> Operation:
    """Return the register's operation at the one epoch of its coordinates, where it depends on time at all."""
    if not operation.time_dependent:
        return operation
    if epoch is None:
        raise OperationError(
            f"{operation.step}: coordinates in {source.name} move with time, and {operation.name} needs their epoch",
            "state the epoch of the register's coordinates as control.epoch, in years such as 2020.0",
        )
    return replace(operation, time_dependent=False, epoch=epoch)


def _prove(operation: Operation, source: CRS, target: CRS, datum: CRS, area: Area) -> None:
    """Raise where the chain by way of the working frame and PROJ's direct way give different heights.

    Both ways can be free of ballparks and still mean different ellipsoidal heights in the target's datum.
    """
    whole = systems.compound(target, datum)
    try:
        direct = in_metres(
            choose_operation(systems.promote(source), whole, area, operation.step), systems.promote(source)
        )
        direct = replace(direct, within=())  # it has no X, Y, Z to judge by
        onwards = choose_operation(systems.geocentric_of(target), whole, area, operation.step, accept=carrying(target))
    except OperationError:
        return  # there is nothing to compare with; what is missing for the issue is said by working_to_issued
    lon, lat = area.samples()
    start = plain_conversion(systems.horizontal_of(source), operation.step).inverse(
        *frames.to_geocentric(lon, lat, np.zeros_like(lon), systems.ellipsoid_of(source))
    )
    year = np.full(lon.size, 2020.0)
    chain, straight = onwards.forward(*operation.forward(*start, year), year)[2], direct.forward(*start, year)[2]
    apart = np.abs(chain - straight) * abs(axes_of(target, datum).height.count)
    allowed = _SAME_HEIGHT + sum(part.accuracy or 0.0 for part in (operation, onwards, direct))
    if np.nanmax(apart, initial=0.0) > allowed:
        raise OperationError(
            f"{operation.step}: heights through {operation.name} differ by {np.nanmax(apart):.1f} m from PROJ's"
            f" direct operation to {datum.name} ({direct.name})",
            "choose a grid on the datum of the export, or name the geoid grid as target.geoid",
        )
