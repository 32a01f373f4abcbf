"""A height datum of another part of the earth is told: a named geoid grid gives heights under whatever code.

Where datums are used is as the EPSG registry has it: NZVD2016 (7839) in New Zealand; DHHN2016 (7837) in Germany, up to
15.04 degrees east; EGM96 (5773) all over the world; Tenerife height (9398) from 16.96 to 16.08 degrees west, that of
Gran Canaria (9397) from 15.88 to 15.31; Lerwick height (5742) on Shetland, Newlyn height (5701) up to 58.71 north.
"""

import re
from pathlib import Path

import numpy as np
import pytest
from closed_forms import GRS80, Geoid, utm, write_gtx
from running import published_record
from simulate import Place, Plan, simulate


def notes_of(folder: Path, height: str, longitude: float, latitude: float) -> list[str]:
    """Return what a run notes of height datums: exports on ETRS89, an invented geoid of 45 m around the place."""
    geoid = folder / "invented.gtx"
    write_gtx(Geoid(latitude - 1.0, longitude - 1.0, 0.2, 0.2, np.full((11, 11), 45.0, np.float32)), geoid)
    zone = int((longitude + 180.0) // 6.0) + 1
    grid = utm(zone, south=False)
    place = Place(longitude, latitude, 250.0, GRS80, grid, f"EPSG:258{zone}", "EPSG:4937", height, geoid)
    job = simulate(Plan(sessions=1, points=6, ties=1, checks=2, marks=3, noise=False, place=place))
    record = published_record(job.write(folder))
    assert record["verdict"] == "proven"
    return [
        note
        for note in record["notes"]
        if note.startswith("target.height") and ("is meant for" in note or "is not used where" in note)
    ]


def test_a_height_datum_of_the_other_side_of_the_earth_is_told_with_those_of_the_place(tmp_path: Path) -> None:
    (note,) = notes_of(tmp_path, "EPSG:7839", 13.4, 52.5)
    assert note.startswith("target.height and control.height EPSG:7839 (NZVD2016 height) is meant for longitudes 160.6")
    assert "EPSG:5783 (DHHN92 height)" in note.partition("registered for this place")[2]


@pytest.mark.parametrize(
    ("height", "longitude", "latitude", "other", "beyond"),
    [
        ("EPSG:9398", -15.60, 27.98, "EPSG:9397 (Gran Canaria height)", 47),
        ("EPSG:9397", -16.60, 28.25, "EPSG:9398 (Tenerife height)", 71),
        ("EPSG:5701", -1.25, 60.30, "EPSG:5742 (Lerwick height)", 177),
    ],
)
def test_the_height_datum_of_the_next_island_is_told(
    height: str, longitude: float, latitude: float, other: str, beyond: int, tmp_path: Path
) -> None:
    (note,) = notes_of(tmp_path, height, longitude, latitude)
    assert note.startswith(f"target.height and control.height {height} (") and f", and {other} is: is it the" in note
    (told,) = re.findall(r"([0-9]+) km beyond its area", note)
    assert abs(int(told) - beyond) <= 2


@pytest.mark.parametrize(
    ("height", "longitude", "latitude"),
    [
        ("EPSG:9398", -16.05, 28.3),  # off the coast of its island
        ("EPSG:9398", -16.5, 28.9),  # out at sea, where no other is used
        ("EPSG:5709", 6.5, 49.0),  # Dutch heights behind Luxembourg
        ("EPSG:7837", 13.4, 52.5),
        ("EPSG:7837", 16.5, 51.0),  # 100 km beyond the border
        ("EPSG:7837", 12.0, 57.5),  # 180 km out at sea
        ("EPSG:5773", 13.4, 52.5),
    ],
)
def test_one_of_the_place_or_nearby_is_not(height: str, longitude: float, latitude: float, tmp_path: Path) -> None:
    assert not notes_of(tmp_path, height, longitude, latitude)
