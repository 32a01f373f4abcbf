"""The hypotheses that an antenna or pole height is wrong: left out, applied twice, or in another unit."""

from collections.abc import Iterator

import numpy as np

from pipeline.arrays import Floats
from pipeline.blunders.other_marks import ROVER_TIE, again, point_name
from pipeline.blunders.scope import Scope
from pipeline.blunders.score import HEIGHT, PARTS, Hypothesis, Kind, OneShape
from pipeline.geodesy.units import FOOT
from pipeline.visible import one_line

#: Metres within which two pole heights are one: less than checks tolerate.
_SAME = 0.020


def wrong_poles(scope: Scope, row: int) -> Iterator[Hypothesis]:
    """Yield that the stated pole or antenna height of an occupation, a row of `OnMarks`, was applied otherwise."""
    on_marks = scope.case.solved.occupations
    stated = on_marks.table.column("antenna_height")[row].as_py()
    how, errors = _errors(scope, stated)
    for said, shape in zip(how, scope.influence.displaced([row], errors), strict=True):
        text = f"{point_name(scope, row)}'s pole or antenna height of {stated:.3f} m was {said}"
        yield Hypothesis(Kind.ANTENNA, text, shape, decide=again(on_marks.marks[row]))


def left_poles(scope: Scope) -> Iterator[Hypothesis]:
    """Yield that heights are of the antenna, and that a column of pole heights that is not mapped was to be taken off.

    Poles of one length show nothing: the shift from the ties takes them up.
    """
    case, on_marks = scope.case, scope.case.solved.occupations
    rows = np.flatnonzero(np.isin(on_marks.session, scope.sessions))
    export, line = (on_marks.table.column(name).to_pylist() for name in ("export", "source_row"))
    for name, log in case.survey.first_pass.poles.left.items():
        of = {number for number, _ in log.on}
        known = [row for row in rows.tolist() if export[row] in of]
        lengths = np.array([log.on.get((export[row], line[row]), np.nan) for row in known])
        if not len(known) or not np.isfinite(lengths).all() or np.ptp(lengths) < _SAME:
            continue
        shape = scope.influence.each_displaced(known, lengths[:, None] * scope.influence.rotation[2])
        text = (
            f'heights are of the antenna, and its heights above the ground, in the column "{one_line(name)}", were not'
            " subtracted: map it as pole_height in [points.columns]"
        )
        yield Hypothesis(Kind.ANTENNA, text, shape, decide="whether the field software exported the antenna's heights")


def wrong_set_ups(scope: Scope, session: int, stated: float, where: str) -> Iterator[Hypothesis]:
    """Yield that the base of a session was not where its set-up over a mark has it.

    Args:
        scope: what is searched.
        session: index of the session.
        stated: metres, the antenna height of its base.
        where: over which mark, in words.
    """
    number = scope.case.solved.tied.setups.index(session)
    how, errors = _errors(scope, stated)
    for said, shape in zip(how, scope.influence.set_up(number, errors), strict=True):
        text = f"the base's antenna height of {stated:.3f} m {where} was {said}"
        yield Hypothesis(Kind.ANTENNA, text, shape, decide=ROVER_TIE)
    shape, group = scope.influence.any_set_up(number), OneShape()
    for free, what in PARTS:
        why = "antenna height" if free == HEIGHT else "centring, another mark, or the position that it broadcast"
        text = f"the set-up {where} is off{what} by {{size}} ({why}?)"
        yield Hypothesis(Kind.SETUP_UNEXPLAINED, text, shape, free, ROVER_TIE, group=group)


def _errors(scope: Scope, stated: float | None) -> tuple[list[str], Floats]:
    """Return how a stated height may have been applied otherwise, and (k, 3) metres that a position is off then."""
    if stated is None or not np.isfinite(stated) or stated == 0.0:
        return [], np.zeros((0, 3))
    too_high = {
        "left out": stated,
        "applied twice": -stated,
        "in feet but read as metres": -stated * (1.0 - FOOT),
        "in metres but read as feet": stated * (1.0 / FOOT - 1.0),
    }
    return list(too_high), np.array(list(too_high.values())).reshape(-1, 1) * scope.influence.rotation[2]
