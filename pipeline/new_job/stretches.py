"""Splits readings into sessions by base id and by long gaps in time."""

from collections.abc import Iterator

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Integers
from pipeline.clock import HOUR, MINUTE
from pipeline.letter_case import folded
from pipeline.new_job.timed_rows import TimedRows

#: A gap from which on a base is taken to have been set up again, and what is left before and after the readings of a
#: session. Common practice, no source.
GAP, MARGIN = 3 * HOUR, 10 * MINUTE
#: Readings up to which a stretch without any mark is taken for a slip (a wrong clock, a wrong id) beside longer ones.
_FEW, _SHARE = 10, 0.02


class Stretch(Struct, frozen=True):
    """Readings (as places in the rows, in order of time) of one base; ``base`` is "" where nobody says it."""

    base: str
    members: Integers
    start: int
    end: int


def stretches(rows: TimedRows) -> list[Stretch]:
    """Return the stretches of all bases, in order of their beginnings.

    Readings without a base id are of the base that runs at their time where only one does; else of a stretch of their
    own, of which no base is known.
    """
    keys = np.array([folded(base) for base in rows.base], object)
    found: list[Stretch] = []
    for key in sorted(set(keys) - {""}):
        members = np.flatnonzero(keys == key)
        found += _parts(rows.base[members[0]], members, rows.time)
    lacking = np.flatnonzero(keys == "")
    inside = np.zeros(len(lacking), bool)
    for one in found:
        inside |= (rows.time[lacking] >= one.start - GAP) & (rows.time[lacking] <= one.end + GAP)
    found += _parts("", lacking[~inside], rows.time)
    return sorted(found, key=lambda one: (one.start, one.base))


def _parts(base: str, members: Integers, time: Integers) -> Iterator[Stretch]:
    if not len(members):
        return
    members = members[np.argsort(time[members], kind="stable")]
    breaks = np.flatnonzero(np.diff(time[members]) >= GAP) + 1
    for part in np.split(members, breaks):
        yield Stretch(base, part, int(time[part[0]]), int(time[part[-1]]))


def slips(found: list[Stretch], on_marks: Flags) -> list[bool]:
    """Return which stretches are no sessions: a few readings, none on a mark, beside many others.

    Args:
        found: all stretches.
        on_marks: (n,) which of the rows stand on marks.
    """
    total = sum(len(one.members) for one in found)
    return [
        len(found) > 1
        and not on_marks[one.members].any()
        and len(one.members) <= _FEW
        and len(one.members) <= _SHARE * total
        for one in found
    ]


def windows(found: list[Stretch]) -> list[tuple[int, int]]:
    """Return from when to when each session runs, UTC milliseconds, on whole minutes and with a margin.

    Sessions of one base meet in the middle of the gap between them where the margins would overlap.
    """
    spans = []
    for one in found:
        start = (one.start - MARGIN) // MINUTE * MINUTE
        spans.append((start, -(-(one.end + MARGIN + 1) // MINUTE) * MINUTE))
    for number, one in enumerate(found):
        for other in range(number + 1, len(found)):
            same = folded(found[other].base) == folded(one.base) or "" in (one.base, found[other].base)
            if same and spans[other][0] < spans[number][1] and found[other].start > one.end:
                middle = (one.end + found[other].start) // 2
                spans[number] = spans[number][0], middle
                spans[other] = middle, spans[other][1]
    return spans
