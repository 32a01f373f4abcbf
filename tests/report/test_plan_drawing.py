"""The plan against closed forms: places at one scale, a scale bar of a round length, points thinned alike always."""

import re

import numpy as np
import pytest
from numpy.testing import assert_allclose
from record_made import check, failing, mark, record

from pipeline.issue.report.drawing import Labels, round_step
from pipeline.issue.report.plan_drawing import LEFT, RIGHT, TOP, PlanFrame, plan
from pipeline.issue.report.thinning import HELD_KIND, KINDS, Thinned, Thinner
from pipeline.solve.proof import PROOFS


def spread(count: int, seed: int = 1, size: float = 1000.0) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    random = np.random.default_rng(seed)
    places = random.uniform(0, size, (count, 2)) + np.array([1_500_000.0, 5_200_000.0])
    kinds = random.integers(0, len(KINDS), count).astype(np.uint8)
    for values in (kinds, places):
        values.setflags(write=False)
    return kinds, places[:, 0], places[:, 1]


def thinned(most: int, *batches: tuple[np.ndarray, np.ndarray, np.ndarray]) -> Thinned:
    made = Thinner(most)
    for batch in batches:
        made.add(*batch)
    return made.thinned()


def test_the_kinds_are_the_proof_words_in_the_order_of_their_codes() -> None:
    assert list(KINDS) == [*map(str, PROOFS), "held back"]
    assert KINDS[HELD_KIND] == "held back"


def test_few_points_are_all_kept_in_their_order() -> None:
    kinds, east, north = spread(500)
    found = thinned(1000, (kinds, east, north))
    assert_allclose(found.easting, east, rtol=0, atol=0)
    assert_allclose(found.northing, north, rtol=0, atol=0)
    assert found.kind.tolist() == kinds.tolist() and found.total == 500


