"""Which grids and frames are offered first where nothing but the place tells them: as surveyors issue in them."""

import pytest

from pipeline.geodesy.registry import frames_at, grids_at
from pipeline.new_job.plain_grids import frames_offered, plain_first


#: What cadastre and engineering of each country are issued in: common practice, by its mapping agency.
@pytest.mark.parametrize(
    ("place", "usual"),
    [
        ((9.44, 51.30), {25832}),
        ((11.50, 48.10), {25832}),
        ((10.30, 60.40), {25832, 5110}),
        ((-0.10, 51.50), {27700}),
        ((25.00, 60.50), {3879, 3067}),
        ((-8.00, 53.00), {2157}),
        ((151.20, -33.80), {7856, 28356}),
        ((174.70, -41.20), {2193}),
        ((18.00, 59.30), {3006, 3011}),
        ((21.00, 52.20), {2178, 2180}),
        ((-8.60, 41.10), {3763}),
        ((25.60, 58.60), {3301}),
        ((12.50, 41.90), {7792}),
        ((2.35, 48.85), {2154, 3949}),
        ((14.40, 50.10), {5514}),
        ((17.10, 48.15), {5514, 8353}),
        ((8.50, 47.40), {2056}),
        ((5.10, 52.10), {28992}),
        ((4.40, 50.85), {3812, 31370}),
        ((26.10, 44.40), {3844}),
        ((19.00, 47.50), {23700}),
        ((-21.90, 64.10), {3057, 8088}),
        ((139.70, 35.70), {6677}),
        ((28.00, -26.20), {2052, 2053}),
        ((-70.66, -33.45), {5361}),
        ((-99.10, 19.40), {6369}),
        ((-78.60, 35.80), {6543, 2264}),
    ],
)
def test_what_a_country_works_in_is_among_the_first(place: tuple[float, float], usual: set[int]) -> None:
    first = [one.code for one in plain_first(grids_at(*place), place)[:6]]
    assert {f"EPSG:{code}" for code in usual} <= set(first)
    assert not any(code == "EPSG:5683" for code in first)  # a railway's


def test_frames_of_the_region_are_offered_and_the_two_that_all_know() -> None:
    found = [one.code for one in frames_offered(frames_at(9.44, 51.30), [])]
    assert found[0] == "EPSG:4937" and found[-1] == "EPSG:4979"
    assert 2 < len(found) <= 6
    assert "EPSG:7042" not in found  # one with its axes the other way
