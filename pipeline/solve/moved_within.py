"""Finds sessions whose base moved between two occupations by so little that every one of them passes.

Ties before and after share such a move, so that each occupation is off by half of it, with opposite signs, while points
are off by more than their uncertainty says. A factor of the uncertainties would hide it.

Pure noise looks like a step too where it is larger than stated. So the step is held against the scatter that it leaves,
not against what is stated alone. Marks whose coordinates are off differ by mark and not by time, so the step has to
show on marks that were occupied before and after it.
"""

import math
from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.clock import stamp
from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.solve.compare import OnMarks
from pipeline.solve.reading_precision import with_centring
from pipeline.words import Doubt

#: The chance of a step as large by what is stated, and by the scatter of all, in any gap of a session.
_STATED, _SCATTER = 1e-4, 5e-3
#: Occupations and differences beside it from which on a scatter says something; pairs of one mark, before and after.
_LEAST, _FREEDOM, _PAIRS = 4, 4, 2
#: What of chi-square a step explains more than a steady drift, where it is told from one. Ours, no source.
_CLEARLY = 2.0
#: The parts of a step that each mark occupied before and after it has to show.
_LIKE = (0.5, 1.5)
#: East and north, up.
_PARTS = (np.array([True, True, False]), np.array([False, False, True]))


class _Step(Struct, frozen=True):
    """A step (3,) metres after the occupation of this place in its session, and how much of chi-square it explains.

    ``drift`` tells that a steady drift explains nearly as much.
    """

    after: int
    size: Floats
    explained: float
    drift: bool


def moved_within_doubts(survey: Survey, on_marks: OnMarks) -> Iterator[Doubtful]:
    """Yield a doubt for every session whose occupations all pass and tell of a base that moved between two of them."""
    usable = on_marks.compared.judged & ~on_marks.temporary
    starts = np.searchsorted(on_marks.session, np.arange(len(survey.windows) + 1))
    for window in survey.windows:
        rows = np.arange(starts[window.index], starts[window.index + 1])
        rows = rows[usable[rows]]
        if len(rows) < _LEAST or not on_marks.compared.passed[rows].all():
            continue
        step = _step(survey, on_marks, rows)
        if step is None:
            continue
        east, north, up = (0.0 - step.size).tolist()
        moved = "moved or drifted" if step.drift else "moved"
        since, until = (stamp(int(on_marks.time[row])) for row in rows[step.after - 1 : step.after + 1])
        what = (
            f"session {window.session.name}: all occupations pass, but those after {since} are off from those of the"
            f" same marks before by one step: the base appears to have {moved} by"
            f" ({east:+.3f}, {north:+.3f}, {up:+.3f}) m east, north, up between {since} and {until} UTC (points after"
            " the move are out by the reverse), and ties before and after share it. If it did, split the session there,"
            " with ties on both sides"
        )
        yield Doubtful(Doubt.BASE, what, (window.index,))


def _step(survey: Survey, on_marks: OnMarks, rows: Integers) -> _Step | None:
    """Return the step that explains the differences of a session's occupations, by time, None where none does."""
    centring, limits = survey.job.quality.centring, survey.job.checks
    known = on_marks.compared.holds[rows][:, [0, 0, 1]]
    off = np.where(known, on_marks.compared.vectors[rows], 0.0)
    weight = known / with_centring(on_marks.precision.sigma[rows], centring) ** 2
    freedom = int(np.maximum(known.sum(axis=0) - 2, 0).sum())
    time = on_marks.time[rows]
    if freedom < _FREEDOM or time[0] == time[-1]:
        return None
    gaps = np.flatnonzero(time[1:] > time[:-1]) + 1
    marks = np.unique([on_marks.marks[row] for row in rows], return_inverse=True)[1]
    hours = np.repeat(((time - time[0]) / (time[-1] - time[0]))[:, None], 3, axis=1)
    steady, _, _ = _fitted(off, weight, hours)
    best: _Step | None = None
    for gap in gaps.tolist():
        later = np.repeat((np.arange(len(rows)) >= gap)[:, None], 3, axis=1).astype(float)
        explained, size, left = _fitted(off, weight, later)
        for part, limit in zip(_PARTS, (limits.horizontal, limits.vertical), strict=True):
            by, scatter = float(explained[part].sum()), float(left.sum())
            chances = math.exp(-by / 2.0), (scatter / (scatter + by)) ** (freedom / 2.0) if by > 0.0 else 1.0
            told = chances[0] < _STATED and chances[1] * len(gaps) * len(_PARTS) < _SCATTER
            told = told and float(np.hypot.reduce(size[part])) > limit and by > float(steady[part].sum())
            if told and (best is None or by > best.explained) and _on_marks(off[:, part], size[part], marks, gap):
                best = _Step(gap, size, by, by < float(steady[part].sum()) + _CLEARLY)
    return best


def _fitted(off: Floats, weight: Floats, shape: Floats) -> tuple[Floats, Floats, Floats]:
    """Fit a level and a size of (n, 3) ``shape`` to each column.

    Returns (3,) what of chi-square the shape explains beyond the level, its size, and what of chi-square is left.
    """
    total = np.maximum(weight.sum(axis=0), 1e-12)
    of, by = off - (weight * off).sum(axis=0) / total, shape - (weight * shape).sum(axis=0) / total
    information = (weight * by**2).sum(axis=0)
    size = (weight * by * of).sum(axis=0) / np.where(information > 0.0, information, np.inf)
    explained = size**2 * information
    return explained, size, np.maximum((weight * of**2).sum(axis=0) - explained, 0.0)


def _on_marks(off: Floats, size: Floats, marks: Integers, gap: int) -> bool:
    """Tell whether marks occupied before and after a gap each show the step; ``off`` (n, k), ``size`` (k,)."""
    later: Flags = np.arange(len(marks)) >= gap
    pairs = 0
    for mark in np.unique(marks).tolist():
        before, after = off[(marks == mark) & ~later], off[(marks == mark) & later]
        if not len(before) or not len(after):
            continue
        pairs += min(len(before), len(after))
        share = float((after.mean(axis=0) - before.mean(axis=0)) @ size) / float(size @ size)
        if not _LIKE[0] <= share <= _LIKE[1]:
            return False
    return pairs >= _PAIRS
