"""How a reading stood in an issue, from the rows of a layer."""

from datetime import UTC, datetime

import pyarrow as pa

from pipeline.reissue.as_exported import COLUMNS, Stood, stood_in
from pipeline.tables import TIME


def test_a_row_without_a_time_says_nothing_of_a_reading() -> None:
    when = datetime(2025, 5, 5, 8, 0, tzinfo=UTC)
    rows = {
        "name": ["CK1", "CK1", None],
        "observed": pa.array([when, None, when], TIME),
        "session": ["am", "am", "pm"],
        "easting": [1.0, 2.0, 3.0],
        "northing": [4.0, 5.0, None],
        "height": [7.0, 8.0, 9.0],
    }
    time = int(when.timestamp() * 1000)
    assert tuple(rows) == COLUMNS
    assert list(stood_in(pa.table(rows))) == [
        ("CK1", time, Stood("am", 1.0, 4.0, 7.0)),
        ("", time, Stood("pm", 3.0, None, 9.0)),
    ]
