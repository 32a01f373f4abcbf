"""Writes notes on how changed frames moved the points."""

import numpy as np

from pipeline.arrays import Floats
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.reissue.fingerprint import Fingerprint
from pipeline.reissue.frames.cures import tied_alike
from pipeline.reissue.frames.effect import frame_effect
from pipeline.reissue.frames.frame_changes import FrameChanges, control_matters, frame_changes
from pipeline.reissue.frames.moves import (
    MOVED,
    alike_moves,
    beyond,
    farthest,
    heights_told,
    jumps_told,
    moves,
    same_marks,
)
from pipeline.solve.solve import Adjusted


def frame_notes(last: Record, survey: Survey, adjusted: Adjusted, now: Fingerprint) -> list[str]:
    """Return what frames that differ from an earlier issue's did to the points, in words; nothing where none differs.

    Where points moved for another cause too, what frames do by themselves is told apart from that.

    Args:
        last: the record of the issue that changes are told since.
        survey: the job.
        adjusted: the same, with its shifts, not judged yet.
        now: what it is made from.
    """
    changes = frame_changes(last, survey, now.sums)
    if not changes.all():
        return []
    found = moves(last, survey, adjusted, now)
    moved, as_before = found.of(adjusted, frozenset())
    effect = frame_effect(last, survey, adjusted, now, found)
    by_frame = np.array(list(effect.issued.values())).reshape(-1, 3)
    since, why = f"since issue {last['issue']:03d}", "; ".join(changes.all())
    same_grid = last["target"]["grid"] == survey.target["grid"]
    if len(moved) and len(by_frame) and not _renumbered(last, survey, now, changes):
        # on another grid coordinates are others from place to place, and only heights can be held together
        axes = slice(0 if same_grid else 2, 3)
        if not alike_moves(by_frame[:, axes], moved[:, axes]):
            alone, together = _by_itself(by_frame, same_grid), _told(moved, as_before, same_grid)
            return [f"{since} {why}, which by itself moves {alone}; with everything that changed, {together}"]
    parts = [_told(moved, as_before, same_grid)] if len(moved) else []
    alike = tied_alike(last, survey, adjusted, now, found)
    jumps = {
        name: jump
        for name, jump in found.jumped(survey, adjusted, frozenset()).items()
        if any(survey.windows[number].session.name == name for number in alike)
    }
    jumped = beyond(jumps, survey)
    if jumped.any():
        parts.append(jumps_told(jumps, jumped))
    return [f"{since} {'; '.join(parts)}: {why}"] if parts else []


def _told(moved: Floats, as_before: bool, same_grid: bool) -> str:
    """Return (n, 3) moves in words, metres."""
    parts = [heights_told(moved[:, 2], as_before)]
    if same_grid and (far := farthest(moved)) > MOVED:
        parts.append(f"positions moved by up to {far:.3f} m")
    return "; ".join(parts)


def _by_itself(moved: Floats, same_grid: bool) -> str:
    """Return in words what (n, 3) moves, metres, are moves of."""
    up, far = float(moved[:, 2].mean()), farthest(moved) if same_grid else 0.0
    heights = f"heights by about {up:+.3f} m" if np.abs(moved[:, 2]).max() > MOVED else "no height"
    return f"{heights} and positions by up to {far:.3f} m" if far > MOVED else heights


def _renumbered(last: Record, survey: Survey, now: Fingerprint, changes: FrameChanges) -> bool:
    """Tell whether the register came in another frame with other numbers: neither is anything without the other."""
    marks = {row["mark"] for row in now.register} & {row["mark"] for row in last["register"]}
    return bool(changes.control) and control_matters(last, survey) and bool(marks - same_marks(last, now))
