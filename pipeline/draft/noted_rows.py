"""Checks that were read off the screen in the field, as rows of ``check_marks``: shown, and never proof of anything."""

import numpy as np
import pyarrow as pa

from pipeline.arrays import Floats
from pipeline.intake.survey import Survey
from pipeline.issue.geopackage.layers import CHECK_MARKS, GEOMETRY, wkb_points
from pipeline.job.model import Noted
from pipeline.solve.compare import span
from pipeline.solve.proof import place
from pipeline.solve.solve import Solved
from pipeline.tables import TIME, number_column
from pipeline.tolerance import Tolerance
from pipeline.words import Role


def noted_rows(survey: Survey, solved: Solved) -> pa.RecordBatch:
    """Return the checks that sessions say were noted, by session and in the order of their times.

    What was observed follows from the mark and the differences; with a distance in plan alone it stays unknown, and the
    row lies on its mark. Nobody knows how certain they are. ``cause`` has what was noted with them.
    """
    noted = [
        (window, one) for window in survey.windows for one in sorted(window.session.noted, key=lambda one: one.time)
    ]
    marks = [solved.reference.names.index(one.mark) for _, one in noted]
    known = solved.reference.grid[marks]
    off, plan = _differences([one for _, one in noted])
    times = np.array([round(one.time.timestamp() * 1000) for _, one in noted], np.int64)
    tolerance = Tolerance(survey.job.checks.horizontal, survey.job.checks.vertical)
    each = np.column_stack([plan, off[:, 2]])
    judged = solved.reference.holds()[marks] & np.isfinite(each)
    at, axes = known + off, survey.axes
    spans = [span(solved.spans[window.index]) for window, _ in noted]
    places = [str(place(time, *edges)) for time, edges in zip(times.tolist(), spans, strict=True)]
    drawn = known + np.nan_to_num(off)
    columns = {
        "session": pa.array([window.session.name for window, _ in noted], pa.string()),
        "mark": pa.array([one.mark for _, one in noted], pa.string()),
        "role": pa.array([str(Role.NOTED)] * len(noted), pa.string()),
        "place": pa.array(places, pa.string()),
        "observed": pa.array(times, TIME),
        **_named("known_", axes.written(*known.T)),
        **_named("", axes.written(*at.T)),
        "d_east": number_column(off[:, 0]),
        "d_north": number_column(off[:, 1]),
        "d_height": number_column(off[:, 2]),
        "d_horizontal": number_column(plan),
        "tolerance_h": pa.array(np.full(len(noted), tolerance.horizontal), mask=~judged[:, 0]),
        "tolerance_v": pa.array(np.full(len(noted), tolerance.vertical), mask=~judged[:, 1]),
        "passed": pa.array(tolerance.passes(each, judged), mask=~judged.any(axis=1)),
        "cause": pa.array([one.note for _, one in noted], pa.string()),
        GEOMETRY: wkb_points(*axes.geometry(*axes.written(*drawn.T))),
    }
    arrays = [columns.get(field.name, pa.nulls(len(noted), field.type)) for field in CHECK_MARKS]
    return pa.RecordBatch.from_arrays(arrays, schema=CHECK_MARKS)


def _differences(noted: list[Noted]) -> tuple[Floats, Floats]:
    """Return (n, 3) differences east, north, up, and (n,) those in plan; NaN for what was not noted."""
    given = [[one.d_east, one.d_north, one.d_height, one.d_horizontal] for one in noted]
    found = np.array(given, np.float64).reshape(-1, 4)
    return found[:, :3], np.where(np.isnan(found[:, 3]), np.hypot(found[:, 0], found[:, 1]), found[:, 3])


def _named(before: str, coordinates: tuple[Floats, Floats, Floats]) -> dict[str, pa.Array]:
    names = ("easting", "northing", "height")
    return {f"{before}{name}": number_column(of) for name, of in zip(names, coordinates, strict=True)}
