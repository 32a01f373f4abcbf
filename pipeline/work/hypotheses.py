"""The hypotheses about one session's occupations: each of the trade's usual blunders with its prediction."""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.correct import NEVER
from pipeline.geodesy.alternatives import other_datums
from pipeline.geodesy.area import Area
from pipeline.proof.causes import Hypothesis, Kind
from pipeline.proof.misread import misread_numbers
from pipeline.words import Role
from pipeline.work.influence import Influence
from pipeline.work.prepare import Prepared
from pipeline.work.routes import Routes
from pipeline.work.settle import Settled

Floats = NDArray[np.float64]

#: Metres in an international foot, and in a US survey foot (exact by their definitions, 0.3048 and 1200/3937).
FOOT, SURVEY_FOOT = 0.3048, 1200.0 / 3937.0
#: A datum is a reading only where its offset is this many times what its operation is good to.
_TOLD_APART = 3.0
_UP = np.array([0.0, 0.0, 1.0])
_AXES = {
    "projected": ("easting", "northing", "height"),
    "geographic": ("longitude", "latitude", "ellipsoidal height"),
}
_ALL, _LEVEL, _HEIGHT = (True, True, True), (True, True, False), (False, False, True)


@dataclass(frozen=True)
class Scope:
    """What a reading looks at: one session, its judged occupations and those elsewhere of the marks in question.

    ``own`` are the rows of the session itself, by time; ``marks`` those that may be wrong.
    """

    prepared: Prepared
    routes: Routes
    settled: Settled
    area: Area
    influence: Influence
    session: int
    own: NDArray[np.int64]
    marks: tuple[str, ...]


def hypotheses(scope: Scope) -> Iterator[Hypothesis]:
    """Yield every hypothesis about the scope."""
    for mark in scope.marks:
        yield from _misread(scope, mark)
        decide = f"another mark, or {mark}'s published coordinates"
        shape = scope.influence.of_register(mark, np.ones(3))
        for free, what in ((_ALL, "coordinates in the register are"), (_LEVEL, "position in the register is"),
                           (_HEIGHT, "height in the register is")):  # fmt: skip
            text = f"{mark}'s {what} off by {{size}}"
            yield Hypothesis(Kind.MARK_UNEXPLAINED, text, shape, free, decide)
    for row in scope.own.tolist():
        yield from _other_marks(scope, row)
        yield from _point(scope, row)
        yield from _other_sessions(scope, row)
    yield from _setups(scope)
    yield from _field_shift(scope)
    yield from _in_time(scope)


def _misread(scope: Scope, mark: str) -> Iterator[Hypothesis]:
    """Yield what the register's coordinates of a mark may have been meant to be."""
    register = scope.prepared.register
    number = register.find(mark) if register is not None else None
    if register is None or number is None:
        return
    given = np.array([register.first[number], register.second[number], register.third[number]])
    given = np.where(np.isnan(given), 0.0, given)
    axes = _AXES[register.kind]
    others: list[tuple[Kind, str, Floats, float]] = []

    def meant(kind: Kind, text: str, coordinates: Floats, slack: float = 0.0) -> None:
        others.append((kind, text, coordinates, slack))

    for misread in misread_numbers(register.written[number]):
        try:
            value = float(misread.meant.replace(",", "."))
        except ValueError:
            continue
        coordinates = given.copy()
        coordinates[misread.component] = value
        kind = Kind.DIGITS_SWAPPED if misread.swapped else Kind.DIGIT_WRONG
        how = "with two digits swapped" if misread.swapped else "with one digit wrong"
        text = f"{mark}'s {axes[misread.component]} was typed {how}: {misread.written} for {misread.meant}"
        meant(kind, text, coordinates)
    meant(Kind.AXES_SWAPPED, f"{mark}'s {axes[0]} and {axes[1]} are swapped", given[[1, 0, 2]])
    for factor, text in (
        (FOOT, f"{mark}'s height is in feet"),
        (1.0 / FOOT, f"{mark}'s height was taken from feet to metres twice"),
    ):
        meant(Kind.FEET, text, given * np.array([1.0, 1.0, factor]))
    if register.kind == "projected":
        for factor, text in (
            (FOOT / SURVEY_FOOT, "as US survey feet instead of international feet"),
            (SURVEY_FOOT / FOOT, "as international feet instead of US survey feet"),
        ):
            meant(
                Kind.FEET, f"{mark}'s easting and northing were taken to metres {text}", given * [factor, factor, 1.0]
            )
        for north in (-1e7, 1e7):
            other = given + np.array([0.0, north, 0.0])
            meant(Kind.HEMISPHERE, f"{mark}'s northing is that of the other hemisphere", other)
    yield from _meant(scope, mark, others)


