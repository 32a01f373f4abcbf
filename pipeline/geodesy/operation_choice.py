"""One operation out of PROJ's candidates: no ballpark, every grid there, the job's area covered. Or none, and why.

PROJ's default hands a height on unchanged where a grid is missing, falls back to another operation point by point, and
looks past missing grids even where it is told not to. So the candidates are asked for as a list, and one is taken.
"""

from collections.abc import Callable
from pathlib import Path

from pyproj._crs import CoordinateOperation
from pyproj.crs import CRS
from pyproj.transformer import Transformer, TransformerGroup

from pipeline.geodesy import crs as systems
from pipeline.geodesy import grids, pipelines
from pipeline.geodesy.area import WHOLE_EARTH, Area, Use
from pipeline.geodesy.candidate_operations import candidate_operations
from pipeline.geodesy.crs_hints import heights_hint
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.pipelines import Steps
from pipeline.geodesy.transform import Operation
from pipeline.replace import replace

#: The part of a job's points that an operation holds at least; where it holds fewer, the job is another's.
_PART_OF_POINTS_MIN = 0.5
#: The part of them that one holds at least to be taken before one that holds all: what lies outside are strays.
_NEARLY_ALL = 0.9
#: What holds nearly all is taken where its accuracy is this part of that of what holds all.
_FAR_BETTER = 1.0 / 3.0


def choose_operation(
    source: CRS, target: CRS, area: Area, step: str, *, accept: Callable[[Steps], bool] | None = None
) -> Operation:
    """Return the one operation from source to target (longitude or easting first) that serves the job in the area.

    The job's own places count where the area has them: an operation serves the points within its area of use, and
    gives those outside no coordinates. It holds all of them, or, where none does, most; or all but a few strays, where
    what holds those too is far worse.

    Both CRSs must have three axes. Where exactly one of them has a height datum, an operation without a height step is
    no candidate; ``accept`` may rule out further ones by their steps. Raises `OperationError` naming the step and,
    where a grid file is missing, the file and the folders where PROJ looked.
    """
    for crs in (source, target):
        if len(crs.axis_info) != 3:
            raise ValueError(f"{crs.name} is 2D: its heights would pass through unconverted")
    group = _group(source, target, area, step)
    if not group.transformers or _lacks_best(group, area):
        raise _unavailable(group, source, target, area, step)
    vertical = source.is_compound != target.is_compound
    refused, usable = [], list[tuple[float, Operation]]()
    for candidate in group.transformers:
        steps = pipelines.steps(candidate.definition)
        part = _part(candidate, area)
        reason = _refused(candidate, steps, part, vertical)
        if reason is None and accept is not None and not accept(steps):
            reason = "converts heights to an ellipsoid for which none are defined"
        if reason is not None:
            refused.append(f"{_name(candidate)}: {reason}")
            continue
        plain = systems.same_datum(source, target) and not vertical
        found = _operation(candidate, steps, step, plain)
        usable.append((part, replace(found, within=_within(candidate, area), from_xyz=source.is_geocentric)))
        if part == 1.0:
            break
    if usable:
        return _best(usable)
    raise OperationError(
        f"{step}: none of PROJ's operations from {source.name} to {target.name} suits this job ({'; '.join(refused)})",
        "check the CRS and height names and the location of the points; split a job that spans more",
    )


def _part(candidate: Transformer | CoordinateOperation, area: Area) -> float:
    """Return the part of the job's points that lies in an operation's area of use; all where none is stated."""
    use = _use(candidate)
    return 1.0 if use is None else use.area.part_of(area)


def _use(candidate: Transformer | CoordinateOperation) -> Use | None:
    use = candidate.area_of_use
    return None if use is None else Use(use.name, Area(use.west, use.south, use.east, use.north))


def _within(candidate: Transformer, area: Area) -> tuple[Use, ...]:
    use = _use(candidate)
    return () if use is None or use.area.holds_all(area) else (use,)


def _best(usable: list[tuple[float, Operation]]) -> Operation:
    """Return the operation that serves most; of those that hold nearly all, one that is far better than the last."""
    part, whole = max(usable, key=lambda each: each[0])
    for other, operation in usable:
        if operation.accuracy is None or not part > other >= _NEARLY_ALL:
            continue
        if whole.accuracy is None or operation.accuracy < whole.accuracy * _FAR_BETTER:
            return operation
    return whole


def _group(source: CRS, target: CRS, area: Area, step: str) -> TransformerGroup:
    try:
        return _conversion(source, target) or candidate_operations(source, target, area)
    except OperationError as error:
        raise OperationError(f"{step}: {error.what}", error.fix) from error


def _conversion(source: CRS, target: CRS) -> TransformerGroup | None:
    """Return PROJ's answer for the whole earth where it is the one conversion within a datum, good everywhere.

    No area makes it another: there is nothing to choose from, and none in which it is not to be used. Asked for every
    job's own area, it would take PROJ as long as the rest of a small job. None where that is not so, or not known.
    """
    if source.is_compound or target.is_compound or not systems.same_datum(source, target):
        return None
    try:
        group = candidate_operations(source, target, WHOLE_EARTH)
    except OperationError:  # told of the job's own area
        return None
    alone = len(group.transformers) == 1 and group.best_available and not group.unavailable_operations
    use = _use(group.transformers[0]) if alone else None
    return group if use is not None and use.area.holds_all(WHOLE_EARTH) else None


