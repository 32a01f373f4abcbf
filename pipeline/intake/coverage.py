"""What does not reach a reading that has no coordinates: an area of use, a grid or the projection."""

from pipeline.arrays import Floats
from pipeline.geodesy.own_places import lonlat
from pipeline.intake.positions import raw_positions
from pipeline.intake.survey import Survey
from pipeline.read.exports import Export


def why_outside(survey: Survey, export: Export, raw: tuple[Floats, Floats, Floats]) -> str:
    """Return in words what does not reach a reading of an export; ``raw`` (1,) each as its CRS has it."""
    longitude, latitude = lonlat(export.points.crs or "", *raw)
    frames = survey.operations.frames
    for operation in (frames.to_working[export.block], frames.to_issued):
        for use in operation.within:
            if not use.area.holds(longitude, latitude)[0]:
                at = f"{longitude[0]:.4f}, {latitude[0]:.4f}"
                return f"it is at {at}, outside the area of use of {operation.name}: {use.name.rstrip('.')}"
    used = (grid.name for operation in survey.operations.recorded() for grid in operation.grids)
    grids = list(dict.fromkeys(used))  # two steps may use one grid
    return "no coordinates here: outside the grid or projection" + (f" ({', '.join(grids)})" if grids else "")


def why_candidate_outside(survey: Survey, row: int) -> str:
    """Return the same of a reading that may be an occupation, by its row among these."""
    table = survey.candidates.table
    export = survey.exports[table.column("export")[row].as_py()]
    return why_outside(survey, export, raw_positions(table.slice(row, 1)))
