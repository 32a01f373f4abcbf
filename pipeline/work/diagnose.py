"""Failing occupations read: which single blunder would explain them, how sure that is, and what would decide."""

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from pipeline.geodesy.area import Area
from pipeline.geodesy.frames import rotate_covariance
from pipeline.proof.causes import Evidence, Kind, Reading, read, significance_of
from pipeline.words import Role
from pipeline.work.hypotheses import Scope, drift, hypotheses, tied_marks
from pipeline.work.influence import Influence, rotation_at
from pipeline.work.prepare import Prepared
from pipeline.work.routes import Routes
from pipeline.work.settle import Settled, shift_at_places
from pipeline.work.sift import clock
from pipeline.work.split import split_lines

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]

#: How many readings of one session are named in `cause`; the record has them all.
_NAMED = 3
#: Two readings whose scores differ by less are told apart by nobody: ten to one in likelihood.
_CLOSE = 2.0 * math.log(10.0)
#: A drift is told where noise alone gives as large a trend in one session of a thousand.
_DRIFT = 0.001
#: Less than three occupations make no trend.
_LEAST = 3


@dataclass(frozen=True)
class Diagnosis:
    """What the failing occupations of one session may mean.

    Args:
        session: index of the session.
        rows: the failing occupations that it is about, rows of `judge.OnMarks`; none where the shift is implausible.
        places: where ``rows`` stand in the readings' arrays.
        tried: how many hypotheses were tried.
        readings: those that fit, best first.
        split: lines of a job file that split the session where the base moved; None where that is not the best reading.
    """

    session: int
    rows: tuple[int, ...]
    tried: int
    places: tuple[int, ...]
    readings: tuple[Reading, ...]
    split: str | None


@dataclass(frozen=True)
class Diagnoses:
    """All of a job: what failing occupations may mean, and drifts that no tolerance caught."""

    diagnoses: tuple[Diagnosis, ...] = ()
    drifts: tuple[str, ...] = ()
    told: dict[int, str] = field(default_factory=dict)

    def causes(self, count: int) -> list[str | None]:
        """Return (count,) the sentence of each occupation, None where it has none."""
        return [self.told.get(row) for row in range(count)]


def diagnose(prepared: Prepared, routes: Routes, settled: Settled, area: Area) -> Diagnoses:
    """Read every session that has a failing occupation or an implausible shift, and look for drifts in all."""
    failing = settled.occupations.compared.judged & ~settled.occupations.compared.passed
    local, _ = shift_at_places(settled, routes)
    found: list[Diagnosis] = []
    drifts: list[str] = []
    for session in range(len(prepared.windows)):
        here = np.flatnonzero(failing & (settled.occupations.session == session))
        limits = prepared.loaded.job.shift
        east, north, up = local[session]
        implausible = bool(np.hypot(east, north) > limits.limit_horizontal or abs(up) > limits.limit_vertical)
        if len(here) or implausible:
            found += _read_session(prepared, routes, settled, area, local, session, here)
        elif (trend := _drift(prepared, routes, settled, area, local, session)) is not None:
            drifts.append(trend)
    told = {row: _sentence(prepared, settled, diagnosis) for diagnosis in found for row in diagnosis.rows}
    return Diagnoses(tuple(found), tuple(drifts), told)


def _read_session(
    prepared: Prepared, routes: Routes, settled: Settled, area: Area, local: Floats, session: int, failing: Integers
) -> list[Diagnosis]:
    """Read a session as a whole; where no single cause explains it, each of its failing marks by itself."""
    whole = _diagnose(prepared, routes, settled, area, local, session, failing, failing)
    marks = dict.fromkeys(settled.occupations.marks[row] for row in failing)
    if whole.readings or len(marks) < 2:
        return [whole]
    parts = []
    for mark in marks:
        rows = failing[[settled.occupations.marks[row] == mark for row in failing]]
        parts.append(_diagnose(prepared, routes, settled, area, local, session, rows, failing))
    return parts


