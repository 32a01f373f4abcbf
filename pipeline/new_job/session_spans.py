"""The sessions of a table as spans of time, by which the clock of an export may be told."""

from collections.abc import Sequence

import numpy as np
import pyarrow as pa
from msgspec import Struct

from pipeline.clock import MINUTE
from pipeline.read.times import clock

#: The share of times that has to lie in the sessions of a table for the table to tell the clock.
INSIDE = 0.95


class Spans(Struct, frozen=True):
    """The sessions of a table, from and to (n,) UTC milliseconds, and the offsets from UTC that its times write."""

    file: str
    since: list[int]
    until: list[int]
    offsets: tuple[str, ...]

    def share(self, times: Sequence[str], time_format: str | None, zone: str) -> float:
        """Return the share of the texts that lie in a session when read so."""
        fields = clock(None, time_format).pattern.read(pa.array(times, pa.string()))
        if not fields.real.any():
            return 0.0
        kind = clock(zone, None).kind
        assert isinstance(kind, int)
        utc = fields.milliseconds[fields.real] - np.where(fields.zoned[fields.real], 0, kind * MINUTE)
        inside = np.zeros(len(utc), bool)
        for since, until in zip(self.since, self.until, strict=True):
            inside |= (utc >= since) & (utc < until)
        return float(inside.mean())