def test_many_points_are_thinned_to_a_bounded_number_that_covers_the_same_ground() -> None:
    kinds, east, north = spread(50_000)
    found = thinned(1000, (kinds, east, north))
    assert 250 <= len(found.kind) <= 1000 and found.total == 50_000
    assert np.ptp(found.easting) > 0.9 * np.ptp(east) and np.ptp(found.northing) > 0.9 * np.ptp(north)
    # one point at the most of a kind in a cell whose edge is a power of two
    cells = np.column_stack([found.kind, found.easting // found.cell, found.northing // found.cell])
    assert len(np.unique(cells, axis=0)) == len(cells)
    assert np.log2(found.cell) % 1 == 0


@pytest.mark.parametrize("size", [1, 7, 1000, 4096])
def test_what_is_kept_does_not_depend_on_the_batches(size: int) -> None:
    whole = spread(5000 if size > 1 else 800)
    pieces = [tuple(of[start : start + size] for of in whole) for start in range(0, len(whole[0]), size)]
    one, other = thinned(300, whole), thinned(300, *pieces)  # type: ignore[arg-type]
    assert (one.easting.tobytes(), one.northing.tobytes(), one.kind.tobytes(), one.cell) == (
        other.easting.tobytes(), other.northing.tobytes(), other.kind.tobytes(), other.cell
    )  # fmt: skip


def test_points_without_a_place_and_far_away_ones_do_no_harm() -> None:
    east = np.array([np.nan, 1e300, -1e300, 5.0, np.inf])
    found = thinned(3, (np.zeros(5, np.uint8), east, np.zeros(5)))
    assert found.total == 3 and 5.0 in found.easting


def test_places_are_drawn_at_one_scale_with_north_up() -> None:
    """Closed form: the middle of the job is the middle of the frame; a metre is as long east as north."""
    frame = PlanFrame.around(np.array([1000.0, 3000.0]), np.array([5000.0, 5500.0]))
    assert_allclose(frame.place(2000.0, 5250.0), ((LEFT + RIGHT) / 2, (TOP + frame.bottom) / 2), rtol=0, atol=0.06)
    x, y = frame.place(2000.0, 5250.0)
    assert_allclose(frame.place(2100.0, 5350.0), (x + 100 * frame.scale, y - 100 * frame.scale), rtol=0, atol=1e-9)
    # 2000 m and 6 % on either side fill the width
    assert_allclose(frame.scale, (RIGHT - LEFT) / (2000 * 1.12), rtol=0, atol=1e-9)


def test_the_scale_bar_is_as_long_as_it_says_and_round() -> None:
    for size in (12.0, 333.0, 4_711.0, 250_000.0):
        drawn = plan(record(checks=[], marks=[]), thinned(1000, spread(200, size=size)))
        assert drawn is not None
        metres, units = drawn.bar
        assert_allclose(units, metres * drawn.frame.scale, rtol=0, atol=0.005)
        assert (RIGHT - LEFT) / 12 < units < (RIGHT - LEFT) / 1.5
        assert f"{metres:.0e}"[0] in "125"


def test_the_grids_coordinates_stand_where_they_are() -> None:
    drawn = plan(record(checks=[], marks=[]), thinned(1000, spread(200)))
    assert drawn is not None and len(drawn.eastings) >= 2 and len(drawn.northings) >= 2
    for x, text in drawn.eastings:
        assert_allclose(x, drawn.frame.place(float(text), 0)[0], rtol=0, atol=0.051)
        assert LEFT <= x <= RIGHT
    for y, text in drawn.northings:
        assert_allclose(y, drawn.frame.place(0, float(text))[1], rtol=0, atol=0.051)


def test_points_are_drawn_in_their_places_by_kind() -> None:
    found = thinned(1000, (np.array([0, 2], np.uint8), np.array([100.0, 300.0]), np.array([50.0, 80.0])))
    drawn = plan(record(checks=[], marks=[]), found)
    assert drawn is not None and set(drawn.points) == {"bracketed", "suspect"}
    for kind, place in (("bracketed", (100.0, 50.0)), ("suspect", (300.0, 80.0))):
        (pair,) = re.findall(r"M([\d.]+) ([\d.]+)", drawn.points[kind])
        assert_allclose([float(one) for one in pair], drawn.frame.place(*place), rtol=0, atol=0.051)


def test_marks_are_labelled_and_failing_ones_say_so() -> None:
    made = record(
        marks=[mark("CM1", 1000.0, 5000.0), mark("TM1", 1100.0, 5050.0, status="adjusted")],
        checks=[failing("one", "CM2", 30), check("one", "CM3", 40, known_easting=1300.0)],
    )
    drawn = plan(made, Thinned.none())
    assert drawn is not None
    assert [one.text for one in drawn.labels] == ["CM2 (fails)", "CM1", "CM3", "TM1"]
    assert drawn.control and drawn.check and drawn.temporary and drawn.failed.count("M") == 1


def test_one_reading_far_from_all_others_does_not_shrink_the_plan() -> None:
    kinds, east, north = spread(300)
    found = thinned(1000, (kinds, east, north), (kinds[:1], east[:1] + 4e6, north[:1]))
    drawn = plan(record(checks=[], marks=[]), found)
    assert drawn is not None and drawn.beyond == 1 and drawn.shown == 300
    assert (RIGHT - LEFT) / drawn.frame.scale < 2000


def test_labels_never_lie_on_each_other() -> None:
    random = np.random.default_rng(3)
    labels = Labels((0, 0, 300, 300))
    places = random.uniform(0, 300, (80, 2))
    for number, (x, y) in enumerate(places.tolist()):
        labels.place(x, y, f"MARK-{number}")
    boxes = labels.taken
    assert len(boxes) + labels.left_out == 80 and labels.left_out > 0
    for one in range(len(boxes)):
        left, top, right, bottom = boxes[one]
        assert min(left, top) >= 0 and max(right, bottom) <= 300
        for other in boxes[:one]:
            assert right <= other[0] or left >= other[2] or bottom <= other[1] or top >= other[3]


@pytest.mark.parametrize(
    ("span", "parts", "step"), [(100, 5, 20), (7, 6, 2), (0.3, 4, 0.1), (1000, 10, 100), (99, 4, 50)]
)
def test_steps_are_round(span: float, parts: int, step: float) -> None:
    assert_allclose(round_step(span, parts), step, rtol=0, atol=1e-12)
