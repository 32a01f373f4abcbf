"""Occupations that end in another session than they began in: means over two bases are held, others are not."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pyarrow as pa

from pipeline.intake.sort import sieve
from pipeline.job.model import Quality, Session
from pipeline.sessions.windows import SessionWindow
from pipeline.tables import READING
from pipeline.words import Reason, reason_code

START = datetime(2026, 3, 2, 7, tzinfo=UTC)
HOUR = timedelta(hours=1)


def window(index: int, start: datetime, end: datetime) -> SessionWindow:
    times = (round(time.timestamp() * 1000) for time in (start, end))
    session = Session(name=f"s{index}", start=start, end=end)
    return SessionWindow(index, session, *times, None, ("job.toml", 1))


def test_ends_at_beyond_and_far_beyond_the_end_of_a_session() -> None:
    windows = (window(0, START, START + HOUR), window(1, START + HOUR, START + 2 * HOUR))
    spans = [  # minutes from the start at which an occupation begins and ends
        (10, 13),
        (57, 60),  # up to the last moment of its session
        (58, 61),
        (60, 63),
        (118, 120),
        (119, 122),  # beyond all sessions: told in words, see the notes of an export
        (-2, 1),
    ]
    columns = {name: pa.nulls(len(spans), READING.field(name).type) for name in READING.names}
    for place, name in enumerate(("time", "time_end")):
        times = [START + timedelta(minutes=span[place]) for span in spans]
        columns[name] = pa.array(times, READING.field(name).type)
    columns["held"] = pa.array(np.zeros(len(spans), np.uint8))
    batch = pa.RecordBatch.from_arrays(list(columns.values()), schema=READING)
    sifted = sieve(windows, Quality()).sift(batch, None, False)
    two, outside = reason_code(Reason.TWO_SESSIONS), reason_code(Reason.OUTSIDE_SESSIONS)
    assert sifted.held.tolist() == [0, 0, two, 0, 0, 0, outside]
    told = sieve(windows, Quality()).explain(batch, 2, Reason.TWO_SESSIONS)
    assert told is not None and "from session s0 into s1: a mean over both bases" in told
