"""Finds sessions that failed before and pass only because the frame changed; they are exempt from the frame doubt."""

from collections.abc import Iterator

import numpy as np

from pipeline.intake.survey import Survey
from pipeline.issue.made_from import PART
from pipeline.issue.record_types import Record, RegisterMark
from pipeline.issue.session_types import SetUpStated
from pipeline.job.model import Setup
from pipeline.reissue.fingerprint import Fingerprint
from pipeline.reissue.frames.moves import Moves, same_marks
from pipeline.reissue.linked_sessions import joined
from pipeline.solve.solve import Adjusted
from pipeline.words import Doubt, Role

#: Doubts that another frame may settle.
_OF_FRAMES = {Doubt.REGISTER_HEIGHTS, Doubt.EXPORT_HEIGHTS, Doubt.DATUM, Doubt.SHIFT, Doubt.TRANSFORMATION}
#: Parts of the job file that weigh what a session is tied by, and those that bound what is doubted.
_WEIGHTS, _BOUNDS = ("[quality]", "[shift]"), ("limits of [shift]",)
#: Metres: a tolerance is recorded to less.
_ALIKE = 1e-6


def cured_sessions(base: Record, survey: Survey, adjusted: Adjusted, now: Fingerprint, found: Moves) -> frozenset[int]:
    """Return the indices of sessions that had failed or were in doubt, and that nothing but a frame put right.

    A fault that goes because a reading or a mark was corrected, a tie is another, a tolerance is wider or the doubt is
    confirmed says nothing of the frame that was changed along with it.

    Arguments as of `effect.frame_effect`.
    """
    if not _unchanged(base, now, _WEIGHTS):
        return frozenset()
    tied_as_before = _tied_as_before(base, survey, adjusted, now, found)
    settled = _settled(base, survey, adjusted, found) if _unchanged(base, now, _BOUNDS) else set[int]()
    return frozenset(tied_as_before & (settled | (_passing(base, adjusted, now, found) - _tied_anew(adjusted, found))))


def tied_alike(base: Record, survey: Survey, adjusted: Adjusted, now: Fingerprint, found: Moves) -> frozenset[int]:
    """Return the indices of sessions whose shift is another only for the frame: ties, numbers and weights are the same.

    Arguments as of `effect.frame_effect`.
    """
    if not _unchanged(base, now, _WEIGHTS):
        return frozenset()
    then = {row["mark"]: _weight(row) for row in base["register"]}
    on_marks, weight = adjusted.occupations, {row["mark"]: _weight(row) for row in now.register}
    ties = np.flatnonzero(on_marks.ties).tolist()
    anew = [row for row in ties if then.get(on_marks.marks[row]) != weight.get(on_marks.marks[row])]
    reweighed = set(on_marks.session[anew].tolist())
    return frozenset(_tied_as_before(base, survey, adjusted, now, found) - _tied_anew(adjusted, found) - reweighed)


def _weight(row: RegisterMark) -> tuple[str, str]:
    return row["sigma horizontal"], row["sigma vertical"]


def _unchanged(base: Record, now: Fingerprint, parts: tuple[str, ...]) -> bool:
    return all(base["identity"].get(f"{PART}{part}") == now.sums.get(f"{PART}{part}") for part in parts)


def _tied_as_before(base: Record, survey: Survey, adjusted: Adjusted, now: Fingerprint, found: Moves) -> set[int]:
    """Return the sessions of which all ties of before are there, read with the same numbers, on marks of the same ones.

    What peg joins a session to others ties it too.
    """
    again, on_marks, same = found.again, adjusted.occupations, same_marks(base, now)
    of_register = {row["mark"] for row in (*base["register"], *now.register)}
    kept = {
        (one["point"], one["observed"], one["mark"])
        for one, row, as_before in zip(again.before, again.rows.tolist(), again.same.tolist(), strict=True)
        if as_before and on_marks.roles[row] is Role.TIE and (one["mark"] in same or one["mark"] not in of_register)
    }
    ties = [one for one in base["checks"] if one["role"] == Role.TIE]
    broken = {one["session"] for one in ties if (one["point"], one["observed"], one["mark"]) not in kept}
    now_stood = {found.called.get(window.index): window.session.setup for window in survey.windows}
    for row in base["sessions"]:
        stated = row["setup"]
        if not _stands(stated, now_stood.get(row["session"])) or (stated is not None and stated["mark"] not in same):
            broken.add(row["session"])
    pegs = {(one["session"], one["mark"]) for one in ties if one["mark"] not in of_register}
    for group in joined(pegs):
        if group & broken:
            broken |= group
    return {number for number, name in found.called.items() if name not in broken}


def _stands(stated: SetUpStated | None, setup: Setup | None) -> bool:
    """Tell whether a base stands over a mark as it did."""
    if stated is None or setup is None:
        return stated is None and setup is None
    was = (stated["longitude"], stated["latitude"], stated["ellipsoid_height"], stated["antenna_height"])
    is_ = (setup.longitude, setup.latitude, setup.ellipsoid_height, setup.antenna_height)
    return stated["mark"] == setup.mark and was == is_


def _tied_anew(adjusted: Adjusted, found: Moves) -> set[int]:
    """Return the sessions with a tie that they had not, which may be why a check passes."""
    on_marks = adjusted.occupations
    had = {
        row
        for one, row in zip(found.again.before, found.again.rows.tolist(), strict=True)
        if one["role"] == Role.TIE
    }  # fmt: skip
    return {int(on_marks.session[row]) for row in np.flatnonzero(on_marks.ties).tolist() if row not in had}


def _passing(base: Record, adjusted: Adjusted, now: Fingerprint, found: Moves) -> set[int]:
    """Return the sessions in which an occupation failed that passes now by the same numbers and tolerances."""
    again, on_marks, same = found.again, adjusted.occupations, same_marks(base, now)
    compared, passing = on_marks.compared, set()
    for one, row, as_before in zip(again.before, again.rows.tolist(), again.same.tolist(), strict=True):
        if one["passed"] is not False or not as_before or one["mark"] not in same:
            continue
        held = compared.holds[row]
        allowed = np.array([one["tolerance_h"], one["tolerance_v"]], float)[held]
        alike = np.allclose(compared.allowed[row, held], allowed, 0.0, _ALIKE)
        if compared.judged[row] and compared.passed[row] and alike:
            passing.add(int(on_marks.session[row]))
    return passing


def _settled(base: Record, survey: Survey, adjusted: Adjusted, found: Moves) -> set[int]:
    """Return the sessions of which a doubt is gone, and not by a word in the job file."""
    gone = set()
    for doubt in base["doubts"]:
        if doubt["kind"] not in _OF_FRAMES or doubt["confirmed"] or doubt["kind"] in survey.job.checks.confirmed:
            continue
        still = set(_doubted(adjusted, doubt["kind"], len(survey.windows)))
        gone |= {number for number, name in found.called.items() if name in doubt["sessions"]} - still
    return gone


def _doubted(adjusted: Adjusted, kind: str, sessions: int) -> Iterator[int]:
    for doubt in adjusted.doubts:
        if doubt.kind == kind:
            yield from range(sessions) if doubt.sessions is None else doubt.sessions
