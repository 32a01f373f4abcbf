"""Finds blocks of rows with a wrong day or hour in a file that is otherwise in time order.

Such a block makes one step back. It is known by what is around it: the rows before and behind run on from one another
within one session and leave as much time as the block lasts; or the block itself runs on from its neighbours once whole
days or hours are added to it or taken from it. Files put together from others, or sorted by something else, have more
steps back, or parts that do not fit so.
"""

import re
from collections.abc import Callable, Iterator

import numpy as np
import pyarrow as pa
from msgspec import Struct, field
from numpy.typing import NDArray

from pipeline.arrays import Flags, Integers
from pipeline.clock import DAY, HOUR, MINUTE
from pipeline.letter_case import folded
from pipeline.replace import replace

#: Milliseconds that rows around a block may leave beside it: a pause at one of its ends.
_PAUSE = 2 * HOUR
#: Milliseconds within which a block runs on from its neighbour once whole days are added, if its names run on, and if
#: not; and once whole hours are, where its names have to.
_DAYS_NAMED, _DAYS, _HOURS = HOUR, 15 * MINUTE, 5 * MINUTE
#: The share of rows before the one in front of them in what is in order of time: receivers that write into one file.
_BACKWARD = 0.1
#: No time zone is off by more.
_ZONE = 14 * HOUR
#: Names run on where their numbers differ by so many: some points are deleted.
_NEXT = 3
#: Places of an export at which times jump that are noted; one with more is in no order of time.
_NOTED = 400
_NUMBERED = re.compile(r"(.*?)(\d{1,15})")


class Jumps(Struct):
    """What is known of the rows at which the times of an export jump by more than ``least`` milliseconds.

    ``named`` and ``coded`` have the numbers in the file of those whose name runs on from that of the row before, and
    whose code is the same; ``anew`` those whose name and that before have numbers, but are of two series.
    """

    least: int
    named: set[int] = field(default_factory=set)
    coded: set[int] = field(default_factory=set)
    anew: set[int] = field(default_factory=set)
    noted: int = 0
    last: tuple[int, str | None, str | None] | None = None

    def take(self, time: Integers, names: pa.Array, codes: pa.Array, rows: Integers) -> None:
        """Take the next rows: (n,) times, UTC milliseconds, names, codes, and numbers in the file."""
        if not len(time) or self.noted > _NOTED:
            return
        start = 1 if self.last is None else 0
        before = np.concatenate([[time[0] if self.last is None else self.last[0]], time[:-1]])
        jumps = np.flatnonzero(np.abs(time - before) > self.least)
        for at in jumps[jumps >= start][: _NOTED + 1].tolist():
            self.noted += 1
            if at:
                name, code = names[at - 1].as_py(), codes[at - 1].as_py()
            else:
                assert self.last is not None
                _, name, code = self.last
            if runs_on(name, names[at].as_py()):
                self.named.add(int(rows[at]))
            elif _numbered(name) and _numbered(names[at].as_py()):
                self.anew.add(int(rows[at]))
            if code and code == codes[at].as_py():
                self.coded.add(int(rows[at]))
        self.last = (int(time[-1]), names[-1].as_py(), codes[-1].as_py())


def runs_on(one: str | None, other: str | None) -> bool:
    """Tell whether two names differ by their number alone, and by little: B007 and B008."""
    first, second = _numbered(one), _numbered(other)
    if first is None or second is None or first[1] != second[1]:
        return False
    return 1 <= abs(int(first[2]) - int(second[2])) <= _NEXT


def _numbered(name: str | None) -> re.Match[str] | None:
    return _NUMBERED.fullmatch(folded(name))


class Moved(Struct, frozen=True):
    """A block of rows at a wrong time: its places, (k,) of which are in another session by it, and theirs by place.

    ``lag`` is what its times lack, milliseconds, 0 where that is not known; ``certain`` tells a doubt from a note.
    """

    rows: range
    changed: Flags
    place: int
    lag: int
    certain: bool


class Order(Struct, frozen=True):
    """Readings (n,) in the order of a file, as far as blocks are looked for in it.

    Args:
        time: UTC milliseconds.
        session: indices of the sessions.
        named: whether a session names each: the job says where it lies.
        weight: of some rows, by which of two sets are more likely out of order.
        attach: sessions of times.
        jump: whether the name of the reading at a place runs on from the one before it there, and has its code.
        anew: whether another series of names begins at a place, and neither reading there may stand on a mark.
    """

    time: Integers
    session: NDArray[np.int32]
    named: Flags
    weight: Callable[[range], int]
    attach: Callable[[Integers], NDArray[np.int32]]
    jump: Callable[[int], tuple[bool, bool]]
    anew: Callable[[int], bool]