def _lacks_best(group: TransformerGroup, area: Area) -> bool:
    """Tell whether the best operation lacks its grid; those that are not for most of the job's points do not count."""
    if group.best_available:
        return False
    return any(_part(operation, area) >= _PART_OF_POINTS_MIN for operation in group.unavailable_operations)


#: What else there is to do where heights lack the grid of their geoid.
_OTHERWISE = (
    "; or name another file of this height datum's geoid as target.geoid, or issue heights above the ellipsoid:"
    ' height = "ellipsoid"'
)


def _unavailable(group: TransformerGroup, source: CRS, target: CRS, area: Area, step: str) -> OperationError:
    heights = source.is_compound != target.is_compound
    for operation in sorted(group.unavailable_operations, key=lambda each: _part(each, area) < _PART_OF_POINTS_MIN):
        absent = [grid.short_name for grid in operation.grids if not grid.available]
        if absent:
            without, otherwise = _without(group, source, target), _OTHERWISE if heights and target.is_compound else ""
            return grids.missing(step, absent, short_name(operation.name), without, otherwise)
    level = (source if source.is_compound else target) if heights else None
    return OperationError(
        f"{step}: PROJ knows no operation from {source.name} to {target.name} for the job's area",
        _by_geoid(level, target if level is source else source, area)
        + "check both CRSs (an unregistered datum has no transformations) and the location of the points; to let"
        " shifts derived from ties absorb the difference between the two frames, state the grid's own datum as crs"
        + (heights_hint(area, _height_datum(level)) if level is not None else ""),
    )


def _height_datum(crs: CRS) -> str:
    """Return the code of the height datum of a compound CRS, "" for one that is not registered."""
    code = crs.sub_crs_list[-1].to_authority("EPSG")
    return f"{code[0]}:{code[1]}" if code else ""


def _by_geoid(level: CRS | None, other: CRS, area: Area) -> str:
    """Return that a geoid grid leads to heights to which nothing registered does, where only they stand in the way."""
    if level is None or not _height_datum(level):
        return ""
    try:
        if not candidate_operations(systems.promote(systems.horizontal_of(level)), other, area).transformers:
            return ""
    except OperationError:
        return ""
    datum = level.sub_crs_list[-1].name
    return (
        f"no conversion to {datum} is registered: name the geoid grid of this height datum, a file, as target.geoid;"
        " otherwise "
    )


def _without(group: TransformerGroup, source: CRS, target: CRS) -> str:
    """Return in words what PROJ has that needs no grid: for a surveyor to know, for nobody to fall back to."""
    if source.is_compound != target.is_compound:
        return ", and without a grid these heights cannot be converted"
    for candidate in group.transformers:
        plain = not pipelines.grid_names(candidate.definition) and "ballpark" not in str(candidate.description).lower()
        if plain and candidate.accuracy >= 0.0:
            how_well = f"which is accurate to {candidate.accuracy:g} m and is not used instead"
            return f"; without it there is {_name(candidate)}, {how_well}"
    return ", and PROJ has no operation without a grid"


def _refused(candidate: Transformer, steps: Steps, part: float, vertical: bool) -> str | None:
    if "ballpark" in str(candidate.description).lower():
        return "it is a ballpark transformation"
    if part < _PART_OF_POINTS_MIN:
        held = "does not cover the whole job" if part == 0.0 else f"covers {part:.0%} of the job's points"
        return f"its area of use ({candidate.area_of_use.name}) {held}"
    if vertical and not pipelines.has_height_step(steps):
        return "it has no height step"
    if any(name.startswith("@") and name != "@null" for name in pipelines.grid_names(candidate.definition)):
        return "it continues silently without its grid"
    return None


def _operation(candidate: Transformer, steps: Steps, step: str, plain: bool) -> Operation:
    names = [name for name in pipelines.grid_names(candidate.definition) if name not in ("null", "@null")]
    older = _under_older_names(candidate)
    paths = {name: grids.find_grid(name) or older.get(name) for name in names}
    absent = [name for name, path in paths.items() if path is None]
    if absent:
        raise grids.missing(step, absent, _name(candidate))
    files = {name: path for name, path in paths.items() if path is not None}
    definition = pipelines.with_grids(pipelines.join(steps), lambda name: files[name].name if name in files else name)
    return Operation(
        step=step,
        name=_name(candidate),
        definition=definition,
        accuracy=0.0 if plain else candidate.accuracy if candidate.accuracy >= 0.0 else None,
        grids=tuple(grids.grid(path) for path in files.values()),
        time_dependent=pipelines.depends_on_time(steps),
    )


def _under_older_names(candidate: Transformer) -> dict[str, Path]:
    """Return the files that PROJ takes for grids, by the names it asks for: us_nga_egm96_15.tif, once egm96_15.gtx."""
    every = [grid for operation in candidate.operations or () for grid in operation.grids if grid.available]
    return {grid.short_name: Path(grid.full_name) for grid in every if Path(grid.full_name).is_file()}


def _name(candidate: Transformer) -> str:
    return short_name(str(candidate.description))


def short_name(description: str) -> str:
    """Return PROJ's description of an operation without what says nothing to a surveyor.

    Reorderings of axes go, and conversions between the forms of one datum where anything else is left.
    """
    parts = [part for part in description.split(" + ") if not part.startswith("axis order change")]
    telling = [part for part in parts if not part.startswith("Conversion from ")]
    return " + ".join(telling or parts) or "no change"
