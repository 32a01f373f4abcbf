"""Raises doubts where frames differ from those of an earlier issue so that one of the two must be wrong.

A height datum, a geoid or a CRS that is another now moves all points alike, and ties take a wrong one of the register
up into the shift, so that every check agrees: only the previous issue shows it.
"""

from collections.abc import Mapping, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats
from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.intake.survey import Survey
from pipeline.issue.doubt_types import FrameChange, FrameDifference
from pipeline.issue.record_types import Record
from pipeline.reissue.fingerprint import Fingerprint
from pipeline.reissue.frames.cures import cured_sessions, tied_alike
from pipeline.reissue.frames.differences import worded
from pipeline.reissue.frames.effect import Effect, frame_effect
from pipeline.reissue.frames.frame_changes import control_matters, frame_changes
from pipeline.reissue.frames.moves import Moves, alike_moves, beyond, farthest, heights_told, jumps_told, moves
from pipeline.solve.solve import Adjusted
from pipeline.words import Doubt

_UNSETTLED = "neither the readings nor the register's numbers show which of the two is right"
#: How a doubt goes on: of the register's frame, and of files and operations.
_BY_CONTROL = ", because ties absorb a wrong CRS or height datum completely and checks still agree"
_BY_FILES = "; check which file or operation belongs to the job"


def frame_doubts(base: Record, survey: Survey, adjusted: Adjusted, now: Fingerprint) -> tuple[Doubtful, ...]:
    """Return doubts where frames differ so that this issue or an earlier one must be wrong.

    Other keys of ``[target]`` alone give the same places other coordinates, and raise none. Of ``[control]`` they take
    the register's numbers for something else, and ties take that up in the shift; a grid file or an operation that is
    another without any key moves what is said to be the same. A session in which the earlier issue had failed or was
    in doubt, and which the frame alone put right, is left out: there this issue is the cure.

    Args:
        base: the record of the newest issue that is not in such a doubt itself.
        survey: the job.
        adjusted: the same, with its shifts, not judged yet.
        now: what it is made from.
    """
    changes = frame_changes(base, survey, now.sums)
    control = changes.control if control_matters(base, survey) else ()
    if not control and (changes.target or changes.field or not changes.files):
        return ()
    found = moves(base, survey, adjusted, now)
    cured = cured_sessions(base, survey, adjusted, now, found)
    effect = frame_effect(base, survey, adjusted, now, found)
    moved, as_before = found.of(adjusted, cured)
    seen = _Seen(base, survey, cured, effect, moved, as_before)
    if control:
        jumps = _jumps(survey, found, effect, tied_alike(base, survey, adjusted, now, found), cured)
        # where field positions are read otherwise too, a shift says nothing by itself
        case = _by_shifts(seen, jumps) if jumps and not changes.field else _by_control(seen, bool(changes.field))
    else:
        case = _by_files(seen)
    if not case.beyond.any():
        return ()
    kind = Doubt.REGISTER_HEIGHTS if case.beyond[1] and not case.beyond[0] else Doubt.DATUM
    origin = FrameChange(
        of="frame", since=base["issue"], moved=case.what, differences=list(control or changes.files)
    )  # fmt: skip
    others = tuple(window.index for window in survey.windows if window.index not in cured) if cured else None
    return confirmed_by(survey.job, [frame_doubt(kind, origin, others, survey)])


def frame_doubt(
    kind: Doubt, origin: FrameChange, sessions: tuple[int, ...] | None, survey: Survey, *, lost: bool = False
) -> Doubtful:
    """Return a doubt of what frames did, worded from its data; ``lost``: the earlier issue is gone or damaged."""
    by_control = [one for one in origin["differences"] if one["of"] == "control"]
    cure = _BY_CONTROL if by_control else _BY_FILES
    if lost:
        cure += f"; issue {origin['since']:03d} is gone or damaged, so nothing can be compared with it any more"
    why = "; ".join(map(worded, origin["differences"]))
    what = f"{origin['moved']}: {why}; {_UNSETTLED}{cure}"
    return Doubtful(kind, what, sessions, *_place(origin["differences"], survey), origin=origin)


def _place(differences: Sequence[FrameDifference], survey: Survey) -> tuple[str, int]:
    """Return where the key stands that may be wrong, as an issue has it wherever the job lies."""
    keys = [one["key"] for one in differences if one["of"] == "control"]
    key = ("control", "height" if "height" in keys else "crs") if keys else ("target", "geoid")
    return survey.prepared.loaded.recorded_at(*key)