def _diagnose(
    prepared: Prepared,
    routes: Routes,
    settled: Settled,
    area: Area,
    local: Floats,
    session: int,
    rows: Integers,
    failing: Integers,
) -> Diagnosis:
    """Read the failing ``rows`` of a session; other failing ones of the session are left out of sight."""
    scope = _scope(prepared, routes, settled, area, session, rows, np.setdiff1d(failing, rows))
    if scope is None:
        return Diagnosis(session, tuple(rows.tolist()), 0, (), (), None)
    checks = prepared.loaded.job.checks
    tried = list(hypotheses(scope))
    readings = read(_evidence(scope, local), tried, checks.horizontal, checks.vertical)
    split = None
    if readings and readings[0].hypothesis.kind is Kind.BASE_MOVED and readings[0].hypothesis.where is not None:
        split = split_lines(prepared, settled, session, *readings[0].hypothesis.where)
    places = np.searchsorted(scope.influence.rows, rows)
    return Diagnosis(session, tuple(rows.tolist()), len(tried), tuple(places.tolist()), tuple(readings), split)


def _scope(
    prepared: Prepared,
    routes: Routes,
    settled: Settled,
    area: Area,
    session: int,
    rows: Integers,
    unseen: Integers,
) -> Scope | None:
    """Return what is looked at: the session's judged occupations, and those elsewhere of the marks in question."""
    on_marks = settled.occupations
    judged = on_marks.compared.judged.copy()
    judged[unseen] = False
    own = np.flatnonzero(judged & (on_marks.session == session))
    marks = list(dict.fromkeys([*(on_marks.marks[row] for row in rows), *tied_marks(settled, session)]))
    known = [mark for mark in marks if mark in settled.reference.names]
    if not len(own) or not known:
        return None
    in_question = np.array([mark in known for mark in on_marks.marks], bool)
    seen = np.flatnonzero(judged & ((on_marks.session == session) | in_question))
    limits, checks = prepared.loaded.job.shift, prepared.loaded.job.checks
    scale = np.array([checks.horizontal / limits.limit_horizontal] * 2 + [checks.vertical / limits.limit_vertical])
    influence = Influence(settled, session, seen, rotation_at(settled, int(own[0])), scale)
    return Scope(prepared, routes, settled, area, influence, session, own, tuple(known))


def _evidence(scope: Scope, local: Floats) -> Evidence:
    """Return the scope's differences with their covariance, and the session's shift as a last row.

    Errors of one mark's coordinates are common to its occupations, those of a session's shift to its checks. The shift
    is judged as a difference at its tolerance when it is at its limit, a third of that being its standard uncertainty:
    a self-averaged base is off by a metre or a few (common practice, no source).
    """
    settled, rows, quality = scope.settled, scope.influence.rows, scope.prepared.loaded.job.quality
    on_marks, checks = settled.occupations, scope.prepared.loaded.job.checks
    compared = on_marks.compared
    difference = np.column_stack([compared.east, compared.north, compared.height])[rows]
    held = settled.reference.held
    number = {name: n for n, name in enumerate(settled.reference.names)}
    at = [number[on_marks.marks[row]] for row in rows]
    known = held[at] & np.isfinite(difference)
    noise = np.hypot(on_marks.sigma[rows], [quality.centring, quality.centring, 0.0])
    check = np.array([on_marks.roles[row] is Role.CHECK for row in rows], bool)
    same_mark = np.equal.outer(at, at)
    same_shift = np.equal.outer(on_marks.session[rows], on_marks.session[rows]) & np.logical_and.outer(check, check)
    shift = np.nan_to_num(rotate_covariance(settled.shifts.covariance, scope.influence.rotation))[
        on_marks.session[rows]
    ]
    covariance = np.zeros((3, len(rows) + 1, len(rows) + 1))
    tolerance = np.array([checks.horizontal, checks.horizontal, checks.vertical])
    for axis in range(3):
        covariance[axis, :-1, :-1] = (
            np.diag(noise[:, axis] ** 2)
            + same_mark * settled.reference.sigma[at, axis] ** 2
            + same_shift * shift[:, axis, axis][:, None]
        )
        covariance[axis, -1, -1] = (tolerance[axis] / 3.0) ** 2
    last = np.nan_to_num(local[scope.session]) * scope.influence.scale
    return Evidence(
        np.vstack([np.nan_to_num(difference), last]),
        np.vstack([known, np.isfinite(local[scope.session])]),
        covariance,
    )


