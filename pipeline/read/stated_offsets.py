"""Detects times whose own UTC offset contradicts `time_zone`, and counts the discrepancies [ms].

A file's own word counts, for it stands beside the time. But programs write "Z" behind times of any zone, and to a
GeoPackage nothing else; so what the job file says is worked out as well, and how far the two are apart is kept.
"""

import re
from collections import Counter

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from msgspec import Struct, field

from pipeline.arrays import Flags, Integers
from pipeline.clock import seconds_text
from pipeline.read.clock_changes import ClockChanges

_OFFSET = re.compile(r"([+-])(\d\d)(?::?(\d\d))?$")


class StatedOffsets(Struct):
    """What one file claims: ``apart`` counts its times by milliseconds, the job file's reading less the file's own.

    ``first`` is the first such time as it is written. ``changes`` is what its other times show of the zone's changes.
    """

    apart: Counter[int] = field(default_factory=Counter)
    first: str = ""
    changes: ClockChanges = field(default_factory=ClockChanges)

    def add(self, cells: pa.Array, apart: Integers, which: Flags) -> None:
        """Take the times of a batch ``which`` are claimed, (n,) ``apart``."""
        which = which & (apart != 0)
        if not which.any():
            return
        if not self.first:
            value = cells[int(np.argmax(which))].as_py()
            self.first = value if isinstance(value, str) else f"{seconds_text(value).replace(' ', 'T')}Z"
        values, counts = np.unique(apart[which], return_counts=True)
        self.apart.update(dict(zip(values.tolist(), counts.tolist(), strict=True)))

    def join(self, other: "StatedOffsets") -> None:
        """Take over what was found elsewhere."""
        self.apart.update(other.apart)
        self.first = self.first or other.first
        self.changes.join(other.changes)


def stated_zone(text: str) -> str:
    """Return the time_zone whose offset a time states: UTC, or +12:00."""
    minutes = _minutes(text[-6:])
    sign, (hours, rest) = "-" if minutes < 0 else "+", divmod(abs(minutes), 60)
    return f"{sign}{hours:02d}:{rest:02d}" if minutes else "UTC"


def stated_minutes(cells: pa.Array) -> Integers:
    """Return the minutes east of UTC that each ISO text ends with, 0 for Z and for null."""
    minutes = np.zeros(len(cells), np.int64)
    if pc.all(pc.ends_with(cells, "Z")).as_py() is not False:
        return minutes
    tails = pc.fill_null(pc.utf8_slice_codeunits(cells, -6), "").dictionary_encode()
    known = np.array([_minutes(tail) for tail in tails.dictionary.to_pylist()], np.int64)
    minutes[:] = known[tails.indices.to_numpy(zero_copy_only=False)]
    return minutes


def _minutes(tail: str) -> int:
    found = _OFFSET.search(tail)
    if found is None:
        return 0
    minutes = int(found[2]) * 60 + int(found[3] or 0)
    return -minutes if found[1] == "-" else minutes
