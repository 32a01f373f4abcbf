"""The operations of a job: raw to working, register to working, working to issued.

The working frame is geocentric X, Y, Z of the target grid's datum. One operation, chosen for the job's area, serves
every point; it is recorded with its grid files, and a height never passes a step that should have changed it.

Classical datums (OSGB36, Amersfoort) have no ellipsoidal heights of their own. On the way into or out of such a datum
the source's ellipsoidal height is carried as it is, as its grid shifts do, and a height datum is reached only by
operations that do the same: the two halves of the chain would otherwise differ by tens of metres.
"""

import math
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike
from pyproj.crs import CRS

from pipeline.arrays import Floats
from pipeline.geodesy import crs as systems
from pipeline.geodesy import frames, geoid_grid, pipelines, realisations
from pipeline.geodesy.area import WHOLE_EARTH, Area
from pipeline.geodesy.axes import axes_of
from pipeline.geodesy.crs import ELLIPSOID
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.operation_choice import choose_operation
from pipeline.geodesy.pipelines import Steps
from pipeline.geodesy.transform import Operation
from pipeline.replace import replace

RAW = "field datum to computation"
REGISTER = "register to computation"
ISSUED = "computation to grid"
GEOGRAPHIC = "computation to geographic"

#: Two ways to one height may differ by what their accuracies say and this [m]; a geoid separation missed is far larger.
_SAME_HEIGHT = 2.0
#: Metres: what is beyond is no height of any place.
_ANY_HEIGHT = 1e6


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
        plan = _to_working(horizontal, target, area, step, epoch)
        found = _with_named_geoid(plan, (horizontal, own), target, height, geoid, area)
        if found is not None:
            return found
    operation = _to_working(source, target, area, step, epoch)
    datum = None if height is None else systems.vertical_of(height)
    if datum is not None and not systems.same_datum(source, target):
        _prove(operation, source, target, datum, area)
    return operation


def datum_to_datum(crs: str, other: str, area: Area) -> Operation:
    """Return the operation from longitude, latitude and ellipsoidal height of one CRS's datum to X, Y, Z of another's.

    Degrees and metres. Raises `OperationError`.
    """
    source, target = systems.source_crs(crs), systems.source_crs(other)
    return _to_working(systems.geographic_of(source), systems.geographic_of(target), area, RAW, None)


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

    def to_working(part: CRS) -> Operation:
        return _at_epoch(_to_working(part, grid, area, REGISTER, target.epoch), part, own.epoch)

    if datum is None:
        if source.is_compound:
            raise OperationError(
                f'{REGISTER}: {source.name} has a height datum, but control.height is "{ELLIPSOID}"',
                "name the horizontal CRS as control.crs and the height datum as control.height",
            )
        return to_working(source)
    if source.is_geocentric:
        raise OperationError(
            f"{REGISTER}: {source.name} is geocentric and cannot go with heights in {datum.name}",
            f'set control.height = "{ELLIPSOID}"',
        )
    horizontal = systems.horizontal_of(source)
    if geoid is not None:
        found = _with_named_geoid(to_working(horizontal), (horizontal, datum), grid, target.height, geoid, area)
        if found is not None:
            return found
    return to_working(systems.compound(horizontal, datum))


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
        return _from_axes(plain, target)
    if geoid is not None:
        return _from_axes(geoid_grid.with_geoid(plain, geoid, area), target)
    whole = systems.compound(target, datum)
    return _from_axes(choose_operation(working, whole, area, ISSUED, accept=_carrying(target)), whole)


def working_to_geographic(grid: str) -> Operation:
    """Return the operation from X, Y, Z to longitude, latitude [deg] and ellipsoidal height [m] of the grid's datum.

    In a datum that has no ellipsoidal heights of its own the height is that of the source, carried along. Raises
    `OperationError`.
    """
    target = systems.target_grid(grid)
    steps = (f"inv {_cart(target)}", "proj=unitconvert xy_in=rad xy_out=deg")
    return Operation(
        GEOGRAPHIC, f"geocentric to geographic, {systems.geographic_of(target).name}", pipelines.join(steps), 0.0
    )


def lonlat(crs: str, first: ArrayLike, second: ArrayLike, third: ArrayLike) -> tuple[Floats, Floats]:
    """Return longitude and latitude (n,) [deg] in the CRS's own datum, as `own_places` does."""
    longitude, latitude, _ = own_places(crs, first, second, third)
    return longitude, latitude


