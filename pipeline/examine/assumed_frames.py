"""States which frame is assumed for an ambiguous label, and the error [m] if it is wrong: "WGS 84" may mean several."""

from collections.abc import Iterator

import numpy as np

from pipeline.examine.datum_steps import places_of
from pipeline.geodesy import crs as systems
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.frames import enu_rotation, turn
from pipeline.geodesy.indirect_operations import Places, datum_name, difference_spread, largest_difference, same_datum
from pipeline.geodesy.operations import datum_to_datum
from pipeline.geodesy.realisations import is_wgs84_of_any_time, on_newest, realised
from pipeline.geodesy.transform import Operation
from pipeline.intake.survey import Survey

#: The newest frame that an ensemble may have been realised by, and its name; WGS 84 follows it to centimetres.
_NEWEST, _NAME = "EPSG:9989", "ITRF2020"


def assumed(survey: Survey) -> dict[str, str]:
    """Return, by the name of an operation of the readings, what it assumes of their frame, in words."""
    return dict(_assumed(survey))


def _assumed(survey: Survey) -> Iterator[tuple[str, str]]:
    job, told = survey.job, set[str]()
    for number, (block, operation) in enumerate(zip(job.points, survey.operations.frames.to_working, strict=True)):
        if block.crs is None or block.realisation is not None or operation.name in told:
            continue
        used = bool(survey.first_pass.blocks[:, number].any())
        unsaid = is_wgs84_of_any_time(systems.source_crs(block.crs))
        if used and unsaid and not same_datum(block.crs, job.target.grid):
            told.add(operation.name)
            cost = _cost(survey, block.crs, places_of(survey, number))
            yield operation.name, f"{_taken(block.crs, job.target.grid, operation)}. {cost}."


def _taken(crs: str, grid: str, operation: Operation) -> str:
    stated = "of no stated accuracy" if operation.accuracy is None else f"good to {operation.accuracy:g} m"
    return (
        f"{datum_name(crs)} may mean several frames, and no realisation states which of them the base was set in: it"
        f" is converted to {datum_name(grid)} as labelled, by an operation {stated}"
    )


def _cost(survey: Survey, crs: str, places: Places) -> str:
    """Return in words how far positions would be off, had the base been set on the newest of the frames."""
    grid, area = survey.job.target.grid, survey.operations.area
    try:
        ways = datum_to_datum(crs, grid, area), datum_to_datum(realised(crs, _NEWEST), on_newest(grid), area)
    except OperationError:
        return f"How far off positions would be, had it been {_NAME}, is not known: PROJ has no transformation from it"
    year = np.full(places.longitude.size, places.year)
    here = (places.longitude, places.latitude, places.height)
    taken, other = (np.column_stack(way.forward(*here, year)) for way in ways)
    off = turn(taken - other, enu_rotation(places.longitude, places.latitude))
    whole, left = np.hypot(*largest_difference(off)), np.hypot(*difference_spread(off))
    said = (
        f"Had it been {_NAME} at {places.year:.1f}, positions would be off by {whole:.3f} m before any shift; a shift"
        f" derived from ties absorbs all but {left:.3f} m of it over the job"
    )
    kept = [window.session.name for window in survey.windows if window.session.shift != "derive"]
    return f"{said}; the points of {', '.join(kept)} keep all of it" if kept else said
