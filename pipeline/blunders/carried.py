"""Which of a session's occupations already carry a shift that the job does not state: patterns found by numbers alone.

A reading on a mark says what shift would bring it there. One that was exported raw says the session's own shift; one
that the field had corrected says nothing is missing, or what is left. So every occupation falls to one of two levels,
and no level has a size of its own: each follows from one raw reading, and from what the field may have done with it.
"""

from collections.abc import Iterator
from enum import StrEnum

import numpy as np
from msgspec import Struct

from pipeline.arrays import Flags, Floats, Integers
from pipeline.tolerance import Tolerance

#: An occupation belongs to a level within so many tolerances: a level comes from one reading, with its own noise.
_NEAR = 1.5
#: A shift smaller than so many tolerances is not told from none.
_SEEN = 2.0
#: A shift as it is now may differ from the one applied by this part of it, where the mark has been revised since.
_REVISED = 0.3
#: Switches of a pattern at most: with more, every occupation would have a state of its own.
_SWITCHES = 6


class Way(StrEnum):
    """What the field did with a shift."""

    ONCE = "once"
    TWICE = "twice"
    REVERSED = "reversed"
    LEVEL = "level"
    HEIGHT = "height"
    REVISED = "revised"


#: How often a shift is carried in each component, east, north, up.
TIMES = {
    Way.ONCE: (1.0, 1.0, 1.0),
    Way.TWICE: (2.0, 2.0, 2.0),
    Way.REVERSED: (-1.0, -1.0, -1.0),
    Way.LEVEL: (1.0, 1.0, 0.0),
    Way.HEIGHT: (0.0, 0.0, 1.0),
    Way.REVISED: (1.0, 1.0, 1.0),
}


#: How much rarer a way is than a shift applied as it was derived, and one that was derived after it was applied.
#: Common practice, no source.
_RARER = {Way.ONCE: 1.0, Way.TWICE: 2.0, Way.REVERSED: 2.0, Way.LEVEL: 2.0, Way.HEIGHT: 2.0, Way.REVISED: 5.0}
_LATER = 20.0


class Levels(Struct, frozen=True):
    """Occupations of one session, (n,) by time.

    Args:
        needed: (n, 3) east, north, up: what brings each reading to its mark; NaN where the mark does not say.
        sigma: (n, 3) standard uncertainty of that, the mark's included.
        receiver: (n,) a number for the receiver, by its base id, of each.
        file: (n,) a number for the export of each.
    """

    needed: Floats
    sigma: Floats
    receiver: Integers
    file: Integers


class Source(Struct, frozen=True):
    """A shift that the field may have applied, (3,) each.

    Args:
        raw: what raw readings need.
        shift: the shift itself.
        sigma: how certain raw minus shift is, from other than the readings that carry it.
        row: place among the occupations of the reading that gives it, -1 where none of them does.
        number: free to use by the caller.
        own: whether it is the session's own; one of another session is only applied as it was.
        rarer: how much less likely a source it is than a tie.
    """

    raw: Floats
    shift: Floats
    sigma: Floats
    row: int
    number: int
    own: bool = True
    rarer: float = 1.0


class Pattern(Struct, frozen=True):
    """Occupations that carry a shift, and those that fit neither with it nor without.

    Args:
        source: where the shift comes from.
        way: what was done with it.
        carrying: (n,) which occupations carry it.
        odd: (n,) which fit neither level.
        among: (n,) the occupations that it is limited to, by receiver or file; all of them otherwise.
        limited: "receiver", "file" or nothing.
        switches: how often it is switched on or off among them.
        off: (3,) how far the readings that carry it are from where they should be, with (3,) ``expected`` sigma.
    """

    source: Source
    way: Way
    carrying: Flags
    odd: Flags
    among: Flags
    limited: str
    switches: int
    off: Floats
    expected: Floats

    @property
    def guesses(self) -> float:
        """In how many ways a pattern like it could have been drawn."""
        count = float(self.among.sum())
        first = int(np.argmax(self.carrying))
        later = _LATER if self.source.own and self.source.row > first else 1.0
        drawn = max(count, 2.0) ** max(self.switches, 1) * (4.0 if self.limited else 1.0)
        return drawn * _RARER[self.way] * later * self.source.rarer