def own_places(crs: str, first: ArrayLike, second: ArrayLike, third: ArrayLike) -> tuple[Floats, Floats, Floats]:
    """Return longitude, latitude (n,) [deg] and height [m] in the CRS's own datum, before any operation is chosen.

    Coordinates (n,) in degrees and metres as `raw_to_working` takes them; a height that is not known counts as zero
    for the position (but not a geocentric Z). The height is the one given, that of X, Y, Z above the ellipsoid.
    Raises `OperationError` for a CRS that cannot be a source.
    """
    source, to_geocentric = _own_geocentric(crs)
    third = np.asarray(third, dtype=np.float64)
    if source.is_geographic:
        return np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64), third
    given = third
    if not source.is_geocentric:
        # a height that no place has would make the position one that is none
        given = np.where(np.abs(third) < _ANY_HEIGHT, third, 0.0)
    lon, lat, up = frames.to_geographic(*to_geocentric.forward(first, second, given), systems.ellipsoid_of(source))
    return lon, lat, up if source.is_geocentric else third


def own_plan(crs: str, longitude: Floats, latitude: Floats) -> tuple[Floats, Floats] | None:
    """Return the first and second coordinate (n,) of a CRS at longitude and latitude (n,) [deg] in its own datum.

    The inverse of `lonlat`, in its units; None for X, Y, Z.
    """
    source, to_geocentric = _own_geocentric(crs)
    if source.is_geographic:
        return longitude, latitude
    if source.is_geocentric:
        return None
    place = frames.to_geocentric(longitude, latitude, np.zeros(len(longitude)), systems.ellipsoid_of(source))
    first, second, _ = to_geocentric.inverse(*place)
    return first, second


@lru_cache(maxsize=64)
def _own_geocentric(crs: str) -> tuple[CRS, Operation]:
    """Return the horizontal CRS of a text and its conversion to X, Y, Z: asked for with every batch, made once."""
    source = systems.horizontal_of(systems.source_crs(crs))
    return source, _plain(source, RAW)


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
    return geoid_grid.with_distant_geoid(plan, geoid, area, _cart(target), relation)


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


def _to_working(source: CRS, target: CRS, area: Area, step: str, epoch: float | None) -> Operation:
    """Choose the way to X, Y, Z of the target's datum, carrying ellipsoidal heights where a datum has none.

    A realisation of the IGS or of WGS 84 goes by the ITRF that it realises where PROJ has no better way from itself.
    """
    source = systems.promote(source)
    operation = _in_metres(_datum_step(source, target, area, step), source)
    if operation.time_dependent and epoch is not None and not systems.is_dynamic(source):
        return replace(operation, time_dependent=False, epoch=epoch)
    return operation


def _datum_step(source: CRS, target: CRS, area: Area, step: str) -> Operation:
    realised = None if source.is_compound or systems.same_datum(source, target) else realisations.itrf_of(source)
    if realised is None:
        return _by_itself(source, target, area, step)
    itrf, same = realised
    if same:
        name = f"{realisations.datum_of(source)} taken as {itrf.name}"
        taken = replace(choose_operation(source, systems.geocentric_of(source), WHOLE_EARTH, step), name=name)
        return _on_from(taken, itrf, target, area, step)
    first = choose_operation(source, systems.geocentric_of(itrf), WHOLE_EARTH, step)
    try:
        own = _by_itself(source, target, area, step)
    except OperationError:
        return _on_from(first, itrf, target, area, step)
    try:
        other = _on_from(first, itrf, target, area, step)
    except OperationError:
        return own
    return min(own, other, key=lambda one: math.inf if one.accuracy is None else one.accuracy)


def _by_itself(source: CRS, target: CRS, area: Area, step: str) -> Operation:
    """Choose among PROJ's ways from the source's own datum."""
    working = systems.geocentric_of(target)
    if systems.same_datum(source, target):
        return choose_operation(source, working, area, step, accept=_carrying(target) if source.is_compound else None)
    if systems.holds_ellipsoidal_heights(source) and systems.holds_ellipsoidal_heights(target):
        return choose_operation(source, working, area, step)
    if source.is_compound or source.is_geocentric:
        return _by_way_of_heights(source, target, area, step)
    return _carried(choose_operation(source, working, area, step), target)


def _on_from(first: Operation, itrf: CRS, target: CRS, area: Area, step: str) -> Operation:
    """Go on from X, Y, Z of an ITRF, to which ``first`` leads."""
    return _joined(first, _by_itself(systems.geocentric_of(itrf), target, area, step))


