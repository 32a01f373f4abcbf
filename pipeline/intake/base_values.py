"""What the readings of a session say of its base: values that change in time, and times that are off by whole hours."""

from collections.abc import Callable, Sequence
from itertools import pairwise

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.clock import GPS_AHEAD, HOUR

#: Whole hours that time zones and daylight saving put between two clocks.
_MOST_HOURS = 14


class ValueChange(Struct, frozen=True):
    """A value gave way to the next: ``before`` and ``after`` are their places in the sequence given.

    ``until`` is the last time with the former, ``since`` the first with the latter, both UTC milliseconds. Where the
    latter begins before the former has ended, the two were in use at the same time.
    """

    before: int
    after: int
    until: int
    since: int

    @property
    def clean(self) -> bool:
        """Tell whether a session could be split here."""
        return self.until < self.since


def changes(first: Integers, last: Integers) -> list[ValueChange]:
    """Return the changes between values that were seen from (k,) ``first`` to (k,) ``last``, in order of time."""
    order = np.argsort(first, kind="stable").tolist()
    pairs = pairwise(order)
    ends = np.maximum.accumulate(last[order])[:-1]
    return [
        ValueChange(one, other, int(until), int(first[other])) for (one, other), until in zip(pairs, ends, strict=True)
    ]


def merged(places: Floats, within: float) -> list[list[int]]:
    """Return the numbers of the (k, 3) places put together where they lie ``within`` metres of a group's first."""
    groups: list[list[int]] = []
    firsts = np.empty_like(places)
    for number, place in enumerate(places):
        near = np.linalg.norm(firsts[: len(groups)] - place, axis=1) <= within
        if near.any():
            groups[int(near.argmax())].append(number)
        else:
            firsts[len(groups)] = place
            groups.append([number])
    return groups


def antenna_slip(horizontal: float, up: float, antenna_height: float, within: float) -> int:
    """Return +1 or -1 where a difference is plus or minus the antenna height and nothing else, else 0 (metres)."""
    if horizontal > within or abs(antenna_height) <= within:
        return 0
    if abs(abs(up) - abs(antenna_height)) > within:
        return 0
    return 1 if up * antenna_height > 0 else -1


def offset_into(
    times: Integers, covered: Callable[[Integers], Flags], likely: Sequence[int], share: float
) -> int | None:
    """Return what has to be added to times, in milliseconds, so that sessions cover them, or None.

    Tried are the leap seconds of GPS time, then ``likely`` (the sessions' own offsets from UTC, say), then whole hours,
    the smaller ones first. Of those that do best the first is taken.

    Args:
        times: (n,) UTC milliseconds of readings outside all sessions.
        covered: tells of (n,) such times whether a session covers each.
        likely: offsets in milliseconds, each tried with either sign.
        share: 0 to 1, of the readings that an offset has to put into sessions.
    """
    hours = [sign * hour * HOUR for hour in range(1, _MOST_HOURS + 1) for sign in (1, -1)]
    tried = dict.fromkeys(
        [-GPS_AHEAD, GPS_AHEAD, *(sign * offset for offset in likely for sign in (1, -1) if offset), *hours]
    )
    if not len(times):
        return None
    shares = [float(covered(times + offset).mean()) for offset in tried]
    best = max(shares)
    return list(tried)[shares.index(best)] if best >= share else None