def moved_blocks(of: Order, start: int, at: int, stop: int, sets: list[range]) -> Iterator[Moved]:
    """Yield the blocks that two runs of readings may come of, the likeliest first.

    Args:
        of: the readings.
        start: where the former run begins.
        at: where the latter begins: the step back.
        stop: where that ends.
        sets: the rows that are too late for the latter run, and too early for the former.
    """
    back = int(of.time[start:at].max() - of.time[at])
    steps = np.diff(of.time[start:stop])
    if np.count_nonzero(steps < 0) - 1 > _BACKWARD * len(steps):
        return
    leaps = np.flatnonzero(steps >= back) + 1 + start
    ahead, behind = leaps[leaps < at], leaps[leaps > at]
    some = [which for which in sets if len(which)]
    # a block that lasts longer than it is off ends, or begins, with a step forward
    some += [range(int(ahead[-1]), at)] if len(ahead) else []
    some += [range(at, int(behind[0]))] if len(behind) else []
    some += [range(0, at)] if start == 0 else []
    some += [range(at, stop)] if stop == len(of.time) else []
    for which in sorted(set(some), key=lambda each: (of.weight(each), each.start)):
        if at not in (which.start, which.stop) or of.named[which.start : which.stop].any():
            continue
        found = _within(of, which, at)
        if found is None:
            found = _lagging(of, which, at)
        elif not found.certain and _lagging(of, which, at, hours=True) is not None:
            found = replace(found, certain=True)
        if found is not None:
            yield found


def _within(of: Order, which: range, at: int) -> Moved | None:
    """Return a block that stands within another session, where what is around it leaves just its time."""
    first, after = which.start, which.stop
    if first == 0 or after == len(of.time) or of.session[first - 1] != of.session[after]:
        return None
    here = slice(first, after)
    place = int(of.session[after])
    changed: Flags = of.session[here] != place
    step, lasts = int(of.time[after] - of.time[first - 1]), int(np.ptp(of.time[here]))
    if not changed.any() or not step >= -MINUTE or not -MINUTE <= step - lasts <= _PAUSE:
        return None
    named, coded = zip(*(of.jump(each) for each in ((at, after) if at == first else (at, first))), strict=True)
    # where a file has code after code, another one begins at the step back, and goes on where times go forward
    if coded == (False, True) and not any(named):
        return None
    return Moved(which, changed, place, 0, not of_another_crew(of, which, at))


def of_another_crew(of: Order, which: range, at: int) -> bool:
    """Tell whether a block ends, or begins, where a crew's rows were put behind another's: at the step back ``at``.

    The names of the second begin there, and at its other end those of either go on, over a night or a pause.
    """
    other = which.stop if at == which.start else which.start
    if at not in (which.start, which.stop) or not 0 < other < len(of.time):
        return False
    return of.anew(at) and of.jump(other)[0]


def _lagging(of: Order, which: range, at: int, *, hours: bool = False) -> Moved | None:
    """Return a block that runs on from its neighbours once whole days, or hours, are added, and is elsewhere then.

    Hours are tried where the names run on, or with ``hours``.
    """
    first, after = which.start, which.stop
    step = int(of.time[at] - of.time[at - 1])
    named = of.jump(at)[0]
    for unit, near in ((DAY, _DAYS_NAMED if named else _DAYS), (HOUR, _HOURS)):
        size = -(step // unit) * unit
        size -= unit if size + step > unit - MINUTE else 0
        if not (size > 0 and -MINUTE <= step + size <= near and (unit == DAY or (size <= _ZONE and (named or hours)))):
            continue
        lag = size if first == at else -size
        time = of.time[first:after] + lag
        if first > 0 and time.min() < of.time[first - 1] - MINUTE:
            continue
        if after < len(of.time) and time.max() > of.time[after] + MINUTE:
            continue
        then = of.attach(time)
        changed: Flags = (then >= 0) & (then != of.session[first:after])
        if changed.any():
            return Moved(which, changed, int(then[int(np.argmax(changed))]), lag, named)
    return None
