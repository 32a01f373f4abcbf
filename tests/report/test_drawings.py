"""Timelines and diagrams of differences against closed forms, and lists and numbers as they are written."""

import re
from itertools import pairwise

import pytest
from numpy.testing import assert_allclose
from record_made import at, check, failing, session, tie

from pipeline.issue.report.differences import HEIGHTS, POSITION, differences, scaled
from pipeline.issue.report.number_format import clipped, count, metres, minute, moment, signed
from pipeline.issue.report.row_choice import choose
from pipeline.issue.report.timeline import CHECKS, LEFT, RIGHT, TIES, timeline


def places(data: str) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in re.findall(r"M([\d.]+) ([\d.]+)", data)]


def test_a_timeline_is_true_to_time() -> None:
    """A session of 480 minutes: what lies at minute m is drawn at m / 480 of the width."""
    checks = [tie("one", "CM1", 0), check("one", "CM2", 120), failing("one", "CM3", 480, passed=False)]
    drawn = timeline(session("one"), checks)
    assert_allclose(places(drawn.passed), [(LEFT, TIES), (LEFT + (RIGHT - LEFT) / 4, CHECKS)], rtol=0, atol=0.051)
    assert_allclose(places(drawn.failed), [(RIGHT - 4, CHECKS - 4)], rtol=0, atol=0.051)
    edges = [(one.x, one.x + one.width) for one in drawn.stretches]
    wanted = [LEFT + (RIGHT - LEFT) * part / 480 for part in (0, 30, 450, 480)]
    assert_allclose(edges, list(pairwise(wanted)), rtol=0, atol=0.11)
    assert [one.proof for one in drawn.stretches] == ["unclosed", "bracketed", "unclosed"]
    assert drawn.readings is not None
    assert_allclose(drawn.readings, [LEFT + (RIGHT - LEFT) * part / 480 for part in (60, 400)], rtol=0, atol=0.051)


def test_names_of_marks_side_by_side_have_a_blank_between_them() -> None:
    """Three checks within half an hour: by the widths of DejaVu Sans, a wide font, in thousandths of its size."""
    wide = {"C": 698, "M": 863, **dict.fromkeys("0123456789", 636)}
    beside = 0
    for apart in range(4, 30):
        checks = [check("one", f"CM{n}", 240 + n * apart) for n in range(4)]
        drawn = [one for one in timeline(session("one"), checks).labels if one.anchor == "middle"]
        half = [sum(wide[letter] for letter in one.text) / 1000 * 10 / 2 for one in drawn]
        ends = sorted((one.x - reach, one.x + reach) for one, reach in zip(drawn, half, strict=True))
        assert ends and all(after[0] - before[1] >= 318 / 1000 * 10 for before, after in pairwise(ends))
        beside += len(ends) > 1
    assert beside


def test_ticks_stand_at_round_hours_and_name_the_day_at_midnight() -> None:
    drawn = timeline(session("one"), [])
    assert [text for _, text in drawn.ticks] == [
        "20:00", "21:00", "22:00", "23:00", "03-02", "01:00", "02:00", "03:00", "04:00",
    ]  # fmt: skip
    assert_allclose([x for x, _ in drawn.ticks], [LEFT + (RIGHT - LEFT) * n / 8 for n in range(9)], rtol=0, atol=0.051)


@pytest.mark.parametrize("minutes", [0.01, 3, 480, 60 * 24 * 9, 60 * 24 * 400, 60 * 24 * 365 * 90])
def test_a_session_of_any_length_has_a_bounded_number_of_ticks(minutes: float) -> None:
    drawn = timeline(session("one", end=at(minutes), stretches=[], first_point=None, last_point=None), [])
    assert len(drawn.ticks) <= 41 and drawn.readings is None


def test_thousands_of_occupations_make_a_bounded_drawing_whose_failing_one_is_named() -> None:
    checks = [check("one", f"CM{n}", 480 * n / 20_000) for n in range(20_000)] + [failing("one", "BAD", 240)]
    drawn = timeline(session("one"), checks)
    assert len(drawn.passed) < 150_000 and len(drawn.labels) < 60
    assert [one.text for one in drawn.labels if one.failing] == ["BAD"]


