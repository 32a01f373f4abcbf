"""Doubts readings of two sessions with one position to the last digit where the sessions' shifts put it at two places.

A receiver measures no position twice to the last digit, least of all by bases that broadcast two different positions.
So one reading of each two is a copy of the other with another time, and goes out wrong by the difference of the shifts
while every check agrees. Which of them, no number says.
"""

from collections.abc import Iterator

import numpy as np

from pipeline.examine.doubtful import Doubtful
from pipeline.intake.survey import Survey
from pipeline.near import and_more
from pipeline.solve.issued_apart import IssuedApart
from pipeline.tolerance import plan_and_height
from pipeline.words import Doubt, counted

#: Pairs of readings that a sentence lists.
_LISTED = 3


def copied_point_doubts(survey: Survey, issued: IssuedApart) -> Iterator[Doubtful]:
    """Yield a doubt for every two sessions whose readings of one position would be issued at two places."""
    limits = survey.job.checks
    for one in survey.first_pass.recurring:
        apart = plan_and_height(issued.apart(one.session, one.time, one.export, one.base))
        beyond = np.flatnonzero((np.abs(apart) > [limits.horizontal, limits.vertical]).any(axis=1))
        if not len(beyond):
            continue
        at = int(beyond[0])
        first, last = (survey.windows[number].session.name for number in one.session[at].tolist())
        named = [one.named[number] for number in beyond.tolist() if number < len(one.named)][:_LISTED]
        listed = f": {'; '.join(named)}{and_more(len(beyond) - len(named))}" if named else ""
        readings = counted(len(beyond), "reading has", "readings have")
        what = (
            f"session {last}: {readings} the position of a reading of session {first} to the last digit, though the"
            f" shifts of the two differ by {apart[at, 0]:.3f} m horizontally and {apart[at, 1]:+.3f} m in height: no"
            " measurement repeats like that, so one of each two is a copy with another time, off by that much"
            f"{listed}; delete the copied rows, or correct the date and time of the export that has them wrong"
        )
        sessions = tuple(sorted({*one.session[at].tolist()}))
        yield Doubtful(Doubt.BASE, what, sessions, survey.exports[int(one.export[at, 1])].shown, int(one.row[at]))
