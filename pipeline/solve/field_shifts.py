"""The corrections that sessions say the field had already applied, ready to be taken out."""

import numpy as np

from pipeline.arrays import Floats
from pipeline.geodesy.frames import local_to_geocentric
from pipeline.intake.survey import Survey
from pipeline.solve.correct import NEVER, FieldShifts


def field_shifts(survey: Survey, places: Floats, marks: dict[str, Floats]) -> FieldShifts:
    """Return the corrections that the field had applied.

    A geocentric one is meant at the mark of its session's first tie, else at the session's place.

    Args:
        survey: the job before any shift.
        places: (S, 3) from `shift_places`.
        marks: (3,) position of each mark that is tied to, working frame.
    """
    count = len(survey.windows)
    start, geocentric, grid = np.full(count, NEVER), np.zeros((count, 3)), np.zeros((count, 3))
    for window in survey.windows:
        stated = window.session.field_shift
        if stated is None:
            continue
        number, vector = window.index, np.array([stated.east, stated.north, stated.up])
        start[number] = round(stated.start.timestamp() * 1000)
        if stated.model == "grid":
            grid[number] = vector
        else:
            place = marks[window.session.ties[0].mark] if window.session.ties else places[number]
            longitude, latitude, _ = survey.operations.frames.to_geographic.forward(*place)
            geocentric[number] = local_to_geocentric(vector, longitude, latitude)
    return FieldShifts(start, geocentric, grid)
