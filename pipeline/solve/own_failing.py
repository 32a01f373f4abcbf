"""Exports of one of several rovers of which an occupation failed: what others stood on says nothing of its points.

A passing occupation of another rover, between a point and the next one of its own, proves the base and no more: the
pole may have been changed, or the controller set otherwise, since (common practice, no source).
"""

from collections.abc import Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.intake.at_one_time import minutes_within, same_rows, together
from pipeline.intake.survey import Survey
from pipeline.solve.compare import OnMarks
from pipeline.solve.proof import Evidence


class OwnFailing(Struct, frozen=True):
    """The occupations of one export in a session, of which some fail while another rover was at work.

    Args:
        session: index of the session.
        export: number of the export.
        evidence: its own occupations alone.
    """

    session: int
    export: int
    evidence: Evidence

    def reached(self, session: Integers, time: Integers, export: int) -> Flags:
        """Return which readings of an export have a failing occupation of their own before or behind them.

        Args:
            session: (n,) the session of each.
            time: (n,) UTC milliseconds.
            export: number of their export.
        """
        found = np.asarray((session == self.session) & (export == self.export), bool)
        found[found] = self.evidence.beside_failing(time[found])
        return found

    def why(self, files: Sequence[str]) -> str:
        """Return in words why its points are suspect; ``files`` are the names of the exports."""
        return (
            f"the occupation of a control mark before or behind it in {files[self.export]} fails: what another rover"
            " stood on in between does not prove it"
        )


def own_failing(survey: Survey, on_marks: OnMarks) -> tuple[OwnFailing, ...]:
    """Return the exports of sessions that have a failing occupation and were observed at the same time as another.

    A file of occupations alone is no other rover's, and neither is one that has half of the rows as well.
    """
    evidence, passed = on_marks.evidence, on_marks.compared.passed
    failing = evidence & ~passed
    files, found = survey.first_pass.files, list[OwnFailing]()
    if not failing.any() or len(files) < 2:
        return ()
    export, clocks = np.asarray(on_marks.table.column("export"), np.int64), [log.clock() for log in files]
    same = same_rows(survey.first_pass)
    for session in np.unique(on_marks.session[failing]).tolist():
        here, window = on_marks.session == session, survey.windows[session]
        stood = np.bincount(export[here], minlength=len(files)).tolist()
        readings = [log.sessions[session] for log in files]
        at_work = [at for at, count in enumerate(readings) if count > stood[at]]
        minutes = {at: minutes_within(clocks[at], window) for at in at_work}
        for at in np.unique(export[here & failing]).tolist():
            if at in minutes and any(
                one != at
                and 2 * same[at, one] < min(readings[at], readings[one])
                and together(minutes[at], minutes[one])
                for one in at_work
            ):
                rows = np.flatnonzero(here & evidence & (export == at))
                holds = on_marks.compared.holds[rows]
                found.append(OwnFailing(session, at, Evidence(on_marks.time[rows], passed[rows], True, holds)))
    return tuple(found)