def _joined(first: Operation, second: Operation) -> Operation:
    """Return two operations, one after the other."""
    accuracies = (first.accuracy, second.accuracy)
    known = [accuracy for accuracy in accuracies if accuracy is not None]
    return Operation(
        step=first.step,
        name=f"{first.name} + {second.name}",
        definition=pipelines.join(pipelines.steps(first.definition) + pipelines.steps(second.definition)),
        accuracy=sum(known) if len(known) == len(accuracies) else None,
        grids=tuple(dict.fromkeys(first.grids + second.grids)),
        time_dependent=first.time_dependent or second.time_dependent,
        within=tuple(dict.fromkeys(first.within + second.within)),
    )


def _by_way_of_heights(source: CRS, target: CRS, area: Area, step: str) -> Operation:
    """Go to ellipsoidal heights first, then carry them into the target's datum."""
    own = systems.promote(systems.geographic_of(source))
    up = choose_operation(source, own, area, step, accept=_carrying(source) if source.is_compound else None)
    across = _carried(choose_operation(own, systems.geocentric_of(target), area, step), target)
    return _joined(up, across)


def _carried(operation: Operation, target: CRS) -> Operation:
    """Return the operation (to X, Y, Z from coordinates with ellipsoidal height) with the height kept as it came in."""
    steps = pipelines.steps(operation.definition)
    if not pipelines.turns_height(steps):
        return operation
    cart = _cart(target)
    kept = ("proj=push v_3", *steps, f"inv {cart}", "proj=pop v_3", cart)
    return replace(operation, name=f"{operation.name}, height carried", definition=pipelines.join(kept))


def _carrying(crs: CRS) -> Callable[[Steps], bool] | None:
    """Return the rule for height steps from or to this datum: none where it has ellipsoidal heights of its own."""
    if systems.holds_ellipsoidal_heights(crs):
        return None
    return lambda steps: not pipelines.turns_height(steps)


def _in_metres(operation: Operation, source: CRS) -> Operation:
    """Put a step in front that takes degrees and metres to the CRS's own numbers, where these differ."""
    scale = _axes_step(source)
    if scale is None:
        return operation
    return replace(operation, definition=pipelines.join((scale, *pipelines.steps(operation.definition))))


def _from_axes(operation: Operation, target: CRS) -> Operation:
    """Put a step behind that takes the CRS's own numbers to metres east, north and up, where these differ."""
    scale = _axes_step(target)
    if scale is None:
        return operation
    return replace(operation, definition=pipelines.join((*pipelines.steps(operation.definition), f"inv {scale}")))


def _axes_step(crs: CRS) -> str | None:
    """Return PROJ's step from degrees, or metres east and north, and metres up to a CRS's own numbers."""
    horizontal = crs.sub_crs_list[0] if crs.is_compound else crs
    vertical = crs.sub_crs_list[1] if crs.is_compound else None
    if systems.on_grid(horizontal):
        axes = axes_of(horizontal, vertical)
        return None if axes.plain and not axes.northing_first else axes.step()
    across, third = crs.axis_info[0].unit_conversion_factor, crs.axis_info[2]
    up = -third.unit_conversion_factor if third.direction.lower() == "down" else third.unit_conversion_factor
    metre = math.radians(1.0) if crs.is_geographic else 1.0
    if np.isclose(across, metre, rtol=1e-12, atol=0.0) and up == 1.0:
        return None
    return f"proj=affine s11={metre / across!r} s22={metre / across!r} s33={1.0 / up!r}"


def _plain(source: CRS, step: str) -> Operation:
    """Return the conversion to X, Y, Z of the CRS's own datum."""
    source = systems.promote(source)
    return _in_metres(choose_operation(source, systems.geocentric_of(source), WHOLE_EARTH, step), source)


def _cart(crs: CRS) -> str:
    """Return PROJ's step from geographic coordinates [rad] to X, Y, Z of the datum."""
    geographic = systems.promote(systems.geographic_of(crs))
    plain = choose_operation(geographic, systems.geocentric_of(crs), WHOLE_EARTH, GEOGRAPHIC)
    return pipelines.steps(plain.definition)[-1]


def _prove(operation: Operation, source: CRS, target: CRS, datum: CRS, area: Area) -> None:
    """Raise where the chain by way of the working frame and PROJ's direct way give different heights.

    Both ways can be free of ballparks and still mean different ellipsoidal heights in the target's datum.
    """
    whole = systems.compound(target, datum)
    try:
        direct = _in_metres(
            choose_operation(systems.promote(source), whole, area, operation.step), systems.promote(source)
        )
        direct = replace(direct, within=())  # it has no X, Y, Z to judge by
        onwards = choose_operation(systems.geocentric_of(target), whole, area, operation.step, accept=_carrying(target))
    except OperationError:
        return  # there is nothing to compare with; what is missing for the issue is said by working_to_issued
    lon, lat = area.samples()
    start = _plain(systems.horizontal_of(source), operation.step).inverse(
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
