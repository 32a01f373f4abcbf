"""Which grids and frames are offered first where nothing but the place tells them: as surveyors issue in them."""

from pathlib import Path

import numpy as np
import pytest
from every import every
from pyproj import CRS, Transformer

from pipeline.geodesy.registry import frames_at, grids_at
from pipeline.new_job.common_shift import Agreement
from pipeline.new_job.file_found import FileFound
from pipeline.new_job.file_positions import RegisterRead
from pipeline.new_job.frames import GridState, grid_question
from pipeline.new_job.grid_choice import choose_grid
from pipeline.new_job.grid_fits import FilePositions, Fit
from pipeline.new_job.look import FileLook
from pipeline.new_job.mapped import Mapped
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
        ((77.60, 12.97), {32643}),
        ((-77.00, -12.05), {5387, 32718}),
        ((-97.00, 32.80), {6584, 2276}),
        ((-97.40, 27.80), {6586}),
        ((16.37, 48.20), {31256, 31287}),
        ((9.50, 55.50), {4093, 25832}),
        ((36.80, -1.30), {32737, 21037}),
        ((55.30, 25.20), {3997, 32640}),
        ((106.80, -6.20), {9488, 32748}),
        ((-46.60, -23.50), {31983}),
    ],
)
def test_what_a_country_works_in_is_among_the_first(place: tuple[float, float], usual: set[int]) -> None:
    first = [one.code for one in plain_first(grids_at(*place), place)[:6]]
    assert {f"EPSG:{code}" for code in usual} <= set(first)
    assert not any(code == "EPSG:5683" for code in first)  # a railway's


#: What a country's control is published in comes before what else has the same numbers but for some metres.
@pytest.mark.parametrize(
    ("code", "place", "others"),
    [
        (25832, (9.50, 51.30), {10732, 32632}),
        (25832, (9.50, 55.50), {32632}),
        (3301, (24.75, 59.43), {3300}),
        (31983, (-46.60, -23.50), {29193, 32723}),
        (6677, (139.70, 35.70), {2451, 30169}),
        (7856, (151.20, -33.80), {28356, 20256}),
    ],
)
def test_of_the_grids_that_fit_the_usual_one_is_first(code: int, place: tuple[float, float], others: set[int]) -> None:
    found = _fitting(code, place, f"EPSG:{code}")
    assert found[0] == code and others <= set(found)


@pytest.mark.parametrize(("code", "other", "place"), [(31287, 3416, (14.3, 48.3)), (21037, 32737, (36.80, -1.30))])
def test_a_step_tells_grids_of_older_datums_from_those_of_gnss(
    code: int, other: int, place: tuple[float, float]
) -> None:
    """Marks of an older datum lie some hundred metres beside degrees of WGS 84, those of a datum like it do not."""
    assert _fitting(code, place, "EPSG:4326")[0] == code
    assert _fitting(other, place, "EPSG:4326")[0] == other


@pytest.mark.parametrize(("code", "place"), [(2100, (23.7, 38.0)), (2039, (34.8, 32.1))])
def test_an_older_datum_on_the_ellipsoid_of_gnss_explains_its_step(code: int, place: tuple[float, float]) -> None:
    """GGRS87 and Israel 1993 are on GRS80, 324 m and 78 m beside WGS 84 by the registry's own transformations."""
    found = _grid(code, place, "EPSG:4326")
    assert f"EPSG:{code}" in found.codes
    assert "older datum" not in str(found.state)  # no other grid is asked for


@pytest.mark.parametrize(("code", "place"), [(27572, (2.35, 48.85)), (27393, (10.7, 59.9))])
def test_a_register_in_a_grid_from_another_meridian_is_offered_as_one_from_greenwich(
    code: int, place: tuple[float, float]
) -> None:
    """Of the zones of NTF (Paris) and of NGO 1948 (Oslo) that overlap at a place, the marks agree in one alone."""
    found = _grid(code, place, "EPSG:4326")
    assert f"(EPSG:{code}), counted from Greenwich" in str(found.state)
    assert all(each.startswith("+proj=") and " on EPSG:" in each for each in every(found.codes))


def _fitting(code: int, place: tuple[float, float], degrees: str) -> list[int]:
    """Return the grids that are offered for marks as those of `_grid`."""
    return [int(each.removeprefix("EPSG:")) for each in _grid(code, place, degrees).codes]


def _grid(code: int, place: tuple[float, float], degrees: str) -> GridState:
    """Return what grid is chosen for marks in a grid and readings on them in degrees of its datum or of another.

    The change of datum is pyproj's own.
    """
    first = np.array([0.0, 0.004, 0.002, -0.003]) + place[0]
    second = np.array([0.0, 0.001, 0.003, 0.002]) + place[1]
    source = CRS(f"EPSG:{code}").geodetic_crs if degrees == f"EPSG:{code}" else CRS(degrees)
    assert source is not None
    east, north = Transformer.from_crs(source.to_2d(), f"EPSG:{code}", always_xy=True).transform(first, second)
    look = FileLook(Path("control.csv"), "control.csv", {})
    marks = FilePositions("plane", np.asarray(east), np.asarray(north))
    register = RegisterRead(FileFound(look, Mapped(kind="plane")), list("abcd"), marks, np.zeros(4))
    some = np.arange(4), np.full(4, -1)
    return choose_grid([FilePositions("degrees", first, second)], register, some, place)[0]


def test_frames_of_the_region_are_offered_and_the_two_that_all_know() -> None:
    found = [one.code for one in frames_offered(frames_at(9.44, 51.30), [])]
    assert found[0] == "EPSG:4937" and found[-1] == "EPSG:4979"
    assert 2 < len(found) <= 6
    assert "EPSG:7042" not in found  # one with its axes the other way


@pytest.mark.parametrize(("count", "told"), [(8, ""), (9, "1 more grid fits"), (12, "4 more grids fit")])
def test_a_list_that_is_cut_says_how_many_more_there_are(count: int, told: str) -> None:
    agreed = Agreement(np.arange(2), np.arange(2), np.zeros(2), 2, 0.0)
    fits = [Fit(grid, agreed, False) for grid in grids_at(-64.0, 45.9)[:count]]
    asked = grid_question((-64.0, 45.9), fits, None)
    assert len(asked.candidates) == 8
    assert told in asked.asks and ("more grid" in asked.asks) == bool(told)


def test_so_does_a_list_of_those_in_use_at_a_place() -> None:
    asked = grid_question((-64.0, 45.9), [], None)
    assert f"{len(grids_at(-64.0, 45.9)) - 8} more grids are in use there" in asked.asks
