"""A layer's geometry beside mapped columns: told where they are of two places, silent where rounding makes them so."""

import json
import re
from collections.abc import Callable
from pathlib import Path

import pyogrio
import pytest
from simulate import CANTERBURY, Plan, simulate

from pipeline import run_job
from pipeline.check import check_job
from pipeline.sphere import DEGREE

Place = tuple[float, float]
#: Moves a geometry, by the number of its row: longitude and latitude in, and out.
Moves = Callable[[int, Place], Place]


def job_of(folder: Path, moves: Moves) -> Path:
    """Write a job whose GeoJSON has its positions in columns too; its geometries are moved."""
    path = simulate(Plan(points=20, place=CANTERBURY)).write(folder, form="geojson")
    export = next(folder.glob("rover*.geojson"))
    whole = json.loads(export.read_text())
    for row, feature in enumerate(whole["features"]):
        lon, lat, up = feature["geometry"]["coordinates"]
        feature["properties"] |= {"Lon": lon, "Lat": lat, "Up": up}
        feature["geometry"]["coordinates"] = [*moves(row, (lon, lat)), up]
    export.write_text(json.dumps(whole))
    keys = 'longitude = "Lon", latitude = "Lat", height = "Up", name = "Point"'
    path.write_text(path.read_text().replace('columns = { name = "Point"', f"columns = {{ {keys}"))
    return path


def told(path: Path) -> list[str]:
    return [text for text in check_job(path).warnings if "the geometry lies" in text]


def north(row: int, place: Place, metres: float = 3.0) -> Place:
    return place[0], place[1] + metres / DEGREE


def test_some_geometries_are_elsewhere(tmp_path: Path) -> None:
    path = job_of(tmp_path, lambda row, place: north(row, place) if row in (4, 7) else place)
    (what,) = told(path)
    assert ":5: in 2 of the first " in what
    assert "3.00 m from the columns mapped as longitude and latitude" in what
    record = run_job(path, dry_run=True).record
    assert what in record["notes"]
    assert (record["verdict"], record["doubts"]) == ("proven", [])


def test_all_geometries_are_off_by_one_vector(tmp_path: Path) -> None:
    (what,) = told(job_of(tmp_path, lambda row, place: north(row, place, 1.24)))
    assert "1.24 m from" in what and "in all rows the same way" in what


@pytest.mark.parametrize(
    "moves",
    [
        lambda row, place: place,
        lambda row, place: (round(place[0], 6), round(place[1], 6)),  # as many programs write GeoJSON
        lambda row, place: (round(place[0], 3), round(place[1], 3)),
        lambda row, place: (place[0] - 360.0, place[1]),
        lambda row, place: north(row, place, 0.02),
        lambda row, place: (0.0, 0.0) if row == 3 else place,
    ],
    ids=["equal", "six decimals", "three decimals", "a turn less", "two centimetres", "a geometry for none"],
)
def test_what_is_no_news(tmp_path: Path, moves: Moves) -> None:
    assert told(job_of(tmp_path, moves)) == []


@pytest.mark.parametrize("moved", [0.0, 3.0])
def test_a_layer_on_the_grid_beside_degrees(tmp_path: Path, moved: float) -> None:
    """Three metres of the grid are that on earth within 0.04 % of scale and 0.3 % by which the earth is no sphere."""
    path = job_of(tmp_path, lambda row, place: place)
    frame = pyogrio.read_dataframe(next(tmp_path.glob("rover*.geojson"))).to_crs("EPSG:2193")
    frame.geometry = frame.geometry.where(frame.index != 2, frame.geometry.translate(moved))
    frame.to_file(tmp_path / "rover001.gpkg", layer="points", driver="GPKG")
    path.write_text(path.read_text().replace(".geojson", ".gpkg"))
    found = told(path)
    assert len(found) == (1 if moved else 0)
    assert all(re.search(r":3: in 1 of the first .* (2\.99|3\.0[01]) m from", what) for what in found), found