def patterns(levels: Levels, sources: list[Source], tolerance: Tolerance) -> Iterator[Pattern]:
    """Yield every pattern in which some occupation carries a shift, whole ones and those with odd occupations."""
    tries = [(source, way) for source in sources for way in (Way if source.own else (Way.ONCE,))]
    shifts = np.array([source.shift * TIMES[way] for source, way in tries]).reshape(-1, 1, 3)
    without = levels.needed - np.array([source.raw for source, _ in tries]).reshape(-1, 1, 3)
    raw, carried, size = (_far(off, tolerance) for off in (without, without + shifts, shifts[:, 0]))
    others = np.arange(len(levels.needed)) != np.array([source.row for source, _ in tries]).reshape(-1, 1)
    revised = np.array([way is Way.REVISED for _, way in tries], bool)
    near = np.linalg.norm(np.nan_to_num(without + shifts), axis=2) <= _REVISED * np.linalg.norm(shifts, axis=2)
    carried[revised] = np.where(near & (raw > _NEAR), 0.0, np.inf)[revised]
    # a level that nothing but its own source lies at is no level
    worth = (size > _SEEN) & ((np.minimum(raw, carried) <= _NEAR) & others).any(axis=1) & (carried <= _NEAR).any(axis=1)
    for number in np.flatnonzero(worth).tolist():
        source, way = tries[number]
        if way is not Way.REVISED or _agree((without + shifts)[number, carried[number] == 0.0], tolerance):
            yield from _assigned(levels, source, way, raw[number], carried[number])


def _agree(left: Floats, tolerance: Tolerance) -> bool:
    """Whether (k, 3) readings lack one and the same vector, and there are any."""
    return len(left) > 0 and bool((_far(left - _mean(left), tolerance) <= _NEAR).all())


def _assigned(levels: Levels, source: Source, way: Way, raw: Floats, carried: Floats) -> Iterator[Pattern]:
    """Yield what follows where each occupation falls to the nearer level, the odd ones also to their neighbours'."""
    nearest = carried < raw
    odd = np.minimum(raw, carried) > _NEAR
    sure = nearest & ~odd
    if source.row >= 0 and nearest[source.row] and source.own:
        return  # the reading that gives a shift does not carry it
    if not _told(sure, nearest, odd, source.row):
        return
    for carrying in _each_once([nearest, _as_neighbours(nearest, odd), _as_neighbours(nearest[::-1], odd[::-1])[::-1]]):
        among, limited, switches = _limits(levels, carrying)
        if switches > _SWITCHES:
            continue
        off = _mean(source.raw - source.shift * TIMES[way] - levels.needed[sure])
        spread = np.sqrt(source.sigma**2 + (levels.sigma[sure] ** 2).mean(axis=0) / sure.sum())
        yield Pattern(
            source=source,
            way=way,
            carrying=carrying,
            odd=odd,
            among=among,
            limited=limited,
            switches=switches,
            off=off,
            expected=spread,
        )


def _told(sure: Flags, carrying: Flags, odd: Flags, source: int) -> bool:
    """Whether occupations besides the source's own lie at the level that it does not, and most of them fit."""
    others = np.arange(len(odd)) != source
    of_source = bool(carrying[source]) if source >= 0 else False
    opposite = ~odd & others & (carrying != of_source)
    return bool(sure.any() and opposite.any() and 2 * (odd & others).sum() <= others.sum())


def _each_once(states: list[Flags]) -> Iterator[Flags]:
    yield from {state.tobytes(): state for state in states}.values()


def _as_neighbours(carrying: Flags, odd: Flags) -> Flags:
    """Give odd occupations the state of the last one before that is not odd, else of the first one after."""
    known = np.flatnonzero(~odd)
    if not len(known):
        return carrying
    last = np.maximum(np.searchsorted(known, np.arange(len(odd)), side="right") - 1, 0)
    return np.where(odd, carrying[known[last]], carrying)


def _limits(levels: Levels, carrying: Flags) -> tuple[Flags, str, int]:
    """Return what a pattern is best limited to: the fewest switches, a limit counting as one of them."""
    every = np.ones(len(carrying), bool)
    best, word, least = every, "", _switched(carrying)
    for name, number in (("receiver", levels.receiver), ("file", levels.file)):
        for one in np.unique(number[carrying]) if len(np.unique(number)) > 1 else ():
            among = number == one
            count = _switched(carrying[among]) + 1
            if not (carrying & ~among).any() and count < least:
                best, word, least = among, name, count
    return best, word, least


def _switched(carrying: Flags) -> int:
    return int(np.count_nonzero(np.diff(carrying.astype(np.int8))))


def _far(off: Floats, tolerance: Tolerance) -> Floats:
    """Return (n,) how many tolerances (n, 3) metres are; what is not known is no distance."""
    off = np.nan_to_num(off)
    return np.asarray(
        np.maximum(np.hypot(off[..., 0], off[..., 1]) / tolerance.horizontal, np.abs(off[..., 2]) / tolerance.vertical)
    )


def _mean(values: Floats) -> Floats:
    """Return (3,) the mean of what is known, zero where nothing is."""
    known = np.isfinite(values)
    return np.asarray(np.nan_to_num(values).sum(axis=0) / np.maximum(known.sum(axis=0), 1))
