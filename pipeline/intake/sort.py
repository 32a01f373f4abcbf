"""A batch of readings sorted by what can be said before any shift is known: its session, or why it is held back."""

from collections.abc import Sequence
from datetime import date

import numpy as np
import pyarrow as pa
from msgspec import Struct
from numpy.typing import NDArray

from pipeline.arrays import Flags
from pipeline.clock import moment, stamp
from pipeline.intake import accept
from pipeline.job.model import Quality
from pipeline.near import and_more
from pipeline.sessions.attach import TWO, SessionIndex, base_key, index_sessions, spelled_alike
from pipeline.sessions.windows import SessionWindow
from pipeline.tables import milliseconds
from pipeline.words import REASONS, Reason, plural, reason_code

#: Sessions that a sentence lists.
_LISTED = 4
#: Where computers, and where GPS time, begin to count; with the hours of a time zone the days beside them too.
_UNSET = {date(1969, 12, 31), date(1970, 1, 1), date(1980, 1, 5), date(1980, 1, 6), date(1980, 1, 7)}


class Sifted(Struct, frozen=True):
    """Per reading of a batch: (n,) session, negative where none, and (n,) ``held`` code, 0 where nothing is wrong."""

    session: NDArray[np.int32]
    held: NDArray[np.uint8]


class Sieve(Struct, frozen=True):
    """Sorts batches; made once per job with `sieve`."""

    windows: tuple[SessionWindow, ...]
    index: SessionIndex
    quality: Quality

    def sift(self, batch: pa.RecordBatch, duplicates: Flags | None, with_solution: bool) -> Sifted:
        """Sort one batch.

        Args:
            batch: readings.
            duplicates: (n,) which readings repeat an earlier one; None where that is not known yet.
            with_solution: whether the export has a solution column; where it has none, nothing is said of it.
        """
        held = np.asarray(batch.column("held").to_numpy(zero_copy_only=False)).copy()

        def hold(which: Flags, reason: Reason) -> None:
            held[which & (held == 0)] = reason_code(reason)

        session = self.index.attach(milliseconds(batch), batch.column("base"))
        session[np.asarray(batch.column("time").is_null().to_numpy(zero_copy_only=False))] = -1
        if duplicates is not None:
            hold(duplicates, Reason.DUPLICATE)
        hold((session == TWO) | self._straddling(batch, session), Reason.TWO_SESSIONS)
        hold(session < 0, Reason.OUTSIDE_SESSIONS)
        if with_solution:
            hold(accept.not_fixed(batch, self.quality), Reason.NOT_FIXED)
        hold(accept.poor(batch, self.quality), Reason.POOR_QUALITY)
        hold(accept.absurd(batch), Reason.IMPLAUSIBLE)
        return Sifted(session, held)

    def _straddling(self, batch: pa.RecordBatch, session: NDArray[np.int32]) -> Flags:
        """Return (n,) which readings end in another session than they began in: means over two bases."""
        ended = np.asarray(batch.column("time_end").is_valid().to_numpy(zero_copy_only=False)) & (session >= 0)
        if not ended.any():
            return ended
        end = np.asarray(batch.column("time_end").cast(pa.int64()).fill_null(0)).astype(np.int64)
        within = self.index.attach(end - 1, batch.column("base"))  # what ends with its session is wholly in it
        return np.asarray(ended & (end > milliseconds(batch)) & (within >= 0) & (within != session))

    def explain(self, batch: pa.RecordBatch, row: int, reason: Reason) -> str | None:
        """Return in words why `sift` held one row of a batch; None where the reader has said it."""
        if reason in (Reason.NOT_FIXED, Reason.POOR_QUALITY):
            return accept.why(batch, row, self.quality, reason)
        if reason is Reason.IMPLAUSIBLE and accept.absurd(batch.slice(row, 1))[0]:
            return accept.why(batch, row, self.quality, reason)
        if reason not in (Reason.OUTSIDE_SESSIONS, Reason.TWO_SESSIONS):
            return None
        time = int(batch.column("time").cast(pa.int64())[row].as_py())
        base = (batch.column("base")[row].as_py() or "").strip()
        covering = [window for window in self.windows if window.start_ms <= time < window.end_ms]
        if reason is Reason.TWO_SESSIONS:
            one = batch.slice(row, 1)
            began = self.index.attach(milliseconds(one), one.column("base"))
            if began[0] >= 0:
                return self._both(one, int(began[0]))
            return f"observed {stamp(time)} UTC with no base id, in the time of {with_bases(covering)}"
        if covering and base_key(base):
            return (
                f"observed {stamp(time)} UTC with base id {base}, in the time of {with_bases(covering)};"
                f" {right_id(base, covering, self.windows)}"
            )
        if moment(time).date() in _UNSET:
            return f"observed {stamp(time)} UTC: the receiver clock had not been set by satellites yet"
        return f"observed {stamp(time)} UTC; " + self._nearest(time)

    def why_held(self, batch: pa.RecordBatch, row: int, code: int) -> str | None:
        """Return in words why one row of a batch, `sift` held it as ``code``, cannot be used; None where it can."""
        if not code:
            return None
        return self.explain(batch, row, REASONS[code - 1]) or batch.column("detail")[row].as_py()

    def _both(self, one: pa.RecordBatch, began: int) -> str:
        """Say of one reading in which sessions it begins and ends."""
        start, end = (one.column(name).cast(pa.int64()) for name in ("time", "time_end"))
        ended = int(self.index.attach(np.asarray(end, np.int64) - 1, one.column("base"))[0])
        first, then = (self.windows[number].session.name for number in (began, ended))
        return (
            f"observed {stamp(start[0].as_py())} to {stamp(end[0].as_py())} UTC, from session {first} into {then}:"
            " a mean over both bases"
        )

    def _nearest(self, time: int) -> str:
        """Say which session's start or end lies nearest to a time."""
        ends = [(abs(time - w.start_ms), f"session {w.session.name} starts {stamp(w.start_ms)}") for w in self.windows]
        ends += [(abs(time - w.end_ms), f"session {w.session.name} ends {stamp(w.end_ms)}") for w in self.windows]
        return min(ends)[1] if ends else "the job has no session"


def with_bases(windows: Sequence[SessionWindow]) -> str:
    """Return sessions by name, each with the base id that it has; of many, the first few."""
    named = [f"{window.session.name} (base {window.base or 'not stated'})" for window in windows[:_LISTED]]
    more = and_more(len(windows) - _LISTED)
    return f"{plural(len(windows), 'session')} {', '.join(named)}{more}"


def right_id(base: str, covering: Sequence[SessionWindow], windows: Sequence[SessionWindow]) -> str:
    """Say what to write where readings have a base id that no session of their time, ``covering``, has."""
    alike = [window for window in covering if spelled_alike(base, window.base)]
    if alike:
        return f'the two ids differ in spelling only: write base = "{base}" in session {alike[0].session.name}'
    others = [window.session.name for window in windows if base_key(window.base) == base_key(base)]
    where = "in the session that it is the base of" if len(covering) > 1 else f"in session {covering[0].session.name}"
    whose = f"{base} is the base of session {others[0]}; " if others else ""
    return f'{whose}write base = "{base}" {where} if that base was used, else correct the base id in the export'


def sieve(windows: tuple[SessionWindow, ...], quality: Quality) -> Sieve:
    """Arrange a job's sessions and limits for sorting batches."""
    index = index_sessions(
        [window.start_ms for window in windows],
        [window.end_ms for window in windows],
        [window.base for window in windows],
    )
    return Sieve(windows, index, quality)
