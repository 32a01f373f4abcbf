"""A register looked at by its numbers alone: hand-made places and heights."""

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from pipeline.examine.register_looks import (
    Misplaced,
    close_pairs,
    distance_from,
    misplaced,
    odd_heights,
)


def fixed(values: object) -> np.ndarray:
    array = np.array(values)
    array.setflags(write=False)
    return array


def beside(longitude: float, latitude: float, azimuth: float, metres: float) -> tuple[float, float]:
    """A place so far away on the ellipsoid, by GeographicLib."""
    there = Geodesic.WGS84.Direct(latitude, longitude, azimuth, metres)
    return there["lon2"], there["lat2"]


def test_pairs_within_half_a_metre_whatever_the_direction() -> None:
    at = (171.85, -43.7)
    places = fixed([at, beside(*at, 90, 0.30), beside(*at, 0, 0.45), beside(*at, 200, 0.60), (np.nan, np.nan)])
    found = [(pair.one, pair.other) for pair in close_pairs(places, 0.5)]
    assert found == [(0, 1), (0, 2)]
    assert [pair.distance for pair in close_pairs(places, 0.5)] == pytest.approx([0.30, 0.45], rel=0.006)


def test_the_same_place_twice_and_a_pair_across_the_180th_meridian() -> None:
    places = fixed([(179.999999, -16.0), (12.0, 50.0), (-179.999999, -16.0), (12.0, 50.0)])
    pairs = close_pairs(places, 0.5)
    assert [(pair.one, pair.other) for pair in pairs] == [(0, 2), (1, 3)]
    assert pairs[1].distance == 0.0
    expected = Geodesic.WGS84.Inverse(-16, 179.999999, -16, -179.999999)["s12"]
    assert pairs[0].distance == pytest.approx(expected, rel=0.006)


@pytest.mark.parametrize("count", [0, 1])
def test_too_few_marks_make_no_pair(count: int) -> None:
    assert close_pairs(np.zeros((count, 2)), 0.5) == []


def test_every_pair_of_many_is_found_and_no_other() -> None:
    rng = np.random.default_rng(5)
    places = fixed(np.array([10.0, 47.0]) + rng.uniform(-20e-6, 20e-6, (300, 2)))
    flat = (places - places[0]) * np.radians(6_371_000.0) * [np.cos(np.radians(47.0)), 1.0]
    apart = np.linalg.norm(flat[:, None] - flat, axis=2)
    expected = {(one, other) for one, other in np.argwhere(np.triu(apart <= 0.5, 1)).tolist()}
    assert {(pair.one, pair.other) for pair in close_pairs(places, 0.5)} == expected


def test_distance_from_an_area() -> None:
    area = (171.0, -44.0, 172.0, -43.0)
    places = fixed([(171.5, -43.5), (171.5, -42.0), (173.0, -43.5), (np.nan, np.nan)])
    inside, north, east, nowhere = distance_from(area, places)
    assert inside == 0.0
    assert north == pytest.approx(Geodesic.WGS84.Inverse(-43, 171.5, -42, 171.5)["s12"], rel=0.006)
    assert east == pytest.approx(Geodesic.WGS84.Inverse(-43.5, 172, -43.5, 173)["s12"], rel=0.006)
    assert np.isnan(nowhere)


def test_an_area_across_the_180th_meridian() -> None:
    places = fixed([(179.9, 0.0), (-179.9, 0.0), (-178.0, 0.0), (178.0, 0.0)])
    distance = distance_from((179.5, -1.0, -179.5, 1.0), places)
    assert distance[:2].tolist() == [0.0, 0.0]
    assert distance[2:] == pytest.approx(1.5 * 111_320, rel=0.006)


@pytest.mark.parametrize("area", [(-180.0, -90.0, 180.0, -60.0), (-180.0, -80.0, 180.0, 84.0)])
def test_an_area_that_goes_all_the_way_round(area: tuple[float, float, float, float]) -> None:
    """Areas of use of EPSG:3031 and EPSG:3395, as the registry has them."""
    places = fixed([(13.0, -77.8), (-62.0, -74.5), (180.0, -70.0), (-180.0, -70.0), (45.0, -61.0)])
    assert distance_from(area, places).tolist() == [0.0] * 5


