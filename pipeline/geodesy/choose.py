"""One operation out of PROJ's candidates: no ballpark, every grid there, the job's area covered. Or none, and why.

PROJ's default hands a height on unchanged where a grid is missing, falls back to another operation point by point, and
looks past missing grids even where it is told not to. So the candidates are asked for as a list, and one is taken.
"""

from collections.abc import Callable
from pathlib import Path

from pyproj.crs import CRS
from pyproj.transformer import Transformer, TransformerGroup

from pipeline.geodesy import crs as systems
from pipeline.geodesy import grids, pipelines
from pipeline.geodesy.area import Area
from pipeline.geodesy.candidates import candidates
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.pipelines import Steps
from pipeline.geodesy.transform import Operation


def choose(
    source: CRS, target: CRS, area: Area, step: str, *, accept: Callable[[Steps], bool] | None = None
) -> Operation:
    """Return the one operation from source to target (longitude or easting first) that serves the whole area.

    Both must have three axes. Where exactly one of them has a height datum, an operation without a height step is no
    candidate; ``accept`` may rule out further ones by their steps. Raises `OperationError` naming the step and, where a
    grid file is missing, the file and the folders where PROJ looked.
    """
    for crs in (source, target):
        if len(crs.axis_info) != 3:
            raise ValueError(f"{crs.name} has no third axis: its heights would be handed through")
    group = _group(source, target, area, step)
    if not group.transformers or not group.best_available:
        raise _unavailable(group, source, target, step)
    vertical = source.is_compound != target.is_compound
    refused = []
    for candidate in group.transformers:
        steps = pipelines.steps(candidate.definition)
        reason = _refused(candidate, steps, area, vertical)
        if reason is None and accept is not None and not accept(steps):
            reason = "takes heights to an ellipsoid for which none are defined"
        if reason is None:
            return _operation(candidate, steps, step, systems.same_datum(source, target) and not vertical)
        refused.append(f"{_name(candidate)}: {reason}")
    raise OperationError(
        f"{step}: none of PROJ's operations from {source.name} to {target.name} serves this job ({'; '.join(refused)})",
        "check the CRS and height names and that the points lie where they should; split a job that spans more",
    )


def _group(source: CRS, target: CRS, area: Area, step: str) -> TransformerGroup:
    try:
        return candidates(source, target, area)
    except OperationError as error:
        raise OperationError(f"{step}: {error.what}", error.fix) from error


def _unavailable(group: TransformerGroup, source: CRS, target: CRS, step: str) -> OperationError:
    for operation in group.unavailable_operations:
        absent = [grid.short_name for grid in operation.grids if not grid.available]
        if absent:
            return grids.missing(step, absent, short_name(operation.name))
    return OperationError(
        f"{step}: PROJ knows no operation from {source.name} to {target.name} for the job's area",
        "check both CRSs (a CRS on an unregistered datum leads nowhere) and where the points lie; where shifts derived"
        " from ties are to take up what the two frames differ by, state the grid's own datum as crs",
    )


def _refused(candidate: Transformer, steps: Steps, area: Area, vertical: bool) -> str | None:
    if "ballpark" in str(candidate.description).lower():
        return "it is a ballpark"
    use = candidate.area_of_use
    if use is not None and not Area(use.west, use.south, use.east, use.north).contains(area):
        return f"its area of use ({use.name}) does not hold the whole job"
    if vertical and not pipelines.has_height_step(steps):
        return "it has no height step"
    if any(name.startswith("@") and name != "@null" for name in pipelines.grid_names(candidate.definition)):
        return "it goes on silently without its grid"
    return None


def _operation(candidate: Transformer, steps: Steps, step: str, plain: bool) -> Operation:
    names = [name for name in pipelines.grid_names(candidate.definition) if name not in ("null", "@null")]
    older = _under_older_names(candidate)
    paths = {name: grids.find(name) or older.get(name) for name in names}
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
