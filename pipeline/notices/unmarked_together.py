"""Which exports ran at the same time as another in a session, and neither stood on a mark, where one rover was at work.

One of them may be of another day or of another job: what was occupied before and after the hours that they share
speaks for one of them at the most. A crew of several rovers stands on marks with each, so that as many exports with
occupations run at one time (common practice, no source).
"""

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence

import numpy as np
from msgspec import Struct

from pipeline.arrays import Integers
from pipeline.clock import stamp
from pipeline.intake.at_one_time import Clock, minutes_within, same_rows, together
from pipeline.intake.survey import Survey
from pipeline.near import listed
from pipeline.sessions.windows import SessionWindow
from pipeline.solve.compare import OnMarks
from pipeline.solve.solve import Solved


class Together(Struct, frozen=True):
    """More exports that ran together in a session without a mark than did with one.

    Args:
        session: index of the session.
        exports: their numbers, ascending.
        since: from when on all were at work, UTC milliseconds.
    """

    session: int
    exports: tuple[int, ...]
    since: int


def unmarked_together_notes(survey: Survey, solved: Solved) -> Iterator[str]:
    """Yield in words the exports without a mark that run together in a session, where no more of those with one do."""
    for one in unmarked_together(survey, solved.occupations):
        first, *others = (survey.exports[at].shown for at in one.exports)
        yield (
            f"{first}: observed at the same time as {listed(others)} in session"
            f" {survey.windows[one.session].session.name}, from {stamp(one.since)} UTC on, and none of their readings"
            " there is on a control mark, while so many exports that stood on marks never ran at one time: if they are"
            " not of one rover, no check proves which of them belong there; find out whether one is of another day or"
            " of another job, or is another rover's, which is to occupy a mark before and after its points"
        )


def unmarked_together(survey: Survey, on_marks: OnMarks) -> list[Together]:
    """Return such exports of each session, by the occupations of marks."""
    if len(survey.exports) < 3:
        return []
    clocks, same = [log.clock() for log in survey.first_pass.files], same_rows(survey.first_pass)
    each = (_too_many(survey, on_marks, window, clocks, same) for window in survey.windows)
    return [one for one in each if one is not None]


def _too_many(
    survey: Survey, on_marks: OnMarks, window: SessionWindow, clocks: Sequence[Clock], same: Counter[tuple[int, int]]
) -> Together | None:
    """Return more exports that ran together without a mark than did with one, None where there are not.

    A file of occupations alone that began before is taken for that of whoever wrote the points into several files.
    """
    files = survey.first_pass.files
    export = np.asarray(on_marks.table.column("export"), np.int64)
    stood = np.bincount(export[on_marks.session == window.index], minlength=len(files)).tolist()
    readings = [log.sessions[window.index] for log in files]
    minutes = {at: minutes_within(clocks[at], window) for at, count in enumerate(readings) if count}
    without = _beside(minutes, [at for at in minutes if not stood[at]], readings, same)
    if not without or not any(stood):
        return None
    found = _most(without)
    until = min(int(minutes[at][-1]) for at in found)
    alone = (minutes[at] for at in minutes if stood[at] and readings[at] == stood[at])
    crew = _most(_beside(minutes, [at for at in minutes if stood[at]], readings, same))
    if len(found) <= len(crew) or any(len(one) and int(one[0]) <= until for one in alone):
        return None
    return Together(window.index, tuple(found), max(int(minutes[at][0]) for at in found))


def _beside(
    minutes: Mapping[int, Integers], which: Sequence[int], readings: Sequence[int], same: Counter[tuple[int, int]]
) -> dict[int, set[int]]:
    """Return of those exports which ran together with which others; one that has half of another's rows did not."""
    found: dict[int, set[int]] = {}
    spans = sorted((int(minutes[at][0]), int(minutes[at][-1]), at) for at in which if len(minutes[at]))
    for place, (_, end, one) in enumerate(spans):
        for begin, _, other in spans[place + 1 :]:
            if begin > end:
                break
            if 2 * same[one, other] < min(readings[one], readings[other]) and together(minutes[one], minutes[other]):
                found.setdefault(one, set()).add(other)
                found.setdefault(other, set()).add(one)
    return found


def _most(beside: Mapping[int, Collection[int]]) -> list[int]:
    """Return the most exports that all ran together with one another, in their order, as far as a quick look tells."""
    most: list[int] = []
    for first in beside:
        group = [first]
        for other in sorted(beside[first], key=lambda at: (-len(beside[at]), at)):
            if all(other in beside[one] for one in group):
                group.append(other)
        most = max(most, group, key=len)
    return sorted(most)
