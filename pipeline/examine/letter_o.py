"""Longitudes with the letter O that were read as the west: told, and refused where only the east lies in the grid."""

from collections.abc import Iterator, Sequence

import numpy as np

from pipeline.examine.out_of_area import OVER_THE_EDGE
from pipeline.examine.register_looks import distance_from
from pipeline.files.letter_o import evidence, read_as_west
from pipeline.geodesy.crs import area_of_use, target_grid
from pipeline.geodesy.errors import OperationError
from pipeline.intake.first_pass import FirstPass
from pipeline.intake.prepare import Prepared
from pipeline.intake.survey import Survey
from pipeline.problems import Problems


def report_letter_o(prepared: Prepared, first_pass: FirstPass, problems: Problems) -> None:
    """Note exports whose O was read as the west, where the grid's area of use is far off but for the same degrees east.

    Headings were translated then, and letters were not. The register's O is the same question: its marks lie there.
    """
    if not _nearer_in_the_east(prepared, first_pass):
        return
    fix = "export E or W, or a signed value"
    for shown, headings, where in _read_so(prepared):
        what = (
            f"{shown}: O is west in the language of the headings ({evidence(headings)}), but target.grid is used where"
            " the longitudes would lie if it were east: which of the two it means is not certain"
        )
        problems.add(*where, what, fix)


def letter_o_notes(survey: Survey) -> list[str]:
    """Return in words where an O was read as the west, and by which headings."""
    return [f"{shown}: {read_as_west(headings)}" for shown, headings, _ in _read_so(survey.prepared)]


def _read_so(prepared: Prepared) -> Iterator[tuple[str, Sequence[str], tuple[str, int]]]:
    """Yield the exports and the register whose O was read as the west: how called, headings, where mapped."""
    loaded = prepared.loaded
    for export in prepared.exports:
        if export.west:
            yield export.shown, export.west, loaded.where("points", export.block, "columns", "longitude")
    if prepared.register is not None and prepared.register.west:
        yield "the register", prepared.register.west, loaded.where("control", "columns", "longitude")


def _nearer_in_the_east(prepared: Prepared, first_pass: FirstPass) -> bool:
    """Tell whether readings lie far outside the grid's area of use, and nearer with the sign of longitudes changed."""
    area = first_pass.area
    if area is None or not any(export.west for export in prepared.exports):
        return False
    try:
        use = area_of_use(target_grid(prepared.loaded.job.target.grid))
    except OperationError:  # told where the operations are chosen
        return False
    if use is None:
        return False
    places, bounds = np.column_stack(area.samples()), (use.west, use.south, use.east, use.north)
    here, turned = (distance_from(bounds, places * np.array(by)).min() for by in ((1.0, 1.0), (-1.0, 1.0)))
    return bool(turned + OVER_THE_EDGE < here)
