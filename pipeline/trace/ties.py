"""What a session's shift comes from: its ties, its set-up, its stated shift, each with its share of the answer."""

from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Floats
from pipeline.clock import moment
from pipeline.geodesy.frames import enu_rotation, rotate_covariance, turn
from pipeline.intake.prepare import Prepared
from pipeline.solve.solve import Settled
from pipeline.trace.model import Occupied, Shift, Tie
from pipeline.trace.numbers import each, number, vector


def shift_at(prepared: Prepared, settled: Settled, session: int, longitude: float, latitude: float) -> Shift:
    """Return a tied session's shift, as east, north, up at a place in degrees."""
    rotation = enu_rotation(longitude, latitude)
    shift = settled.shifts.shift[session]
    local = rotate_covariance(settled.shifts.covariance[session], rotation)
    return Shift(
        vector(shift),
        vector(turn(shift, rotation)),
        vector(np.sqrt(np.diagonal(local))),
        str(settled.verdicts[session]),
        tuple(_ties(prepared, settled, session)),
    )


def _ties(prepared: Prepared, settled: Settled, session: int) -> Iterator[Tie]:
    on_marks = settled.occupations
    for row in np.flatnonzero((on_marks.session == session) & (on_marks.observation >= 0)).tolist():
        point = on_marks.table.column("name")[row].as_py()
        raw, time = on_marks.raw[row], int(on_marks.time[row])
        yield _on_mark(prepared, settled, int(on_marks.observation[row]), "tie", point, time, raw)
    first = len(settled.tied.occupied) - len(settled.tied.setups)
    for number_, over in enumerate(settled.tied.setups):
        if over == session:
            raw = settled.bases.mark[session]
            yield _on_mark(prepared, settled, first + number_, "set-up", None, None, raw)
    given = settled.shifts.observations
    for row in np.flatnonzero((given.session == session) & (given.mark < 0)).tolist():
        yield Tie(
            "stated", None, None, None, (None,) * 3, (None,) * 3, None, (None,) * 3, None,
            vector(turn(given.observed[row], given.rotation[row].T)),
            vector(settled.shifts.adjustment.residuals[row]),
            _sigma(settled, row), (),
        )  # fmt: skip


def _on_mark(
    prepared: Prepared, settled: Settled, row: int, use: str, point: str | None, time: int | None, raw: Floats
) -> Tie:
    """Return observation ``row`` of the adjustment, of a receiver over a mark."""
    marks, mark = settled.tied.marks, int(settled.tied.occupied[row])
    name = marks.names[mark]
    adjusted, rotation = settled.shifts.marks[mark], enu_rotation(marks.longitude[mark], marks.latitude[mark])
    session = int(settled.shifts.observations.session[row])
    known = settled.reference.names.index(name) if name in settled.reference.names else None
    return Tie(
        use,
        point,
        name,
        None if time is None else moment(time),
        (None,) * 3 if known is None else each(settled.reference.grid[known]),
        each(np.where(marks.held[mark], marks.sigma[mark], np.nan)),
        vector(adjusted),
        each(np.where(marks.held[mark], turn(adjusted - marks.xyz[mark], rotation), np.nan)),
        vector(raw),
        vector(adjusted - raw),
        vector(settled.shifts.adjustment.residuals[row]),
        _sigma(settled, row),
        _others(prepared, settled, mark, session),
    )


def _sigma(settled: Settled, row: int) -> tuple[float, float, float]:
    return vector(np.sqrt(np.diagonal(settled.shifts.observations.covariance[row])))


def _others(prepared: Prepared, settled: Settled, mark: int, session: int) -> tuple[str, ...]:
    given = settled.shifts.observations
    found = {int(s) for s in given.session[(given.mark == mark) & (given.session >= 0)]} - {session}
    return tuple(prepared.windows[other].session.name for other in sorted(found))


def around(settled: Settled, session: int, time: int) -> tuple[Occupied | None, Occupied | None]:
    """Return the occupations that speak for a time: the last one at or before it, the first one at or after it."""
    on_marks = settled.occupations
    rows = np.flatnonzero((on_marks.session == session) & on_marks.compared.judged)
    times = on_marks.time[rows]
    before = int(np.searchsorted(times, time, side="right")) - 1
    after = int(np.searchsorted(times, time, side="left"))
    return (
        _occupied(settled, int(rows[before])) if before >= 0 else None,
        _occupied(settled, int(rows[after])) if after < len(rows) else None,
    )


def _occupied(settled: Settled, row: int) -> Occupied:
    on_marks = settled.occupations
    return Occupied(
        on_marks.table.column("name")[row].as_py(),
        on_marks.marks[row],
        moment(int(on_marks.time[row])),
        str(on_marks.roles[row]),
        number(float(on_marks.compared.horizontal[row])),
        number(float(on_marks.compared.height[row])),
        bool(on_marks.compared.passed[row]),
    )
