"""Which grids and frames are offered first where nothing but the place tells them: as surveyors issue in them."""

import pytest

from pipeline.geodesy.registry import frames_at, grids_at, leads_to
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
    ],
)
def test_what_a_country_works_in_is_among_the_first(place: tuple[float, float], usual: set[int]) -> None:
    first = [one.code for one in plain_first(grids_at(*place), place)[:6]]
    assert {f"EPSG:{code}" for code in usual} <= set(first)
    assert not any(code == "EPSG:5683" for code in first)  # a railway's


@pytest.mark.parametrize("grid", ["EPSG:25832", "EPSG:10732"])
def test_frames_that_are_offered_lead_to_the_grid(grid: str) -> None:
    place = (9.44, 51.30)
    found = [one.code for one in frames_offered(frames_at(*place), [], grid, place)]
    assert found[0] == "EPSG:4937" and found[-1] == "EPSG:4979"
    assert all(leads_to(code, grid, *place) for code in found[:-1])
    assert "EPSG:7042" not in found  # one with its axes the other way


def test_no_frame_is_offered_from_which_nothing_leads_to_the_grid() -> None:
    place = (9.44, 51.30)
    assert not leads_to("EPSG:5830", "EPSG:10732", *place)
    assert "EPSG:5830" not in [one.code for one in frames_offered(frames_at(*place), [], "EPSG:10732", place)]
