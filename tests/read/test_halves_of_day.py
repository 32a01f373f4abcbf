"""Morning and afternoon in a column of their own: refused where the clock is of 12 hours, left alone where it is of 24.

A 12-hour clock counts 12, 1, 2 ... 11 in each half; both clocks write the hours from 1 to 11 of the morning, and noon.
"""

import pytest
from exports_made import COLUMNS, GOOD, HEADER, block, find

from pipeline.problems import JobError
from pipeline.read.exports import read_batches

TIME = "2026-03-02T07:30:00Z"


def refusals(folder, rows, columns=COLUMNS, heading="AM/PM", **keys):
    """Return what is said of an export with rows of time and half, by the look at it and while it is read."""
    lines = [f"{GOOD.replace(TIME, time)},{half}" for time, half in rows]
    (folder / "a.csv").write_text("\n".join([f"{HEADER},{heading}", *lines, ""]), encoding="utf-8")
    exports, problems = find(folder, block("a.csv", columns, **keys))
    try:
        for export in exports:
            list(read_batches(export))
    except JobError as error:
        problems += map(str, error.problems)
    return problems


@pytest.mark.parametrize(
    "rows",
    [
        [("2026-03-02T11:30:00Z", "AM"), ("2026-03-02T12:30:00Z", "PM"), ("2026-03-02T01:30:00Z", "PM")],
        [("2026-03-02 10:30:00", "a.m."), ("2026-03-02 02:30:00", "p. m.")],
        [("2026-03-02T12:10:00+13:00", "a.m.")],
        [("2026-03-02T03:30:00", "nachm.")],
        [("2026-03-02T03:30:00", "\u00b5.\u00b5.")], [("2026-03-02T03:30:00", "\u03bc.\u03bc.")],
        [("2026-03-02T03:30:00", "\u5348\u5f8c")], [("2026-03-02T03:30:00", "\uc624\ud6c4")],
    ],
)  # fmt: skip
def test_a_12_hour_clock_with_its_half_in_another_column_is_refused(tmp_path, rows):
    (problem,) = refusals(tmp_path, rows)
    assert "12-hour clock" in problem and 'the column "AM/PM"' in problem
    assert problem.startswith(f"a.csv:{len(rows) + 1}: ")  # the last row of each tells


@pytest.mark.parametrize(
    "rows",
    [
        [("2026-03-02T11:30:00Z", "AM"), ("2026-03-02T12:30:00Z", "PM"), ("2026-03-02T13:30:00Z", "PM")],
        [("2026-03-02T00:30:00Z", "AM"), ("2026-03-02T07:30:00Z", "AM")],
        [("2026-03-02T12:30:00Z", "PM"), ("2026-03-02T12:40:00Z", "PM")],
        # halves of another clock than the times are on
        [("2026-03-01T22:30:00Z", "AM"), ("2026-03-02T01:30:00Z", "PM"), ("2026-03-02T02:30:00Z", "PM")],
        # words that mean something else
        [("2026-03-02T03:30:00Z", "PM"), ("2026-03-02T04:30:00Z", "pole mount")],
        [("2026-03-02T03:30:00Z", "P"), ("2026-03-02T04:30:00Z", "A")],
        [("2026-03-02T03:30:00Z", ""), ("2026-03-02T04:30:00Z", "")],
        # permanent marks among points, and a country
        [("2026-03-02T07:05:00Z", "PM"), *[("2026-03-02T08:30:00Z", "")] * 3],
        [("2026-03-02T07:05:00Z", "DE"), ("2026-03-02T12:30:00Z", "DE")],
    ],
)
def test_what_a_24_hour_clock_may_have_beside_it_is_let_be(tmp_path, rows):
    assert refusals(tmp_path, rows) == []


def test_a_column_that_is_mapped_or_a_format_that_reads_the_half_is_let_be(tmp_path):
    row = [("2026-03-02T03:30:00Z", "PM")]
    assert refusals(tmp_path, row, COLUMNS | {"base": "AM/PM"}) == []
    both = [("3/2/2026 3:30:00 PM", "PM")]
    assert refusals(tmp_path, both, time_format="%m/%d/%Y %I:%M:%S %p") == []


def test_it_is_seen_in_a_format_and_where_date_and_time_are_apart(tmp_path):
    (problem,) = refusals(tmp_path, [("02.03.2026 03:30", "PM")], time_format="%d.%m.%Y %H:%M")
    assert "02.03.2026 03:30" in problem
    columns = COLUMNS | {"date": "Observed", "time": "Clock"}
    (problem,) = refusals(tmp_path, [("2026-03-02", "03:30:00,PM")], columns, "Clock,Half")
    assert '"Half"' in problem and "2026-03-02 03:30:00" in problem


def test_an_afternoon_that_comes_after_what_is_looked_at_first_is_seen(tmp_path):
    rows = [(f"2026-03-02T09:{at // 60 % 60:02d}:{at % 60:02d}Z", "AM") for at in range(6000)]
    (problem,) = refusals(tmp_path, [*rows, ("2026-03-02T01:30:00Z", "PM")])
    assert problem.startswith("a.csv:6002: ")
