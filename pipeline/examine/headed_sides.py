"""Compares the hemispheres that headings of longitudes and latitudes state with the signs of their numbers."""

from collections.abc import Iterator
from pathlib import Path

import numpy as np

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.register_looks import distance_from
from pipeline.files.hemisphere_headings import NEGATE, SideSaid, side_in_heading, told_side
from pipeline.geodesy.area import Area
from pipeline.geodesy.crs import area_of_use, target_grid
from pipeline.geodesy.errors import OperationError
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.prepare import Prepared
from pipeline.intake.survey import Survey
from pipeline.problems import Problems
from pipeline.sphere import DEGREE
from pipeline.words import Doubt

#: Metres beyond an area of use that a grid is used in all the same: a zone's neighbour, as far as two degrees.
_BEYOND = 2.0 * DEGREE


def report_sides(prepared: Prepared, first_pass: FirstPass, problems: Problems) -> None:
    """Note every heading that states the south or the west above positive numbers alone: they would be mirrored.

    Where only the numbers as they stand lie in the grid's area of use, the heading means something else.
    """
    grid, area = prepared.loaded.job.target.grid, first_pass.area
    for one in first_pass.sides:
        if one.said.below and one.said.sure and not one.below and may_be_mirrored(grid, area, one.word):
            export = prepared.exports[one.export]
            where = prepared.loaded.where("points", export.block, "columns", one.word)
            problems.add(*where, f"{export.shown}: {told_side(one.heading, one.said)}", NEGATE)
    for word, heading, said, above, below in _of_register(prepared):
        if said.below and said.sure and above and not below and may_be_mirrored(grid, area, word):
            where = prepared.loaded.where("control", "columns", word)
            problems.add(*where, f"the register: {told_side(heading, said)}", NEGATE)


def side_doubts(survey: Survey) -> Iterator[Doubtful]:
    """Yield a doubt for each heading that may state the west, or states a hemisphere of which not all numbers are.

    The O of "Longitude (O)" is the west in some languages and the east in others. It is in doubt only where the points
    would lie in the grid's area of use either way: elsewhere only one of them can be meant.
    """
    prepared = survey.prepared
    logs = survey.first_pass.files
    for one in survey.first_pass.sides:
        if (what := _doubted(survey, one.word, one.heading, one.said, one.above, one.below)) is not None:
            sessions = tuple(np.flatnonzero(logs[one.export].sessions).tolist())
            export = prepared.exports[one.export]
            file, line = survey.where("points", export.block, "columns", one.word)
            yield Doubtful(Doubt.PLACE, f"{export.shown}: {what}", sessions, Path(file).name, line)
    for word, heading, said, above, below in _of_register(prepared):
        if (what := _doubted(survey, word, heading, said, above, below)) is not None:
            file, line = survey.where("control", "columns", word)
            yield Doubtful(Doubt.PLACE, f"the register: {what}", None, Path(file).name, line)


def side_notes(survey: Survey) -> list[str]:
    """Return in words which headings state a hemisphere above numbers whose sign says the same, or another one."""
    told = []
    for one in survey.first_pass.sides:
        export = survey.prepared.exports[one.export]
        if export.points.angles != "dms" and one.below and not one.above and not _states_sign(one.heading, one.said):
            told.append(f"{export.shown}: {_noted(one.heading, one.said)}")
    control = survey.job.control
    for _, heading, said, above, below in _of_register(survey.prepared):
        if control is not None and control.angles != "dms" and below and not above and not _states_sign(heading, said):
            told.append(f"the register: {_noted(heading, said)}")
    return told


def _states_sign(heading: str, said: SideSaid) -> bool:
    """Tell whether a heading says which side counts as positive, and means ours: "Latitude (N+)"."""
    return not said.below and "+" in heading


def _noted(heading: str, said: SideSaid) -> str:
    side = said.side
    if said.below:
        return (
            f'the heading "{heading}" states degrees {side} and its numbers are negative: they are read as {side}, as'
            " signed degrees; if the sign is meant to turn them round, export them with the sign corrected"
        )
    other = "south" if side == "north" else "west"
    return (
        f'the heading "{heading}" states degrees {side}, but its numbers are negative and are read as {other}: check'
        " the sign"
    )


def _doubted(survey: Survey, word: str, heading: str, said: SideSaid, above: int, below: int) -> str | None:
    if not said.below or not above:
        return None
    if said.sure and below:
        return (
            f'the heading "{heading}" states degrees {said.side}, but some of its numbers are positive and some'
            f" negative: if positive ones are {said.side}, all points are mirrored; check the signs, and export signed"
            " degrees, negative in the west and south"
        )
    if not said.sure and not below and may_be_mirrored(survey.job.target.grid, survey.first_pass.area, word):
        read = "east" if said.side == "west" else "north"
        return (
            f'the heading "{heading}" may state degrees {said.side} (as O does for Ouest, Oeste and Ovest, and for Ost'
            f" the east), but its numbers are positive and are read as {read}: if {said.side} is meant, all points are"
            " mirrored, and have to be exported as signed degrees, negative in the west and south"
        )
    return None


def may_be_mirrored(grid: str, area: Area | None, word: str) -> bool:
    """Tell whether a job's "longitude" or "latitude" may have the other sign, by its grid's area of use.

    It cannot where it lies in that area as it stands, and mirrored lies far outside.
    """
    try:
        use = area_of_use(target_grid(grid))
    except OperationError:  # told where the operations are chosen
        return True
    if use is None or area is None:
        return True
    turned = (-1.0, 1.0) if word == "longitude" else (1.0, -1.0)
    places, bounds = np.column_stack(area.samples()), (use.west, use.south, use.east, use.north)
    here = distance_from(bounds, places).min() <= 0.0
    return not here or bool(distance_from(bounds, places * np.array(turned)).min() <= _BEYOND)


def _of_register(prepared: Prepared) -> Iterator[tuple[str, str, SideSaid, int, int]]:
    """Yield what headings of the register state: word, heading, hemisphere, positive and negative numbers."""
    control, register = prepared.loaded.job.control, prepared.register
    if control is None or register is None or register.kind != "geographic":
        return
    for word, values in (("longitude", register.first), ("latitude", register.second)):
        heading = getattr(control.columns, word)
        said = side_in_heading(heading, word) if isinstance(heading, str) else None
        if said is not None:
            yield word, heading, said, int(np.count_nonzero(values > 0)), int(np.count_nonzero(values < 0))
