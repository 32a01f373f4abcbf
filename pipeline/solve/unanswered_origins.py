"""What the next issues know a reading by that seems to be a check and is compared with no mark, until it is answered.

Its doubt is told once for a session, in one sentence; each reading has an entry of its own, so that one that has left
its export by the next issue is missed.
"""

from collections.abc import Sequence

import numpy as np

from pipeline.arrays import Flags, Floats
from pipeline.clock import iso, moment
from pipeline.examine.doubtful import THIS_ISSUE, Doubtful
from pipeline.intake.candidates import Candidates
from pipeline.issue.doubt_types import LostOccupation, Part
from pipeline.replace import replace
from pipeline.solve.control_marks import Reference
from pipeline.solve.known_marks import KnownMarks
from pipeline.solve.never_of_mark import never_beyond
from pipeline.solve.temporary_marks import Temporary
from pipeline.solve.unanswered_checks import Unanswered
from pipeline.tolerance import Tolerance, plan_and_height

_PARTS: tuple[Part, Part] = ("position", "height")


def each_with_origin(
    doubts: Sequence[Doubtful],
    found: Sequence[Unanswered],
    candidates: Candidates,
    at: Floats,
    moved: Floats,
    known: KnownMarks,
) -> list[Doubtful]:
    """Return the doubts of sessions once for each of their readings that are held back, each with what it is about.

    Args:
        doubts: one per session at the most, told of all such readings of it.
        found: the readings.
        candidates: those that they are of.
        at: (n, 3) easting, northing, height of these.
        moved: (S,) metres that each session is moved by.
        known: the marks, with the job for the tolerances.
    """
    job, marks, given = known.job, _Marks.of(known.register, known.temporary), []
    for doubt in doubts:
        for one in found:
            if not one.held or doubt.sessions is None or one.session not in doubt.sessions:
                continue
            most = never_beyond(job, float(moved[one.session]))
            mark, parts = marks.against(one, at[one.row], most, Tolerance(job.checks.horizontal, job.checks.vertical))
            origin = LostOccupation(
                of="occupation", point=candidates.names[one.row] or "", mark=mark,
                observed=iso(moment(int(candidates.time[one.row]))), failed_in=THIS_ISSUE, parts=parts, now="untested",
            )  # fmt: skip
            given.append(replace(doubt, origin=origin))
    return given


class _Marks:
    """The marks that a reading may have been on: (m, 3) ``grid``, (m, 2) ``holds``."""

    def __init__(self, names: tuple[str, ...], grid: Floats, holds: Flags) -> None:
        self.names, self.grid, self.holds = names, grid, holds

    @classmethod
    def of(cls, register: Reference, temporary: Temporary) -> "_Marks":
        """Take the register, and behind it the temporary marks."""
        pegs = temporary.grid.reshape(-1, 3)
        grid, holds = np.vstack([register.grid, pegs]), np.vstack([register.holds(), np.isfinite(pegs[:, [0, 2]])])
        return cls((*register.names, *temporary.names), grid, holds)

    def against(self, one: Unanswered, at: Floats, most: float, tolerance: Tolerance) -> tuple[str, list[Part] | None]:
        """Return the mark that a reading may have been on, "" where that is too far, and what it fails in there."""
        off = plan_and_height(at - self.grid)
        far = np.where(np.isfinite(off[:, 0]), off[:, 0], np.inf)
        if not (far <= most).any():
            return "", None
        named = self.names.index(one.mark) if one.mark in self.names else None
        number = named if named is not None and far[named] <= most else int(np.argmin(far))
        over = ~(np.abs(np.nan_to_num(off[number], nan=np.inf)) <= tolerance.allowed())
        # what a mark does not hold says nothing, unless nothing else does
        failing = next(bad for bad in (over & self.holds[number], over, np.ones(2, bool)) if bad.any())
        return self.names[number], [part for part, fails in zip(_PARTS, failing, strict=True) if fails]