def _meant(scope: Scope, mark: str, others: list[tuple[Kind, str, Floats, float]]) -> Iterator[Hypothesis]:
    """Yield hypotheses for other coordinates of a mark in the register's CRS, and for frames they may belong to."""
    register, routes = scope.prepared.register, scope.routes
    number = register.find(mark) if register is not None else None
    if register is None or number is None or routes.register is None:
        return
    given = np.nan_to_num(np.array([register.first[number], register.second[number], register.third[number]]))
    xyz = np.column_stack(routes.register.forward(*np.vstack([given, *(other[2] for other in others)]).T))
    now = np.column_stack(routes.frames.to_issued.forward(*xyz[:1].T))[0]
    there = np.column_stack(routes.frames.to_issued.forward(*xyz[1:].T))
    for (kind, text, _, slack), grid in zip(others, there, strict=True):
        yield from _typed(scope, mark, kind, text, now - grid, slack)
    longitude, latitude, height = (float(v) for v in routes.frames.to_geographic.forward(*xyz[0]))
    places: list[tuple[Kind, str, float, float, float]] = []
    for datum in other_datums(scope.prepared.loaded.job.target.grid, scope.area, longitude, latitude):
        text = f"{mark}'s coordinates are in {datum.name}"
        places.append((Kind.DATUM, text, datum.longitude, datum.latitude, datum.accuracy))
    if register.kind == "projected":
        for degrees in (6.0, -6.0, 3.0, -3.0, 2.0, -2.0):
            side = "east" if degrees > 0 else "west"
            text = f"{mark}'s easting is that of a neighbouring zone, {abs(degrees):g} degrees {side}"
            places.append((Kind.ZONE, text, longitude + degrees, latitude, 0.0))
    else:
        places.append((Kind.HEMISPHERE, f"{mark}'s latitude has the wrong sign", longitude, -latitude, 0.0))
        places.append((Kind.HEMISPHERE, f"{mark}'s longitude has the wrong sign", -longitude, latitude, 0.0))
    for kind, text, lon, lat, slack in places:
        moved = routes.frames.to_geographic.inverse(lon, lat, height)
        grid = np.column_stack(routes.frames.to_issued.forward(*moved))[0]
        grid[2] = now[2]  # the height as written goes with the other position
        if slack and np.hypot(*(now - grid)[:2]) < _TOLD_APART * slack:
            continue
        yield from _typed(scope, mark, kind, text, now - grid, slack)
    separation = height - now[2]
    if abs(separation) > 0.0:
        text = f"{mark}'s height in the register is {{}} (geoid separation {separation:+.3f} m)"
        wrong = separation * _UP
        yield from _typed(scope, mark, Kind.HEIGHT_SYSTEM, text.format("an ellipsoidal one"), wrong)
        yield from _typed(scope, mark, Kind.HEIGHT_SYSTEM, text.format("reduced by the geoid twice"), -wrong)


def _typed(scope: Scope, mark: str, kind: Kind, text: str, error: Floats, slack: float = 0.0) -> Iterator[Hypothesis]:
    if np.isfinite(error).all() and error.any():
        decide = f"an occupation of another mark, or {mark}'s published coordinates"
        yield Hypothesis(kind, text, scope.influence.of_register(mark, error), decide=decide, slack=slack)


def _other_marks(scope: Scope, row: int) -> Iterator[Hypothesis]:
    """Yield that the rover stood on another mark of the register than the one it is compared with."""
    on_marks, reference = scope.settled.occupations, scope.settled.reference
    mark, point = on_marks.marks[row], on_marks.table.column("name")[row].as_py()
    for name, grid in zip(reference.names, reference.grid, strict=True):
        error = np.nan_to_num(grid - on_marks.known[row])
        if name != mark:
            text = f"{point} stood on {name}, not on {mark}"
            yield Hypothesis(Kind.OTHER_MARK, text, scope.influence.of_rows({row: error}), decide=_again(mark))


def _again(mark: str) -> str:
    return f"{mark} occupied once more"


def _point(scope: Scope, row: int) -> Iterator[Hypothesis]:
    """Yield that one occupation alone is off: by its pole or antenna height, or for no known reason."""
    on_marks = scope.settled.occupations
    mark, point = on_marks.marks[row], on_marks.table.column("name")[row].as_py()
    stated = on_marks.table.column("antenna_height")[row].as_py()
    for up, how in _heights(stated):
        shape = scope.influence.of_rows({row: up * _UP})
        text = f"{point}'s pole or antenna height of {stated:.3f} m was {how}"
        yield Hypothesis(Kind.ANTENNA, text, shape, decide=_again(mark))
    shape = scope.influence.of_rows({row: np.ones(3)})
    for free, what in ((_ALL, "is"), (_LEVEL, "is in position"), (_HEIGHT, "is in height")):
        text = f"{point} alone {what} off by {{size}}" + (" (pole height?)" if free == _HEIGHT else "")
        yield Hypothesis(Kind.POINT_UNEXPLAINED, text, shape, free, _again(mark))


def _heights(stated: float | None) -> Iterator[tuple[float, str]]:
    """Yield how much too high a position is, and why, for an antenna or pole height as stated."""
    if stated is None or not np.isfinite(stated) or stated == 0.0:
        return
    yield stated, "left out"
    yield -stated, "applied twice"
    yield -stated * (1.0 - FOOT), "in feet, taken for metres"
    yield stated * (1.0 / FOOT - 1.0), "in metres, taken for feet"


