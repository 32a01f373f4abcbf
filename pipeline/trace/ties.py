"""What a session's shift comes from: its ties, its set-up, its stated shift, each with its share of the answer."""

from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Floats
from pipeline.clock import moment
from pipeline.geodesy.frames import enu_rotation, rotate_covariance, turn
from pipeline.intake.survey import Survey
from pipeline.solve.solve import Solved
from pipeline.trace.model import OccupiedAround, Shift, Tie
from pipeline.trace.numbers import each, number, vector


def shift_at(survey: Survey, solved: Solved, session: int, longitude: float, latitude: float) -> Shift:
    """Return a tied session's shift, as east, north, up at a place in degrees."""
    rotation = enu_rotation(longitude, latitude)
    shift = solved.shifts.shift[session]
    local = rotate_covariance(solved.shifts.covariance[session], rotation)
    return Shift(
        vector(shift),
        vector(turn(shift, rotation)),
        vector(np.sqrt(np.diagonal(local))),
        str(solved.verdicts[session]),
        tuple(_ties(survey, solved, session)),
    )


def _ties(survey: Survey, solved: Solved, session: int) -> Iterator[Tie]:
    on_marks = solved.occupations
    for row in np.flatnonzero((on_marks.session == session) & (on_marks.observation >= 0)).tolist():
        reading = (on_marks.table.column("name")[row].as_py(), int(on_marks.time[row]))
        yield _on_mark(survey, solved, int(on_marks.observation[row]), on_marks.raw[row], reading)
    first = len(solved.tied.occupied) - len(solved.tied.setups)
    for number_, over in enumerate(solved.tied.setups):
        if over == session:
            yield _on_mark(survey, solved, first + number_, survey.bases.mark[session], None)
    given = solved.shifts.observations
    for row in np.flatnonzero((given.session == session) & (given.mark < 0)).tolist():
        yield Tie(
            use="stated",
            point=None,
            mark=None,
            observed=None,
            register=(None,) * 3,
            register_sigma=(None,) * 3,
            mark_xyz=None,
            correction=(None,) * 3,
            raw_xyz=None,
            own_shift=vector(turn(given.observed[row], given.rotation[row].T)),
            residual=vector(solved.shifts.adjustment.residuals[row]),
            sigma=_sigma(solved, row),
            sessions=(),
        )


def _on_mark(survey: Survey, solved: Solved, row: int, raw: Floats, reading: tuple[str | None, int] | None) -> Tie:
    """Return observation ``row`` of the adjustment, of a receiver over a mark.

    ``reading`` is the name of the reading that ties and its time, UTC milliseconds; None where the base stood there.
    """
    marks, mark = solved.tied.marks, int(solved.tied.occupied[row])
    name = marks.names[mark]
    adjusted, rotation = solved.shifts.marks[mark], enu_rotation(marks.longitude[mark], marks.latitude[mark])
    session = int(solved.shifts.observations.session[row])
    known = solved.reference.names.index(name) if name in solved.reference.names else None
    return Tie(
        use="set-up" if reading is None else "tie",
        point=None if reading is None else reading[0],
        mark=name,
        observed=None if reading is None else moment(reading[1]),
        register=(None,) * 3 if known is None else each(solved.reference.grid[known]),
        register_sigma=each(np.where(marks.held[mark], marks.sigma[mark], np.nan)),
        mark_xyz=vector(adjusted),
        correction=each(np.where(marks.held[mark], turn(adjusted - marks.xyz[mark], rotation), np.nan)),
        raw_xyz=vector(raw),
        own_shift=vector(adjusted - raw),
        residual=vector(solved.shifts.adjustment.residuals[row]),
        sigma=_sigma(solved, row),
        sessions=_others(survey, solved, mark, session),
    )


def _sigma(solved: Solved, row: int) -> tuple[float, float, float]:
    return vector(np.sqrt(np.diagonal(solved.shifts.observations.covariance[row])))


def _others(survey: Survey, solved: Solved, mark: int, session: int) -> tuple[str, ...]:
    given = solved.shifts.observations
    found = {int(s) for s in given.session[(given.mark == mark) & (given.session >= 0)]} - {session}
    return tuple(survey.windows[other].session.name for other in sorted(found))


def around(solved: Solved, session: int, time: int) -> tuple[OccupiedAround | None, OccupiedAround | None]:
    """Return the occupations that speak for a time: the last one at or before it, the first one at or after it."""
    on_marks = solved.occupations
    rows = np.flatnonzero((on_marks.session == session) & on_marks.evidence)
    times = on_marks.time[rows]
    before = int(np.searchsorted(times, time, side="right")) - 1
    after = int(np.searchsorted(times, time, side="left"))
    return (
        _occupied(solved, int(rows[before])) if before >= 0 else None,
        _occupied(solved, int(rows[after])) if after < len(rows) else None,
    )


def _occupied(solved: Solved, row: int) -> OccupiedAround:
    on_marks = solved.occupations
    return OccupiedAround(
        on_marks.table.column("name")[row].as_py(),
        on_marks.marks[row],
        moment(int(on_marks.time[row])),
        str(on_marks.roles[row]),
        number(float(on_marks.compared.horizontal[row])),
        number(float(on_marks.compared.height[row])),
        bool(on_marks.compared.passed[row]),
    )
