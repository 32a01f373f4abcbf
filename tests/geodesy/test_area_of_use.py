"""Operations judged on the points of a job: small countries, islands, coasts, the 180th meridian, and strays."""

from pathlib import Path

import numpy as np
import pytest

from pipeline.geodesy.area import Area, Places, Use
from pipeline.geodesy.errors import OperationError
from pipeline.geodesy.operations import Frame, raw_to_working, register_to_working, working_to_issued

#: Places within a kilometre or few of an edge of an area of use: longitude, latitude, grid, height, export's CRS.
EDGES = {
    "the Lizard": (-5.2, 49.965, "EPSG:27700", "EPSG:5701", "EPSG:4937"),
    "St Marys": (-6.30, 49.915, "EPSG:27700", "EPSG:5749", "EPSG:4937"),
    "Stornoway": (-6.38, 58.21, "EPSG:27700", "EPSG:5746", "EPSG:4937"),
    "Lerwick": (-1.14, 60.155, "EPSG:27700", "EPSG:5742", "EPSG:4937"),
    "Vaals": (6.015, 50.755, "EPSG:28992", "EPSG:5709", "EPSG:4937"),
    "Bad Nieuweschans": (7.20, 53.185, "EPSG:28992", "EPSG:5709", "EPSG:4937"),
    "Echternach": (6.5, 49.7, "EPSG:2169", "ellipsoid", "EPSG:4937"),
    "Vardo": (31.1, 70.37, "EPSG:25836", "EPSG:5941", "EPSG:4937"),
    "Bjargtangar": (-24.53, 65.5, "EPSG:8088", "EPSG:8089", "EPSG:8086"),
}


@pytest.mark.parametrize("name", EDGES)
def test_one_mark_jobs_near_an_edge(name: str, real_grids: Path) -> None:
    """None is refused for what lies beyond the edge."""
    lon, lat, grid, height, source = EDGES[name]
    area = Area(lon, lat, lon, lat).with_margin(100.0)
    working = raw_to_working(source, grid, area, height=height).forward(lon, lat, 60.0)
    issued = working_to_issued(grid, height, area).forward(*working)
    marks = register_to_working(Frame(grid, height), target=Frame(grid, height), geoid=None, area=area).forward(*issued)
    assert np.linalg.norm(np.subtract(marks, working)) < 1e-3
    assert np.isfinite(issued).all()


def test_where_no_operation_serves_the_height_datums_there_are_named(real_grids: Path) -> None:
    """The mainland's height datum is not that of Shetland."""
    with pytest.raises(OperationError) as raised:
        working_to_issued("EPSG:27700", "EPSG:5701", Area(-1.15, 60.15, -1.13, 60.16))
    assert "EPSG:5742 (Lerwick height)" in raised.value.fix


def around(lon: np.ndarray, lat: np.ndarray) -> Area:
    extent = Area.from_degrees(lon, lat)
    return Area(extent.west, extent.south, extent.east, extent.north, Places.thinned(lon, lat, extent))


def test_a_stray_beyond_the_area_is_left_without_coordinates(real_grids: Path) -> None:
    """Nineteen points in Vaals, one in Aachen: the Dutch operation serves the nineteen, and no other is taken."""
    lon, lat = np.append(np.linspace(5.98, 6.01, 19), 7.9), np.full(20, 50.77)
    area = around(lon, lat).with_margin(100.0)
    raw = raw_to_working("EPSG:4937", "EPSG:28992", area)
    alone = raw_to_working("EPSG:4937", "EPSG:28992", around(lon[:19], lat[:19]))
    assert (raw.name, alone.within) == (alone.name, ())
    assert [use.name[:11] for use in raw.within] == ["Netherlands"]
    found = np.column_stack(raw.forward(lon, lat, np.full(20, 60.0)))
    assert np.isfinite(found).all(axis=1).tolist() == [True] * 19 + [False]
    assert (found[:19] == np.column_stack(alone.forward(lon[:19], lat[:19], np.full(19, 60.0)))).all()
    issued = working_to_issued("EPSG:28992", "EPSG:5709", area)
    out = np.column_stack(issued.forward(*(np.vstack([found[:19], found[:1] + 1e6]).T)))
    assert np.isfinite(out).all(axis=1).tolist() == [True] * 19 + [False]


def test_a_job_that_mostly_lies_elsewhere_is_refused(real_grids: Path) -> None:
    lon, lat = np.append(np.full(15, 9.0), np.full(5, 6.0)), np.full(20, 50.77)
    with pytest.raises(OperationError, match="covers 25% of the job's points"):
        working_to_issued("EPSG:28992", "EPSG:5709", around(lon, lat))


def test_an_area_across_the_180th_meridian_holds_points_on_both_sides() -> None:
    """Fiji Map Grid's area of use, 176.81 to -178.15 (EPSG registry)."""
    fiji = Area(176.81, -20.81, -178.15, -12.42)
    assert fiji.holds([179.99, -179.98, 181.0, 176.0, -178.0, np.nan], np.full(6, -16.8)).tolist() == [
        True, True, True, False, False, False,
    ]  # fmt: skip
    lon = np.array([179.9, -179.9, -179.95, 170.0])
    assert fiji.part_of(around(lon, np.full(4, -16.8))) == 0.75
    assert Area(-180.0, -90.0, 180.0, 90.0).holds(lon, np.full(4, -16.8)).all()


def test_thinned_places_count_every_point_once() -> None:
    """Against counting them all."""
    random = np.random.default_rng(5)
    lon, lat = random.uniform(4.0, 8.0, 20_000), random.uniform(50.0, 54.0, 20_000)
    places = Places.thinned(lon, lat, Area.from_degrees(lon, lat))
    assert places.count.sum() == 20_000 and len(places.count) <= 10_000
    half = Area(4.0, 50.0, 6.0, 54.0)
    exact = half.holds(lon, lat).mean()
    assert abs(half.part_of(around(lon, lat)) - exact) < 0.01
    assert places.session is None
    sessions = Places.thinned(lon, lat, Area.from_degrees(lon, lat), (lon > 6.0).astype(np.int64)).session
    assert sessions is not None and (sessions == (places.longitude > 6.0)).all()
    assert Use("half", half) == Use("half", Area(4.0, 50.0, 6.0, 54.0))
