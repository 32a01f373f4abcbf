"""Collects suspect readings during the second pass: the first ones by name, the others counted."""

import numpy as np
import pyarrow as pa

from pipeline.arrays import Integers
from pipeline.clock import iso, moment
from pipeline.draft.second_pass import Drafted
from pipeline.issue.record_types import SuspectPoint, Suspects
from pipeline.sessions.windows import SessionWindow
from pipeline.solve.proof import PROOFS
from pipeline.tables import milliseconds
from pipeline.words import Proof, Reason, reason_code

#: So many stand in the record, and so in the report; the layers have all of them.
MOST = 500


class SuspectRows:
    """Takes in every batch of the second pass."""

    def __init__(self, windows: tuple[SessionWindow, ...]) -> None:
        self._names = [window.session.name for window in windows]
        self._total, self._points = 0, list[SuspectPoint]()

    def add(self, drafted: Drafted) -> None:
        """Take in a batch."""
        issued = drafted.points & (drafted.proof == PROOFS.index(Proof.SUSPECT))
        which = np.flatnonzero(issued | (drafted.held == reason_code(Reason.SUSPECT)))
        self._total += len(which)
        if len(shown := which[: MOST - len(self._points)]):
            self._points += self._rows(drafted, shown)

    def record(self) -> Suspects:
        """Return what the record says of them."""
        return {"total": self._total, "points": self._points}

    def _rows(self, drafted: Drafted, which: Integers) -> list[SuspectPoint]:
        rows = drafted.batch.take(pa.array(which))
        named, times = rows.select(["name", "code", "time"]).to_pylist(), milliseconds(rows).tolist()
        place = np.column_stack([getattr(drafted.corrected, axis)[which] for axis in ("easting", "northing", "height")])
        return [
            {
                "name": row["name"],
                "code": row["code"],
                "session": self._names[session] if session >= 0 else None,
                "observed": None if row["time"] is None else iso(moment(time)),
                "easting": at[0],
                "northing": at[1],
                "height": at[2],
                "held_back": bool(held),
            }
            for row, time, session, at, held in zip(
                named, times, drafted.session[which].tolist(), place.tolist(), drafted.held[which], strict=True
            )
        ]