def test_differences_are_drawn_to_scale_east_right_and_north_up() -> None:
    middle = ((POSITION[0] + POSITION[2]) / 2, (POSITION[1] + POSITION[3]) / 2)
    assert scaled(0.0, 0.0, 0.03, 56.0) == (*middle, False)
    assert_allclose(scaled(0.03, 0.015, 0.03, 56.0)[:2], (middle[0] + 56, middle[1] - 28), rtol=0, atol=1e-9)
    x, y, beyond = scaled(-3.0, 1.5, 0.03, 56.0)  # a hundred times the tolerance: at the edge, in its direction
    assert beyond
    assert_allclose((x, y), (POSITION[0], middle[1] - (POSITION[2] - POSITION[0]) / 4), rtol=0, atol=1e-9)


def test_failing_differences_are_crossed_and_named_with_their_metres() -> None:
    drawn = differences([check("one", "CM1", 1), failing("one", "CM3", 2), check("one", "TM1", 3, passed=None)], {})
    assert drawn is not None and drawn.position is not None and drawn.heights is not None
    assert [one.text for one in drawn.position.labels] == ["CM3 0.181"]
    assert drawn.position.beyond == 1 and not drawn.heights.failed
    assert len(places(drawn.heights.checks)) == 2
    # 0.01 of 0.05 in height: a fifth of the tolerance above the middle
    middle = (HEIGHTS[1] + HEIGHTS[3]) / 2
    assert_allclose([y for _, y in places(drawn.heights.checks)], middle - drawn.heights.reach / 5, rtol=0, atol=0.051)


def test_what_a_mark_does_not_hold_is_not_drawn() -> None:
    drawn = differences([failing("one", "H1", 1), check("one", "P1", 2)], {"H1": "height", "P1": "position"})
    assert drawn is not None and drawn.position is not None and drawn.heights is not None
    assert (drawn.position.failed, len(places(drawn.position.checks))) == ("", 1)
    assert (drawn.heights.failed, len(places(drawn.heights.checks))) == ("", 1)
    assert differences([check("one", "H1", 1, d_height=None)], {"H1": "height"}) is None


def test_without_a_judged_occupation_there_is_no_diagram() -> None:
    assert differences([check("one", "TM1", 3, passed=None)], {}) is None


def test_a_short_list_keeps_its_order_and_a_long_one_puts_urgent_rows_first() -> None:
    assert choose([3, 0, 5], lambda row: row).first == [3, 0, 5]
    rows = [0] * 50 + [1, 2] + [0] * 50
    long = choose(rows, lambda row: row, short=30, first=60, most=80)
    assert (list(long.first), len(long.rest), long.left_out, long.total) == ([2, 1], 78, 22, 102)
    calm = choose([0] * 100, lambda row: row, short=30)
    assert (len(calm.first), len(calm.rest), calm.left_out) == (10, 90, 0)


def test_numbers_and_times_are_written_alike_everywhere() -> None:
    assert [metres(1234.5678), metres(None), metres(-0.0001)] == ["1234.568", "-", "0.000"]
    assert [signed(0.0004), signed(-0.0015), signed(2.0)] == ["0.000", "-0.002", "+2.000"]
    assert count(1_234_567) == "1\u202f234\u202f567"
    assert moment("2026-03-01T19:00:00.000Z") == "2026-03-01 19:00:00"
    assert moment("2026-03-02T08:00:00.250+13:00") == "2026-03-01 19:00:00.250"
    assert [minute("2026-03-01T19:00:00.000Z"), minute("2026-03-01T19:00:07.000Z")] == [
        "2026-03-01 19:00", "2026-03-01 19:00:07",
    ]  # fmt: skip
    assert clipped("x" * 2000) == "x" * 1500 + " ... (500 more characters in issue.json)"
