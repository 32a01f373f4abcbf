"""Columns of objects' lengths and widths, whose headings are words for longitude and latitude in many languages."""

import json
from pathlib import Path

import pytest

from pipeline.new_job.columns import mapped
from pipeline.new_job.look_at_files import looks
from pipeline.new_job.mapped import Mapped

PAIRS = (
    ("Lengde", "Bredde"), ("Längd", "Bredd"), ("Længde", "Bredde"), ("Pikkus", "Laius"), ("Ilguma", "Platums"),
    ("Garums", "Platums"), ("Länge", "Breite"), ("Lengte", "Breedte"), ("Pituus", "Leveys"), ("Délka", "Šířka"),
    ("Duljina", "Širina"), ("Μήκος", "Πλάτος"), ("Hosszúság", "Szélesség"),
)  # fmt: skip
ROWS = 9
#: Places some 30 m apart on a curve near Kristiansand; one degree of latitude is 111.3 km, one of longitude there 58.9.
STEPS = [(at, at * at / 5) for at in range(ROWS)]
EAST = [f"{438000 + 29.5 * x:.3f}" for x, _ in STEPS]
NORTH = [f"{6445000 + 33.4 * y:.3f}" for _, y in STEPS]
LON = [f"{8 + 0.0005 * x:.9f}" for x, _ in STEPS]
LAT = [f"{58.1 + 0.0003 * y:.9f}" for _, y in STEPS]
LONG, WIDE = (["4.00", "4.30", "", "2.50"], ["1.40", "1.41", "1.43", ""])
#: Lengths as a layer computes them, with all decimals that a number has.
COMPUTED = ["4.018273645", "4.318273644", "2.518273641"], ["1.400182736", "1.418273645", "1.028371923"]


def found(folder: Path, columns: dict[str, list[str]]) -> Mapped:
    """Map an export with these columns, whose values come again until there is one for each row."""
    times = {"Name": [f"P{at}" for at in range(ROWS)], "Time (UTC)": [f"2026-03-04 07:0{at}:00" for at in range(ROWS)]}
    every = {**times, **columns, "Ellipsoidal height": [f"{90 + at}.123" for at in range(ROWS)]}
    lines = [",".join(every), *(",".join(of[at % len(of)] for of in every.values()) for at in range(ROWS))]
    (folder / "rover.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (look,) = looks(folder / "rover.csv", "rover.csv")
    return mapped(look)


@pytest.mark.parametrize(("long", "wide"), PAIRS)
def test_a_length_and_a_width_are_no_position_beside_a_grid(tmp_path: Path, long: str, wide: str) -> None:
    for lengths in ((LONG, WIDE), COMPUTED, (["2.5"], ["1.2"])):
        columns = {long: lengths[0], wide: lengths[1], "Easting": EAST, "Northing": NORTH}
        mapping = found(tmp_path, columns)
        assert mapping.kind == "plane"
        assert (mapping.columns["easting"], mapping.columns["northing"]) == ("Easting", "Northing")
        assert "longitude" not in mapping.columns and "latitude" not in mapping.columns


@pytest.mark.parametrize(("long", "wide"), PAIRS)
def test_degrees_under_such_headings_are_the_position(tmp_path: Path, long: str, wide: str) -> None:
    mapping = found(tmp_path, {long: LON, wide: LAT})
    assert mapping.kind == "degrees"
    assert (mapping.columns["longitude"], mapping.columns["latitude"]) == (long, wide)


def test_a_plain_word_for_degrees_goes_first(tmp_path: Path) -> None:
    mapping = found(tmp_path, {"Lengde": COMPUTED[0], "Bredde": COMPUTED[1], "Lengdegrad": LON, "Breddegrad": LAT})
    assert (mapping.columns["longitude"], mapping.columns["latitude"]) == ("Lengdegrad", "Breddegrad")


def test_degrees_that_lie_as_the_grid_does_are_taken_before_it(tmp_path: Path) -> None:
    mapping = found(tmp_path, {"Ost": EAST, "Nord": NORTH, "Länge": LON, "Breite": LAT})
    assert mapping.kind == "degrees"
    assert (mapping.columns["longitude"], mapping.columns["latitude"]) == ("Länge", "Breite")


@pytest.mark.parametrize("lengths", [(LONG, WIDE), (["400.0", "120.5"], ["20.5", "91.0"])])
def test_lengths_alone_are_no_position(tmp_path: Path, lengths: tuple[list[str], list[str]]) -> None:
    mapping = found(tmp_path, {"Lengde": lengths[0], "Bredde": lengths[1]})
    assert mapping.kind == "" and "longitude" not in mapping.columns


@pytest.mark.parametrize("degrees", [(["172,6"], ["-43,5"]), (["16,4", "16,3"], ["48,2", "48,1"])])
def test_coarse_degrees_alone_are_a_position(tmp_path: Path, degrees: tuple[list[str], list[str]]) -> None:
    long, wide = ([f'"{one}"' for one in of] for of in degrees)
    mapping = found(tmp_path, {"Länge": long, "Breite": wide})
    assert mapping.kind == "degrees"
    mapping = found(tmp_path, {"Länge": long, "Breite": wide, "Easting": EAST, "Northing": NORTH})
    assert mapping.kind == "plane"


def test_degrees_minutes_and_seconds_are_a_position(tmp_path: Path) -> None:
    angles = [f"8°00'{at}0.12345\"E" for at in range(5)], [f"58°06'{at}0.12345\"N" for at in range(5)]
    columns = {"Lengde": [f'"{one}"'.replace('"E"', '""E"') for one in angles[0]], "Bredde": angles[1]}
    columns["Bredde"] = [f'"{one}"'.replace('"N"', '""N"') for one in angles[1]]
    mapping = found(tmp_path, columns)
    assert mapping.kind == "degrees" and mapping.dms


@pytest.mark.parametrize("lengths", [(["2.5"], ["1.2"]), COMPUTED])
def test_a_geometry_goes_before_a_length_and_a_width(tmp_path: Path, lengths: tuple[list[str], list[str]]) -> None:
    features = [
        {
            "type": "Feature",
            "properties": {
                "Name": f"P{at}",
                "Time": f"2026-03-04T07:0{at}:00Z",
                "Lengde": float(lengths[0][at % len(lengths[0])]),
                "Bredde": float(lengths[1][at % len(lengths[1])]),
            },
            "geometry": {"type": "Point", "coordinates": [float(LON[at]), float(LAT[at]), 90.5 + at]},
        }
        for at in range(ROWS)
    ]
    path = tmp_path / "rover.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    (look,) = looks(path, "rover.geojson")
    mapping = mapped(look)
    assert mapping.kind == "degrees" and "longitude" not in mapping.columns and "latitude" not in mapping.columns
