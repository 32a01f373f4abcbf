"""Stretches of a session in which another position of an export's rows is off by one vector from the mapped one."""

from collections.abc import Iterator, Sequence

import numpy as np
from msgspec import Struct

from pipeline.intake.ledger import ReadingRows
from pipeline.read.exports import Export
from pipeline.read.positions_beside import PositionsBeside


class StretchBeside(Struct, frozen=True):
    """Rows of one session of an ``export``, from ``first`` to ``last`` in the file, and what they are off by.

    ``beside`` are the other positions, ``count`` how many rows it are, ``share`` their part of those of the session
    that were compared, ``apart`` metres.
    """

    export: int
    beside: PositionsBeside
    session: int
    first: int
    last: int
    count: int
    share: float
    apart: float


def stretches_beside(rows: ReadingRows, exports: Sequence[Export]) -> tuple[StretchBeside, ...]:
    """Return the stretches that begin and end within one session.

    What is otherwise from a session's start on, or to its end, is a calibration or a field shift of that time.
    """
    return tuple(
        found
        for number, export in enumerate(exports)
        for beside in export.beside
        if beside.how.stretches
        for found in _of_sessions(rows, number, beside)
    )


def _of_sessions(rows: ReadingRows, export: int, beside: PositionsBeside) -> Iterator[StretchBeside]:
    numbers = rows.starts[export] + np.arange(min(len(beside.rows), int(rows.counts()[export])))
    source = beside.rows[beside.how.known]
    in_file = rows.source_row(numbers)
    places = np.minimum(np.searchsorted(in_file, source), len(in_file) - 1)
    if not (in_file[places] == source).all():
        return
    session = rows.session[numbers[places]]
    for one in beside.how.stretches:
        around = session[one.start - 1 : one.stop + 1]
        if (around == around[0]).all() and around[0] >= 0:
            count, own = one.stop - one.start, int(np.count_nonzero(session == around[0]))
            first, last = source[[one.start, one.stop - 1]].tolist()
            yield StretchBeside(export, beside, int(around[0]), first, last, count, count / own, one.apart)