def test_the_nearest_way_may_lead_over_the_pole() -> None:
    """Places beside an area next to the pole against the nearest of many points of its edge."""
    area = (0.0, 88.0, 10.0, 89.5)
    places = fixed([(185.0, 89.0), (100.0, 89.9), (60.0, 88.5), (-30.0, 85.0), (20.0, 89.8), (5.0, 80.0), (95.0, 10.0)])
    along, up = np.linspace(0.0, 10.0, 401), np.linspace(88.0, 89.5, 401)
    edge = np.vstack(
        [
            *(np.column_stack([np.full(401, x), up]) for x in (0.0, 10.0)),
            *(np.column_stack([along, np.full(401, y)]) for y in (88.0, 89.5)),
        ]
    )
    vectors = [
        np.column_stack([np.cos(lat) * np.cos(lon), np.cos(lat) * np.sin(lon), np.sin(lat)])
        for lon, lat in (np.radians(at).T for at in (places, edge))
    ]
    nearest = np.arccos(vectors[0] @ vectors[1].T).min(axis=1) * 6_371_000.0
    assert distance_from(area, places) == pytest.approx(nearest, rel=1e-4, abs=5.0)


def test_a_mark_far_away_is_put_back_by_the_reading_that_fits() -> None:
    area = (171.0, -44.0, 172.0, -43.0)
    places = fixed([(171.5, -43.5), (171.5, 43.5), (10.0, 50.0)])
    swapped, turned = fixed(places[:, ::-1]), fixed(places * [1, -1])
    found = misplaced(area, places, [swapped, turned], 50_000, 20_000)
    assert [(one.mark, one.reading) for one in found] == [(1, 1), (2, None)]
    assert isinstance(found[0], Misplaced)


def heights(*rows: tuple[int, int, float, float]) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    session, mark, difference, separation = zip(*rows, strict=True)
    return fixed(session), fixed(mark), fixed(difference), fixed(separation)


def test_one_mark_of_three_with_an_ellipsoidal_height() -> None:
    """The base is 6.3 m off, the separation 10.5 m: two marks show the one, the third both."""
    (found,) = odd_heights(*heights((0, 0, -6.31, 10.52), (0, 1, 4.20, 10.50), (0, 2, -6.28, 10.48)))
    assert (found.mark, found.sign, found.against) == (1, 1, (0, 2))
    assert found.off == pytest.approx(4.20 + 6.295)


def test_one_mark_of_three_reduced_twice() -> None:
    (found,) = odd_heights(*heights((0, 0, 2.0, 10.5), (0, 1, -8.45, 10.5), (0, 2, 2.03, 10.5)))
    assert (found.mark, found.sign) == (1, -1)


@pytest.mark.parametrize("separation", [10.5, -33.0])
def test_of_two_that_disagree_the_one_that_looks_ellipsoidal(separation: float) -> None:
    rows = heights((0, 4, 1.0, separation), (0, 7, 1.0 + separation, separation))
    (found,) = odd_heights(*rows)
    assert (found.mark, found.sign, found.against) == (7, 1, (4,))


def test_bases_at_different_heights_are_not_held_against_each_other() -> None:
    assert odd_heights(*heights((0, 0, -5.0, 10.5), (1, 1, 5.5, 10.5))) == []


def test_what_is_off_by_something_else_or_tells_nothing() -> None:
    assert odd_heights(*heights((0, 0, 0.0, 10.5), (0, 1, 9.8, 10.5), (0, 2, 0.0, 10.5))) == []
    assert odd_heights(*heights((0, 0, 0.0, 1.5), (0, 1, 1.5, 1.5), (0, 2, 0.0, 1.5))) == []
    assert odd_heights(*(np.zeros(0) for _ in range(4))) == []