class _Seen(Struct, frozen=True):
    """What moved since an issue, outside the sessions that the frame alone put right.

    Args:
        base: the record of that issue.
        survey: the job.
        cured: those sessions.
        effect: what frames do by themselves.
        moved: (n, 3) by how much occupations that both issues have moved, metres east, north, up.
        as_before: whether all of these were read as before.
    """

    base: Record
    survey: Survey
    cured: frozenset[int]
    effect: Effect
    moved: Floats
    as_before: bool

    def outside(self, by_session: Mapping[int, Floats]) -> Floats:
        """Return (k, 3) what there is for sessions that the frame did not put right."""
        return np.array([by for number, by in by_session.items() if number not in self.cured]).reshape(-1, 3)


class _Case(Struct, frozen=True):
    """(2,) whether a move is beyond the tolerance in position, in height; and in words what moved."""

    beyond: Flags
    what: str


def _by_shifts(seen: _Seen, jumps: Mapping[str, Floats]) -> _Case:
    """Return how shifts differ that the same ties on the same numbers of the register give."""
    jumped = beyond(jumps, seen.survey)
    return _Case(jumped, f"{jumps_told(jumps, jumped)} than in issue {seen.base['issue']:03d}")


def _by_control(seen: _Seen, read_otherwise: bool) -> _Case:
    """Return how points moved where no shift tells; ``read_otherwise``: field positions are."""
    jumped = _beyond(seen.moved, seen.base, seen.survey)
    if seen.effect.issued:
        # where no number of the register is as it was, points move for that too: only with the frame is it in doubt
        taken_up = seen.outside(seen.effect.shift)
        own = seen.outside(seen.effect.issued) if read_otherwise or not len(taken_up) else taken_up
        jumped &= beyond({str(row): by for row, by in enumerate(own)}, seen.survey)
    return _Case(jumped, _told(seen, seen.moved, seen.as_before, jumped, ""))


def _by_files(seen: _Seen) -> _Case:
    """Return how points moved by grid files or operations that are others without a key."""
    by_frame = seen.outside(seen.effect.issued)
    moved, as_before = (by_frame, True) if len(by_frame) else (seen.moved, seen.as_before)
    alone = "" if alike_moves(moved, seen.moved) else " from this alone,"
    jumped = _beyond(moved, seen.base, seen.survey)
    return _Case(
        jumped, _told(seen, moved, as_before, jumped, f"{alone} although grid and height datum are the same by name")
    )


def _told(seen: _Seen, moved: Floats, as_before: bool, jumped: Flags, in_what: str) -> str:
    """Return in words by how much (n, 3) moves moved points since an issue."""
    parts = [heights_told(moved[:, 2], as_before)] if jumped[1] else []
    parts += [f"positions moved by up to {farthest(moved):.3f} m"] if jumped[0] else []
    return f"since issue {seen.base['issue']:03d} {' and '.join(parts)}{in_what}"


def _jumps(
    survey: Survey, found: Moves, effect: Effect, alike: frozenset[int], left_out: frozenset[int]
) -> dict[str, Floats]:
    """Return by how much the same ties on the same numbers give another shift, by name of a session.

    Where ties, numbers or weights are others too, that is what the frame does to the register's numbers of before.
    """
    jumps = {}
    for window in survey.windows:
        number = window.index
        if number in left_out:
            continue
        if number in found.jumps and (number in alike or number not in effect.shift):
            jumps[window.session.name] = found.jumps[number]
        elif number in effect.same and number in effect.shift:
            jumps[window.session.name] = effect.shift[number]
    return jumps


def _beyond(moved: Floats, base: Record, survey: Survey) -> Flags:
    """Return (2,) whether (n, 3) moves are beyond the tolerance in position, in height, of what is called the same."""
    checks, issued = survey.job.checks, np.zeros(2, bool)
    if len(moved) and base["target"]["grid"] == survey.target["grid"]:
        issued[0] = farthest(moved) > checks.horizontal
    if len(moved) and base["target"]["height"] == survey.target["height"]:
        issued[1] = bool((np.abs(moved[:, 2]) > checks.vertical).any())
    return issued