def _setups(scope: Scope) -> Iterator[Hypothesis]:
    """Yield what a wrong antenna height of the base over its mark would show."""
    for number, session in enumerate(scope.settled.tied.setups):
        setup = scope.prepared.windows[session].session.setup
        if session == scope.session and setup is not None:
            for up, how in _heights(setup.antenna_height):
                text = f"the base's antenna height of {setup.antenna_height:.3f} m over {setup.mark} was {how}"
                shape = scope.influence.of_setup(number, up * _UP)
                yield Hypothesis(Kind.ANTENNA, text, shape, decide="a rover tie on a mark of the register")


def _other_sessions(scope: Scope, row: int) -> Iterator[Hypothesis]:
    """Yield that an occupation was observed against the base of another session."""
    on_marks, shifts = scope.settled.occupations, scope.settled.shifts.shift
    point = on_marks.table.column("name")[row].as_py()
    near = [w for w in scope.prepared.windows if abs(w.start_ms - int(on_marks.time[row])) < 3 * 86_400_000]
    others = [w for w in near if w.index != scope.session and np.isfinite(shifts[w.index]).all()]
    errors = _in_grid(scope, row, shifts[scope.session] - shifts[[w.index for w in others]])
    for window, error in zip(others, errors, strict=True):
        text = f"{point} was observed against the base of session {window.session.name}"
        shape = scope.influence.of_rows({row: error})
        yield Hypothesis(Kind.OTHER_SESSION, text, shape, decide="the base id in the receiver's own record")


def _in_grid(scope: Scope, row: int, vectors: Floats) -> Floats:
    """Return (k, 3) what geocentric vectors (k, 3) add to easting, northing and height at an occupation.

    Differences are those of the grid, which is turned against east and north by its convergence: by degrees at a zone's
    edge, where 3 m turned by so little come to lie outside any tolerance.
    """
    raw = scope.settled.occupations.raw[row]
    there = np.column_stack(scope.routes.frames.to_issued.forward(*np.vstack([raw, raw + vectors]).T))
    return np.asarray(there[1:] - there[0])


def _field_shift(scope: Scope) -> Iterator[Hypothesis]:
    """Yield that the export carries its field shift twice, or does not carry it."""
    on_marks, field = scope.settled.occupations, scope.settled.field
    start = int(field.start[scope.session])
    if start == NEVER or not len(scope.own):
        return
    geocentric = field.geocentric[scope.session]
    vector = _in_grid(scope, int(scope.own[0]), geocentric[None])[0] + field.grid[scope.session]
    late = [row for row in scope.own.tolist() if on_marks.time[row] >= start]
    groups = [(late, "the export")] + [([row], str(on_marks.table.column("name")[row].as_py())) for row in late]
    for rows, who in groups:
        for error, how in ((-vector, "does not carry the field shift"), (vector, "carries the field shift twice")):
            shape = scope.influence.of_rows(dict.fromkeys(rows, error))
            yield Hypothesis(Kind.FIELD_SHIFT, f"{who} {how}", shape, decide="the field's record of what it applied")


def _in_time(scope: Scope) -> Iterator[Hypothesis]:
    """Yield that the base moved in one of the gaps between occupations, or drifts all the time."""
    on_marks, rows = scope.settled.occupations, scope.own.tolist()
    times = on_marks.time[scope.own]
    for gap in range(1, len(rows)):
        if times[gap] > times[gap - 1]:
            shape = scope.influence.of_rows(dict.fromkeys(rows[gap:], np.ones(3)))
            text = "the base appears to have moved by {opposite} between {since} and {until} UTC"
            decide = (
                f"an occupation of {on_marks.marks[rows[gap - 1]]}, which passed before: it fails too if the base moved"
            )
            where = (rows[gap - 1], rows[gap])
            yield Hypothesis(Kind.BASE_MOVED, text, shape, _ALL, decide, where=where)
    if len(rows) > 2 and times[-1] > times[0]:
        yield drift(scope)


def drift(scope: Scope) -> Hypothesis:
    """Return the hypothesis that the base drifts: its free size is metres an hour that the points move."""
    on_marks = scope.settled.occupations
    hours = (on_marks.time[scope.own] - on_marks.time[scope.own[0]]) / 3_600_000
    chosen = {row: np.full(3, hour) for row, hour in zip(scope.own.tolist(), hours, strict=True)}
    text = "the base appears to drift by {opposite} an hour"
    return Hypothesis(Kind.BASE_DRIFTS, text, scope.influence.of_rows(chosen), _ALL, "a closing occupation, later")


def tied_marks(settled: Settled, session: int) -> list[str]:
    """Return the marks that tie a session, each once."""
    on_marks = settled.occupations
    here = np.flatnonzero(on_marks.session == session)
    return list(dict.fromkeys(on_marks.marks[row] for row in here if on_marks.roles[row] is Role.TIE))