def _drift(prepared: Prepared, routes: Routes, settled: Settled, area: Area, local: Floats, session: int) -> str | None:
    """Return in words a trend in a session whose occupations all pass, where noise alone hardly makes one so large."""
    scope = _scope(prepared, routes, settled, area, session, np.zeros(0, np.int64), np.zeros(0, np.int64))
    if scope is None or len(np.unique(settled.occupations.time[scope.own])) < _LEAST:
        return None
    (trend,) = read(_evidence(scope, local), [drift(scope)], math.inf, math.inf)
    chance = significance_of(trend.size, trend.sigma)
    if chance >= _DRIFT:
        return None
    return f"session {prepared.windows[session].session.name}: {_words(prepared, settled, trend)} (chance {chance:.1g})"


def _words(prepared: Prepared, settled: Settled, reading: Reading) -> str:
    """Return a reading's sentence with its numbers."""
    east, north, up = reading.size
    words = {
        "size": f"({east:+.3f}, {north:+.3f}, {up:+.3f}) m east, north, up",
        "opposite": f"({-east:+.3f}, {-north:+.3f}, {-up:+.3f}) m east, north, up (its points by the opposite)",
    }
    if reading.hypothesis.where is not None:
        since, until = reading.hypothesis.where
        times = settled.occupations.time
        words |= {"since": clock(int(times[since])), "until": clock(int(times[until]))}
    text = reading.hypothesis.text
    return text.format(**words) if "{" in text else text


def _sentence(prepared: Prepared, settled: Settled, diagnosis: Diagnosis) -> str:
    """Return what stands in `cause`: the best readings with what they leave, and what would decide between them."""
    if not diagnosis.readings:
        return f"none of {diagnosis.tried} causes tried explains it; occupy the mark again, and another one"
    best = diagnosis.readings[0]
    told = []
    for reading in diagnosis.readings[:_NAMED]:
        doubt = "perhaps by chance: " if reading.chance else ""
        horizontal, vertical = _left(reading, diagnosis)
        left = f"leaves {horizontal:.3f} m horizontally, {vertical:.3f} m in height"
        told.append(f"{doubt}{_words(prepared, settled, reading)} ({left})")
    close = [r for r in diagnosis.readings[1:] if r.score - best.score < _CLOSE]
    decide = dict.fromkeys(r.hypothesis.decide for r in [best, *close] if r.hypothesis.decide)
    if close and decide:
        told.append("to decide: " + "; ".join(list(decide)[:2]))
    return (
        f"{'; or '.join(told[:_NAMED])}"
        + ("" if len(told) <= _NAMED else f"; {told[-1]}")
        + (f" [{diagnosis.tried} causes tried]")
    )


def _left(reading: Reading, diagnosis: Diagnosis) -> tuple[float, float]:
    """Return the most that a reading leaves, horizontally and in height, at its failing occupations."""
    left = reading.left[list(diagnosis.places)]
    return float(np.hypot(left[:, 0], left[:, 1]).max(initial=0.0)), float(np.abs(left[:, 2]).max(initial=0.0))


def recorded(prepared: Prepared, settled: Settled, diagnoses: Diagnoses) -> list[dict[str, Any]]:
    """Return the diagnoses as the issue record has them, every reading that fits with its numbers."""
    names = settled.occupations.table.column("name").to_pylist()
    return [
        {
            "session": prepared.windows[diagnosis.session].session.name,
            "points": [names[row] for row in diagnosis.rows],
            "tried": diagnosis.tried,
            "split": diagnosis.split,
            "readings": _readings(prepared, settled, diagnosis),
        }
        for diagnosis in diagnoses.diagnoses
    ]


def _readings(prepared: Prepared, settled: Settled, diagnosis: Diagnosis) -> list[dict[str, Any]]:
    found = []
    for reading in diagnosis.readings:
        horizontal, vertical = _left(reading, diagnosis)
        found.append(
            {
                "kind": str(reading.hypothesis.kind),
                "text": _words(prepared, settled, reading),
                "largest": {
                    axis: float(reading.predicted[np.argmax(np.abs(reading.predicted[:-1, column])), column])
                    for column, axis in enumerate(("d_east", "d_north", "d_height"))
                },
                "misfit_horizontal": horizontal,
                "misfit_vertical": vertical,
                "chi_square": reading.chi_square,
                "score": reading.score,
                "chance": reading.chance,
                "decide": reading.hypothesis.decide,
            }
        )
    return found
