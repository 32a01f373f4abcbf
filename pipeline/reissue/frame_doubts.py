"""Doubts that frames bring which differ from an earlier issue's, so that one of the two issues must be wrong.

A height datum, a geoid or a CRS that is another now moves all points alike, and ties take a wrong one of the register
up into the shift, so that every check agrees: only the issue before shows it.
"""

import numpy as np

from pipeline.examine.doubtful import Doubtful
from pipeline.examine.doubts import confirmed_by
from pipeline.intake.survey import Survey
from pipeline.issue.record_types import Record
from pipeline.reissue.fingerprint import Fingerprint
from pipeline.reissue.frame_cures import cured_sessions
from pipeline.reissue.frame_moves import beyond, farthest, heights_told, jumps_told, moves
from pipeline.reissue.frames import frame_changes
from pipeline.solve.solve import Solved
from pipeline.words import Doubt

#: By which a doubt of this module is known again in the record of an issue.
UNSETTLED = "neither the readings nor the register's numbers say which of the two is right"


def frame_doubts(base: Record, survey: Survey, solved: Solved, now: Fingerprint) -> tuple[Doubtful, ...]:
    """Return doubts where frames differ so that this issue or an earlier one must be wrong.

    Other keys of ``[target]`` alone give the same places other coordinates, and raise none. Of ``[control]`` they take
    the register's numbers for something else, and ties take that up in the shift; a grid file or an operation that is
    another without any key moves what is said to be the same. A session in which the earlier issue had failed or was
    in doubt, and which the frame alone put right, is left out: there this issue is the cure.

    Args:
        base: the record of the newest issue that is not in such a doubt itself.
        survey: the job.
        solved: the same, adjusted.
        now: what it is made from.
    """
    changes = frame_changes(base, survey, now.sums)
    if not changes.control and (changes.target or changes.field or not changes.files):
        return ()
    found = moves(base, survey, solved, now)
    cured = cured_sessions(base, survey, solved, now, found)
    (moved, as_before), jumps = found.of(solved, cured), found.jumped(survey, solved, cured)
    checks, issue = survey.job.checks, f"issue {base['issue']:03d}"
    issued = np.zeros(2, bool)
    if len(moved) and base["target"]["grid"] == survey.target["grid"]:
        issued[0] = farthest(moved) > checks.horizontal
    if len(moved) and base["target"]["height"] == survey.target["height"]:
        issued[1] = bool((np.abs(moved[:, 2]) > checks.vertical).any())
    parts = [heights_told(moved[:, 2], as_before)] if issued[1] else []
    parts += [f"positions moved by up to {farthest(moved):.3f} m"] if issued[0] else []
    by_issued = f"since {issue} {' and '.join(parts)}"
    if changes.control:
        # where field positions are read otherwise too, a shift says nothing by itself
        by_shift = bool(found.jumps) and not changes.field
        jumped = beyond(jumps, survey) if by_shift else issued
        what = f"{jumps_told(jumps, jumped)} than in {issue}" if by_shift else by_issued
        cure = ", since ties take a wrong CRS or height datum up whole and checks agree all the same"
        why, key = changes.control, "height" if any("] height" in text for text in changes.control) else "crs"
    else:
        jumped, why, key = issued, changes.files, "geoid"
        what = f"{by_issued} in what is called the same grid and height datum"
        cure = "; see which file or operation belongs to the job"
    if not jumped.any():
        return ()
    kind = Doubt.REGISTER_HEIGHTS if jumped[1] and not jumped[0] else Doubt.DATUM
    table = "target" if key == "geoid" else "control"
    sentence = f"{what}: {'; '.join(why)}; {UNSETTLED}{cure}"
    place = survey.where(table, key)
    others = tuple(window.index for window in survey.windows if window.index not in cured) if cured else None
    return confirmed_by(survey.job, [Doubtful(kind, sentence, others, *place)])
