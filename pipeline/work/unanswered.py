"""Readings that say they are checks, or are named after a mark, and that no mark answers: never points in silence."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from pipeline.correct import Corrected
from pipeline.doubts import Doubtful
from pipeline.job.model import Job
from pipeline.occupations import Wanted
from pipeline.words import Doubt
from pipeline.work.candidates import Candidates
from pipeline.work.judge import nearest
from pipeline.work.prepare import Prepared
from pipeline.work.reference import Reference

Floats = NDArray[np.float64]

#: Metres. A reading of another code is told of by its name alone within this of the mark; witness marks and fences are
#: named after marks too. Common practice, no source.
_BESIDE = 5.0
#: Readings that a sentence lists.
_LISTED = 4


@dataclass(frozen=True)
class Unanswered:
    """A reading, ``row`` of the candidates, ``number`` of the whole job, of a session; ``why`` it is told of, in words.

    ``held`` is whether it says that it stands on a mark which is not there, else it is a point on a mark.
    """

    row: int
    number: int
    session: int
    why: str
    held: bool


def unanswered(
    candidates: Candidates, corrected: Corrected, marks: Sequence[str | None], job: Job, reference: Reference
) -> tuple[Unanswered, ...]:
    """Return the candidates on no mark, by ``marks``, whose code, ``mark`` column or name says that they are on one."""
    wanted = Wanted.of([], job.checks.codes, reference.names)
    coded = wanted.has_code(candidates.table.column("code")).to_pylist()
    codes, columns = (candidates.table.column(name).to_pylist() for name in ("code", "mark"))
    numbers = candidates.table.column("number").to_pylist()
    at = np.column_stack([corrected.easting, corrected.northing, corrected.height])
    found = []
    for row in np.flatnonzero(np.isfinite(at).all(axis=1)).tolist():
        if marks[row] is not None:
            continue
        column = (columns[row] or "").strip()
        says = f"its code {codes[row]} says" if coded[row] else f"its mark {column!r} says" if _word(column) else ""
        if says:
            why, held = f"{says} that it is a check, but {_nowhere(reference, at[row], job.checks.radius)}", True
        else:
            beside = _beside(wanted, candidates.names[row], reference, at[row], job.checks.radius)
            if beside is None:
                continue
            why, held = beside
        found.append(Unanswered(row, numbers[row], int(candidates.session[row]), why, held))
    return tuple(found)


def _word(column: str) -> bool:
    return any(character.isalnum() for character in column)


def _nowhere(reference: Reference, at: Floats, radius: float) -> str:
    name, distance = nearest(reference.names, reference.grid[:, :2], at[:2], np.inf)
    if name is None:
        return "the register has no mark with a position"
    return f"no mark lies within {radius:g} m: the nearest is {name}, {_away(reference, name, distance, at)}"


def _away(reference: Reference, name: str, distance: float, at: Floats) -> str:
    if distance > 1000.0:
        return f"{distance:,.0f} m away"
    east, north, up = at - reference.grid[reference.names.index(name)]
    height = f", height {up:+.3f}" if np.isfinite(up) else ""
    return f"{distance:.2f} m away (east {east:+.3f}, north {north:+.3f}{height})"


def _beside(
    wanted: Wanted, name: str | None, reference: Reference, at: Floats, radius: float
) -> tuple[str, bool] | None:
    """Say of a point that is named after a mark how it lies to that; None where it is not near it at all."""
    mark = wanted.marks.like(name)
    if mark is None:
        return None
    place = reference.grid[[reference.names.index(mark)], :2]
    near, distance = nearest([mark], place, at[:2], _BESIDE)
    if near is None:
        return None
    away = _away(reference, mark, distance, at)
    if distance > radius:
        return f"its name says that it stands on the mark {mark}, but that is {away}", True
    return f"named after the mark {mark} and on it, {away}, but neither a tie nor a check of its session", False


def unanswered_doubts(prepared: Prepared, candidates: Candidates, found: Sequence[Unanswered]) -> list[Doubtful]:
    """Return a doubt per session that has readings which say that they are checks and compare with nothing."""
    doubts = []
    for window in prepared.windows:
        here = [one for one in found if one.held and one.session == window.index]
        if not here:
            continue
        listed = "; ".join(f"{_where(prepared, candidates, one.row)}: {one.why}" for one in here[:_LISTED])
        more = f"; and {len(here) - _LISTED} more" if len(here) > _LISTED else ""
        what = (
            f"session {window.session.name}: {len(here)} reading{'s' if len(here) > 1 else ''} meant for a mark"
            f" {'are' if len(here) > 1 else 'is'} compared with none, so nothing says whether the base stood still:"
            f" {listed}{more}; name the mark in checks = [{{ point, mark }}] of the session"
        )
        doubts.append(Doubtful(Doubt.UNANSWERED_CHECK, what, (window.index,)))
    return doubts


def on_marks_unsaid(prepared: Prepared, candidates: Candidates, found: Sequence[Unanswered]) -> list[str]:
    """Return a sentence for each point that lies on the mark it is named after and is no occupation of it."""
    return [f"{_where(prepared, candidates, one.row)}: {one.why}" for one in found if not one.held]


def _where(prepared: Prepared, candidates: Candidates, row: int) -> str:
    export = prepared.exports[candidates.table.column("export")[row].as_py()]
    return f"{candidates.names[row] or 'a reading'} ({export.shown}:{candidates.table.column('source_row')[row]})"


def held_back(found: Sequence[Unanswered], doubts: Sequence[Doubtful]) -> Mapping[int, str]:
    """Return, by number of the whole job, why a reading is held back; none where the job file confirms the doubt."""
    if any(doubt.kind is Doubt.UNANSWERED_CHECK and doubt.confirmed for doubt in doubts):
        return {}
    return {one.number: one.why for one in found if one.held}
