"""What the exports say of the bases, gathered in the first pass: little per session, whatever the number of readings.

Kept are each session's base positions and antenna heights as they stand on its points, the base ids of a session that
names none, its earliest reading, the readings whose base id no session of their time has, those without one where they
need it, and the readings outside all sessions: their times and base ids.
"""

from collections.abc import Iterator

import pyarrow as pa
from msgspec import Struct, field

from pipeline.arrays import Integers
from pipeline.replace import replace

#: Different values of one thing that are kept per session; further ones are only counted.
MOST = 32


class ValueSeen(Struct, frozen=True):
    """One value among a session's readings.

    ``time``, ``export`` and ``row`` are those of the earliest reading that has it, ``last`` is the time of the latest,
    ``count`` how many have it; ``key`` is the value rounded, with what else tells two apart; ``text``
    a base id as written; ``sessions`` those that run at the time of readings with that id, none of which has it;
    ``exports`` those that have the value; ``entered`` how often, within an export and in time, it came after a base
    position elsewhere.
    """

    key: tuple[int | str, ...]
    value: tuple[float, ...]
    time: int
    last: int
    count: int
    export: int
    row: int
    text: str = ""
    sessions: tuple[int, ...] = ()
    exports: frozenset[int] = frozenset()
    entered: int = 0

    def and_also(self, other: "ValueSeen") -> "ValueSeen":
        """Return both together, the value of the earlier one."""
        early = self if self.time <= other.time else other
        last, count = max(self.last, other.last), self.count + other.count
        exports, entered = self.exports | other.exports, self.entered + other.entered
        return replace(early, last=last, count=count, exports=exports, entered=entered)


class Values(Struct):
    """The different values of one thing in one session; ``further`` counts readings with values beyond `MOST`."""

    found: dict[tuple[int | str, ...], ValueSeen] = field(default_factory=dict)
    further: int = 0

    def add(self, seen: ValueSeen) -> None:
        """Take one batch's readings with one value."""
        before = self.found.get(seen.key)
        if before is not None:
            self.found[seen.key] = before.and_also(seen)
        elif len(self.found) < MOST:
            self.found[seen.key] = seen
        else:
            self.further += seen.count

    def __iter__(self) -> Iterator[ValueSeen]:
        return iter(self.found.values())

    def __len__(self) -> int:
        return len(self.found)


class First(Struct, frozen=True):
    """The earliest reading of a session: its name, UTC milliseconds, raw position, block, export and row."""

    name: str | None
    time: int
    place: tuple[float, float, float]
    block: int
    export: int
    row: int


class SessionLog(Struct):
    """What one session's readings say of its base; antenna heights are told apart by export.

    ``ids_at`` are the positions with the base id beside them, of a session that names no base; ``bare`` the readings,
    by export, that have no position, or zeros, though their export has a column for it.
    """

    positions: Values = field(default_factory=Values)
    ids_at: Values = field(default_factory=Values)
    bare: Values = field(default_factory=Values)
    antennas: Values = field(default_factory=Values)
    ids: Values = field(default_factory=Values)
    first: First | None = None


class Outside(Struct, frozen=True):
    """Readings outside all sessions whose base id, if any, is some session's: (n,) times and base ids of a sample.

    ``count`` is how many there are in all, ``exports`` the exports that they stand in.
    """

    times: Integers
    bases: pa.Array
    count: int
    exports: tuple[int, ...]


class BaseLog(Struct, frozen=True):
    """What the exports say of the bases: per session, and outside all sessions.

    ``strangers`` are base ids of readings at whose time no session with them runs, by export and the sessions that do
    run; ``without`` readings by export that have no id where several sessions run; ``used`` the ids that
    were read, by export.
    """

    sessions: tuple[SessionLog, ...]
    strangers: Values
    without: Values
    used: frozenset[tuple[int, str]]
    outside: Outside
