"""Finds occupations that pass by a stated tolerance alone: beyond the usual one, and far beyond their own uncertainty.

A decimal point that slipped in a tolerance lets a tie that is decimetres off pass. Crews who work to a decimetre state
as much of their readings, or have scatter: their checks do not all differ by one vector.
"""

import math
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
from msgspec import Struct

from pipeline.adjust.components import chance_of_ratio
from pipeline.arrays import Flags, Floats, Integers
from pipeline.examine.doubtful import Doubtful
from pipeline.geodesy.uncertainty import CIRCLE_95, NORMAL_95
from pipeline.intake.survey import Survey
from pipeline.job.model import Checks
from pipeline.near import and_more
from pipeline.solve.compare import OnMarks
from pipeline.solve.difference_95 import ByShifts, differences_95
from pipeline.solve.reading_precision import with_centring
from pipeline.tolerance import Tolerance, plan_and_height, tolerance_text
from pipeline.words import Doubt, Role, counted, plural

#: What a difference is of its own 95 % where only a tolerance passes it, and of the usual tolerances where one vector
#: of all checks is in doubt: whoever states a decimetre accepts it. Ours, no source.
_TIMES, _FAR = 3.0, 3.0
#: The chance of a vector as large by the scatter of checks about it. Ours, no source.
_CHANCE = 0.005
#: The tolerances that hold where none is stated; the keys of both.
USUAL = Tolerance(Checks().horizontal, Checks().vertical)
_KEYS = ("horizontal", "vertical")
#: Names that a sentence lists.
_NAMED = 3
#: A scale of what receivers state, and a centring [m], beyond which none is of this trade. Ours, no source.
_SCALED, _CENTRED = 5.0, 0.03
#: Checks of a session that say by one vector that readings are no more uncertain than they state. Ours, no source.
_ENOUGH = 3
#: The 95 % of a standard uncertainty, in plan and in height.
_TO_95 = np.array([CIRCLE_95, NORMAL_95])
_CURE = "Find out what is off, or state the sigmas of readings and marks as they are"
#: Axes of a position, of a height.
_AXES = (slice(0, 2), slice(2, 3))


class _Wide(Struct, frozen=True):
    """What only a stated tolerance passes: (n, 2) in plan, in height, with (n, 2) ``off`` and (n, 2) its own 95 %."""

    passes: Flags
    off: Floats
    own: Floats


def wide_tolerance_doubts(survey: Survey, adjusted: ByShifts) -> list[Doubtful]:
    """Return a doubt for every session whose checks all pass by a wide tolerance alone, and all by one vector."""
    wide = _wide(survey, adjusted)
    if wide is None:
        return []
    on_marks, found = adjusted.occupations, []
    check = np.array([role is Role.CHECK for role in on_marks.roles], bool)
    check &= on_marks.compared.judged & ~on_marks.temporary & ~on_marks.copied
    for window in survey.windows:
        here = np.flatnonzero(check & (on_marks.session == window.index))
        for part, key in enumerate(_KEYS):
            rows = here[on_marks.compared.holds[here, part]]
            if len(rows) < 2 or not wide.passes[rows, part].all():
                continue
            vector = _one_vector(survey, on_marks, rows, part)
            if vector is None:
                continue
            said = (
                f"({vector[0]:+.3f}, {vector[1]:+.3f}) m east, north" if part == 0 else f"{vector[0]:+.3f} m in height"
            )
            file, line = survey.where("checks", key)
            what = (
                f"checks.{key} = {getattr(survey.job.checks, key):g} alone passes the checks of session"
                f" {window.session.name}: all {len(rows)} differ from their marks by one vector, {said}, and the 95 %"
                f" of these differences is {wide.own[rows, part].max():.3f} m at the most. The usual tolerance is"
                f" {tolerance_text(_limit(part))} m: a tie or its mark seems to be off, and all points with it"
            )
            found.append(Doubtful(Doubt.TOLERANCE, what, (window.index,), Path(file).name, line))
    return found


