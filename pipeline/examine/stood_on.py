"""Assigns accepted readings to the register's marks, before any shift is known."""

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.geodesy.own_places import lonlat
from pipeline.intake.survey import Survey
from pipeline.occupations.signs import Wanted
from pipeline.sphere import apart
from pipeline.words import Role

#: Metres within which a raw occupation belongs to a mark that it does not name, unless another mark is nearly as near.
_NEXT, _CLEAR = 15.0, 45.0


class Stood(Struct, frozen=True):
    """Sound occupations of the register's marks, (n,): session, number of the mark, whether a tie, raw position.

    ``places`` is (R, 2) longitude and latitude of the marks themselves.
    """

    session: Integers
    mark: Integers
    tie: Flags
    xyz: Floats
    places: Floats


def stood_on_marks(survey: Survey) -> Stood | None:
    """Find the mark of every occupation: the one that its session names, else, where coded, the one next to it.

    Returns None where the job has no register.
    """
    control, register = survey.job.control, survey.register
    if control is None or register is None:
        return None
    places = np.column_stack(lonlat(control.crs, register.first, register.second, register.third))
    candidates = survey.candidates
    rows, marks = [], []
    coded, columns = Wanted.of([], survey.job.checks.codes).stated(candidates.table)
    longitude, latitude, _ = survey.operations.frames.to_geographic.forward(*candidates.raw.T)
    raw = np.column_stack([longitude, latitude])
    for row, said in enumerate(candidates.named):
        if said is not None:
            mark = register.find(said.mark)
        else:
            mark = _next_to(raw[row], places) if coded[row] or columns[row] else None
        if mark is not None:
            rows.append(row)
            marks.append(mark)
    named = [candidates.named[row] for row in rows]
    return Stood(
        candidates.session[rows].astype(np.int64),
        np.array(marks, np.int64),
        np.array([said is not None and said.role is Role.TIE for said in named], bool),
        candidates.raw[rows],
        places,
    )


def _next_to(raw: Floats, places: Floats) -> int | None:
    distance = np.nan_to_num(apart(raw[0], raw[1], places[:, 0], places[:, 1]), nan=np.inf)
    if not len(distance):
        return None
    nearest = int(np.argmin(distance))
    crowd = int((distance <= _CLEAR).sum())
    return nearest if distance[nearest] <= _NEXT and crowd == 1 else None
