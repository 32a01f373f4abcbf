"""The way between two datums: to X, Y, Z, with heights carried where a datum has none, and in what units."""

import math
from collections.abc import Callable

import numpy as np
from pyproj.crs import CRS

from pipeline.geodesy import crs as systems
from pipeline.geodesy import pipelines, realisations
from pipeline.geodesy.area import WHOLE_EARTH, Area
from pipeline.geodesy.axes import axes_of
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.operation_choice import choose_operation
from pipeline.geodesy.pipelines import Steps
from pipeline.geodesy.step_names import GEOGRAPHIC
from pipeline.geodesy.transform import Operation
from pipeline.replace import replace


def to_working(source: CRS, target: CRS, area: Area, step: str, epoch: float | None) -> Operation:
    """Choose the way to X, Y, Z of the target's datum, carrying ellipsoidal heights where a datum has none.

    A realisation of the IGS or of WGS 84 goes by the ITRF that it realises where PROJ has no better way from itself.
    """
    source = systems.promote(source)
    operation = in_metres(_chosen(source, target, area, step), source)
    if operation.time_dependent and epoch is not None and not systems.is_dynamic(source):
        return replace(operation, time_dependent=False, epoch=epoch)
    return operation


def _chosen(source: CRS, target: CRS, area: Area, step: str) -> Operation:
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
        return choose_operation(source, working, area, step, accept=carrying(target) if source.is_compound else None)
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
    up = choose_operation(source, own, area, step, accept=carrying(source) if source.is_compound else None)
    across = _carried(choose_operation(own, systems.geocentric_of(target), area, step), target)
    return _joined(up, across)


def _carried(operation: Operation, target: CRS) -> Operation:
    """Return the operation (to X, Y, Z from coordinates with ellipsoidal height) with the height kept as it came in."""
    steps = pipelines.steps(operation.definition)
    if not pipelines.turns_height(steps):
        return operation
    cart = cart_step(target)
    kept = ("proj=push v_3", *steps, f"inv {cart}", "proj=pop v_3", cart)
    return replace(operation, name=f"{operation.name}, height carried", definition=pipelines.join(kept))


def carrying(crs: CRS) -> Callable[[Steps], bool] | None:
    """Return the rule for height steps from or to this datum: none where it has ellipsoidal heights of its own."""
    if systems.holds_ellipsoidal_heights(crs):
        return None
    return lambda steps: not pipelines.turns_height(steps)


def in_metres(operation: Operation, source: CRS) -> Operation:
    """Put a step in front that takes degrees and metres to the CRS's own numbers, where these differ."""
    scale = _axes_step(source)
    if scale is None:
        return operation
    return replace(operation, definition=pipelines.join((scale, *pipelines.steps(operation.definition))))


def from_axes(operation: Operation, target: CRS) -> Operation:
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


def plain_conversion(source: CRS, step: str) -> Operation:
    """Return the conversion to X, Y, Z of the CRS's own datum."""
    source = systems.promote(source)
    return in_metres(choose_operation(source, systems.geocentric_of(source), WHOLE_EARTH, step), source)


def cart_step(crs: CRS) -> str:
    """Return PROJ's step from geographic coordinates [rad] to X, Y, Z of the datum."""
    geographic = systems.promote(systems.geographic_of(crs))
    plain = choose_operation(geographic, systems.geocentric_of(crs), WHOLE_EARTH, GEOGRAPHIC)
    return pipelines.steps(plain.definition)[-1]