def wide_tolerance_notes(survey: Survey, adjusted: ByShifts, doubts: Sequence[Doubtful]) -> Iterator[str]:
    """Yield in words which occupations pass by a wide tolerance alone, but for sessions that have a doubt of it."""
    wide = _wide(survey, adjusted)
    if wide is None:
        return
    told = {one for doubt in doubts if doubt.kind is Doubt.TOLERANCE for one in doubt.sessions or ()}
    untold = ~np.isin(adjusted.occupations.session, list(told))
    for part, key in enumerate(_KEYS):
        rows = np.flatnonzero(wide.passes[:, part] & untold)
        if not len(rows):
            continue
        file, line = survey.where("checks", key)
        yield (
            f"{Path(file).name}:{line}: checks.{key} = {getattr(survey.job.checks, key):g} alone passes"
            f" {counted(len(rows), 'occupation')} ({_named(adjusted.occupations, rows)}), off by up to"
            f" {wide.off[rows, part].max():.3f} m: beyond the usual tolerance of {tolerance_text(_limit(part))} m and 3"
            f" times the 95 % of the difference, which is {wide.own[rows, part].max():.3f} m at the most. {_CURE}"
        )


def exaggerated_notes(survey: Survey, adjusted: ByShifts) -> Iterator[str]:
    """Yield which occupations pass by a wide tolerance that only a scale or centring of `[quality]` makes look right.

    Of a crew that states a decimetre of its readings or marks nothing is told: what they say of themselves counts.
    """
    on_marks, quality = adjusted.occupations, survey.job.quality
    found = _beyond_usual(survey, on_marks)
    if found is None:
        return
    scale = _scales(survey, on_marks)
    said = [f"scale = {one:g}" for one in np.unique(scale[scale > _SCALED]).tolist()[-1:]]
    said += [f"centring = {quality.centring:g}"] if quality.centring > _CENTRED else []
    if not said:
        return
    beyond, off = found
    own = np.nan_to_num(np.column_stack(differences_95(survey, adjusted)), nan=math.inf)
    bare = _bare(survey, on_marks, scale, own)
    beyond &= (off <= _TIMES * own) & (off > _TIMES * bare)
    for part, key in enumerate(_KEYS):
        rows = _not_scattered(on_marks, np.flatnonzero(beyond[:, part]), part, _TIMES * bare[:, part])
        if len(rows):
            file, line = survey.where("quality", "centring" if quality.centring > _CENTRED else "scale")
            yield (
                f"{Path(file).name}:{line}: {counted(len(rows), 'occupation')} ({_named(on_marks, rows)})"
                f" {plural(len(rows), 'passes', 'pass')} by checks.{key} ="
                f" {getattr(survey.job.checks, key):g}, off by up to {off[rows, part].max():.3f} m, and only"
                f" {' and '.join(said)} in [quality] makes that likely: without it the 95 % of the difference is"
                f" {bare[rows, part].max():.3f} m at the most, with it {own[rows, part].max():.3f} m. {_CURE}"
            )


def _named(on_marks: OnMarks, rows: Integers) -> str:
    """Return in words the names of occupations (k,), of many the first."""
    names = on_marks.table.column("name").take(rows[:_NAMED].tolist()).to_pylist()
    return ", ".join(names) + and_more(len(rows) - _NAMED)


def _not_scattered(on_marks: OnMarks, rows: Integers, part: int, within: Floats) -> Integers:
    """Return those of (k,) checks that are all of their session and all lie off alike, ``within`` (n,) metres, and far.

    Where they scatter by more, or are few, readings may be as uncertain as the job says.
    """
    kept = [np.zeros(0, np.int64)]
    vectors = on_marks.compared.vectors[:, _AXES[part]]
    check = np.array([role is Role.CHECK for role in on_marks.roles], bool) & on_marks.compared.holds[:, part]
    for session in np.unique(on_marks.session[rows]).tolist():
        here = rows[on_marks.session[rows] == session]
        middle = vectors[here].mean(axis=0)
        every = len(here) >= _ENOUGH and np.array_equal(here, np.flatnonzero(check & (on_marks.session == session)))
        alike = (np.hypot.reduce(vectors[here] - middle, axis=1) <= within[here]).all()
        if every and alike and np.hypot.reduce(middle) > _FAR * _limit(part):
            kept.append(here)
    return np.concatenate(kept)


