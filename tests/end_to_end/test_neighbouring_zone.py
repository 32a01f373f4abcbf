"""A target grid of the next zone: told where the register is in the one that the job lies in, and nowhere else.

Truth by closed forms (transverse Mercator on the ellipsoid of GRS 80). A whole country may work in one zone, and its
register does then too: common practice.
"""

from pathlib import Path

import pytest
from closed_forms import GRS80, TransverseMercator, utm
from simulate import Place, Plan, simulate

from pipeline import run_job


def noted(folder: Path, longitude: float, zone: int, target: str, degrees: bool = False) -> list[str]:
    """Return what an honest day at a longitude notes of zones, with its register in a zone, or in degrees."""
    grid = f"EPSG:258{zone}"
    place = Place(longitude, 50.0, 300.0, GRS80, utm(zone, south=False), grid, "EPSG:4937", "ellipsoid", None)
    return noted_at(folder, place, target, degrees)


def noted_at(folder: Path, place: Place, target: str, degrees: bool) -> list[str]:
    job = simulate(Plan(sessions=1, points=12, checks=3, marks=4, place=place, seed=4))
    job.job["target"]["grid"] = target
    if degrees:
        marks = job.marks
        del job.register["easting"], job.register["northing"]
        job.register |= {"longitude": marks.longitude, "latitude": marks.latitude}
        job.job["control"]["crs"] = place.source
    outcome = run_job(job.write(folder), dry_run=True)
    assert (outcome.exit_code, outcome.record["doubts"]) == (0, [])
    return [note for note in outcome.record["notes"] if "zone" in note]


@pytest.mark.parametrize(("longitude", "zone", "target"), [(14.0, 33, "EPSG:25832"), (14.0, 33, "EPSG:25834")])
def test_the_zone_beside_that_of_the_register_is_noted(
    longitude: float, zone: int, target: str, tmp_path: Path
) -> None:
    (note,) = noted(tmp_path, longitude, zone, target)
    assert target in note and f"EPSG:258{zone}" in note and "right zone?" in note


@pytest.mark.parametrize(
    ("longitude", "zone", "target", "degrees"),
    [
        (14.0, 33, "EPSG:25833", False),
        (14.0, 32, "EPSG:25832", False),  # one zone for a whole country
        (14.0, 33, "EPSG:25832", True),  # nothing says that another one is usual there
        (12.1, 33, "EPSG:25832", False),  # 7 km over the edge
        (14.0, 33, "EPSG:3035", False),  # another grid of the same datum, used all over the continent
    ],
)
def test_honest_zones_are_left_alone(longitude: float, zone: int, target: str, degrees: bool, tmp_path: Path) -> None:
    assert noted(tmp_path, longitude, zone, target, degrees) == []


#: EPSG's parameters and areas of use of NAD83(2011) / Illinois East and West (metres), and of JGD2011 / Japan Plane
#: Rectangular CS IX, which overlaps with VIII from 138.40 to 139.91 as their areas are boxes around prefectures.
ILLINOIS_EAST = (
    TransverseMercator(GRS80, -(88 + 1 / 3), 0.999975, 300_000.0, 0.0, 36 + 2 / 3),
    "EPSG:6454",
    "EPSG:6319",
)
ILLINOIS_WEST = (
    TransverseMercator(GRS80, -(90 + 1 / 6), 0.999941177, 700_000.0, 0.0, 36 + 2 / 3), "EPSG:6456", "EPSG:6319",
)  # fmt: skip
JAPAN_IX = (TransverseMercator(GRS80, 139 + 5 / 6, 0.9999, 0.0, 0.0, 36.0), "EPSG:6677", "EPSG:6667")


@pytest.mark.parametrize(
    ("of", "longitude", "latitude", "target", "degrees", "meant"),
    [
        pytest.param(ILLINOIS_WEST, -89.30, 40.5, "EPSG:6454", False, "EPSG:6456", id="2.5 km beyond the east"),
        pytest.param(ILLINOIS_WEST, -89.10, 40.5, "EPSG:6454", False, "EPSG:6456", id="in both boxes"),
        pytest.param(ILLINOIS_WEST, -89.30, 40.5, "EPSG:6455", False, "EPSG:6456", id="in other units"),
        pytest.param(ILLINOIS_WEST, -89.30, 40.5, "EPSG:6454", True, "EPSG:6456", id="a register in degrees"),
        pytest.param(JAPAN_IX, 139.61, 36.0, "EPSG:6676", False, "EPSG:6677", id="a number, in both boxes"),
    ],
)
def test_a_zone_named_by_a_word_or_in_the_others_box_is_noted(
    of: tuple[TransverseMercator, str, str],
    longitude: float,
    latitude: float,
    target: str,
    degrees: bool,
    meant: str,
    tmp_path: Path,
) -> None:
    place = Place(longitude, latitude, 300.0, GRS80, *of, "ellipsoid", None)
    (note,) = noted_at(tmp_path, place, target, degrees)
    assert target in note and meant in note and "right zone?" in note


@pytest.mark.parametrize(
    ("of", "longitude", "latitude", "target", "degrees"),
    [
        pytest.param(ILLINOIS_WEST, -89.30, 40.5, "EPSG:6456", False, id="its own"),
        pytest.param(ILLINOIS_WEST, -89.30, 40.5, "EPSG:6457", False, id="its own in feet"),
        pytest.param(ILLINOIS_EAST, -89.30, 40.5, "EPSG:6454", False, id="a register kept over the edge"),
        pytest.param(ILLINOIS_WEST, -89.10, 40.5, "EPSG:6454", True, id="degrees in both boxes"),
        pytest.param(ILLINOIS_WEST, -89.30, 40.5, "EPSG:6350", False, id="a grid of the whole country"),
        pytest.param(ILLINOIS_WEST, -89.30, 40.5, "EPSG:6345", False, id="UTM"),
    ],
)
def test_other_grids_of_one_place_are_left_alone(
    of: tuple[TransverseMercator, str, str],
    longitude: float,
    latitude: float,
    target: str,
    degrees: bool,
    tmp_path: Path,
) -> None:
    place = Place(longitude, latitude, 300.0, GRS80, *of, "ellipsoid", None)
    assert noted_at(tmp_path, place, target, degrees) == []
