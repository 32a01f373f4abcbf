"""A target grid of the next zone: told where the register is in the one that the job lies in, and nowhere else.

Truth by closed forms (UTM on the ellipsoid of GRS 80). A whole country may work in one zone, and its register does then
too: common practice.
"""

from pathlib import Path

import pytest
from closed_forms import GRS80, utm
from simulate import Place, Plan, simulate

from pipeline import run_job


def noted(folder: Path, longitude: float, zone: int, target: str, degrees: bool = False) -> list[str]:
    """Return what an honest day at a longitude notes of zones, with its register in a zone, or in degrees."""
    grid = f"EPSG:258{zone}"
    place = Place(longitude, 50.0, 300.0, GRS80, utm(zone, south=False), grid, "EPSG:4937", "ellipsoid", None)
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