def _scales(survey: Survey, on_marks: OnMarks) -> Floats:
    """Return (n, 2) by what the job multiplies the standard uncertainties of occupations, in plan and in height."""
    export = on_marks.table.column("export").to_pylist()
    of = {at: survey.job.quality.scales(survey.exports[at].points) for at in set(export)}
    return np.array([of[at] for at in export], np.float64).reshape(-1, 2)


def _bare(survey: Survey, on_marks: OnMarks, scale: Floats, own: Floats) -> Floats:
    """Return (n, 2) the 95 % of differences without scale and centring, of readings and of the ties of their session.

    The marks' part stays. It is no less than that of two readings as they are stated.
    """
    variance = np.square(on_marks.precision.sigma)
    stated = np.column_stack([variance[:, :2].mean(axis=1), variance[:, 2]]) / np.square(scale)
    tie = np.array([role is Role.TIE for role in on_marks.roles], bool)
    ties = np.bincount(on_marks.session[tie], minlength=len(survey.windows))[on_marks.session]
    added = stated * (np.square(scale) - 1.0) + survey.job.quality.centring**2 * np.array([1.0, 0.0])
    less = np.square(_TO_95) * added * (1.0 + 1.0 / np.maximum(ties, 1))[:, None]
    least = np.square(_TO_95) * 2.0 * stated
    return np.asarray(np.sqrt(np.maximum(np.square(own) - less, least)))


def _wide(survey: Survey, adjusted: ByShifts) -> _Wide | None:
    """Return what only a stated tolerance passes, None where there is nothing of the kind."""
    found = _beyond_usual(survey, adjusted.occupations)
    if found is None:
        return None
    beyond, off = found
    own = np.column_stack(differences_95(survey, adjusted))
    beyond &= off > _TIMES * np.nan_to_num(own, nan=math.inf)
    return _Wide(beyond, off, own) if beyond.any() else None


def _beyond_usual(survey: Survey, on_marks: OnMarks) -> tuple[Flags, Floats] | None:
    """Return (n, 2) what passes beyond the usual tolerance, in plan and in height, and (n, 2) how far it is off.

    None where no tolerance is wider, or nothing is beyond.
    """
    stated, compared = survey.job.checks, on_marks.compared
    wider = np.array([stated.horizontal, stated.vertical]) > [USUAL.horizontal, USUAL.vertical]
    if not wider.any():
        return None
    off = np.abs(plan_and_height(np.nan_to_num(compared.vectors)))
    beyond = wider & (off > USUAL.allowed()) & compared.holds & compared.passed[:, None] & ~on_marks.temporary[:, None]
    return (beyond, off) if beyond.any() else None


def _one_vector(survey: Survey, on_marks: OnMarks, rows: Integers, part: int) -> Floats | None:
    """Return the vector, (2,) of the position or (1,) of the height, by which all of (k,) checks differ.

    None where their scatter, or what is stated of them, allows it, or it is not that far: the tie adds to both.
    """
    axes, count = _AXES[part], len(rows)
    off = on_marks.compared.vectors[rows][:, axes]
    stated = with_centring(on_marks.precision.sigma[rows], survey.job.quality.centring)[:, axes]
    vector = off.mean(axis=0)
    if np.hypot.reduce(vector) <= _FAR * _limit(part):
        return None
    size = off.shape[1]
    freedom = size * (count - 1)
    variance = max(float(((off - vector) ** 2).sum()) / freedom, float((stated**2).mean()))
    ratio = float((vector**2).sum()) / size / (variance * (1.0 + 1.0 / count))
    return vector if chance_of_ratio(ratio, freedom, size) < _CHANCE else None


def _limit(part: int) -> float:
    return USUAL.horizontal if part == 0 else USUAL.vertical
