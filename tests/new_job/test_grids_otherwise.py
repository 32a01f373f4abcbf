"""Grids where none in use at the place of the readings fits: their columns are misread, or the job lies beside it."""

from pathlib import Path

import pytest
from pyproj import CRS, Transformer

from pipeline.new_job import new_job
from pipeline.new_job.start import Started

#: Metres by which a base is off, and where four marks lie from the first.
_BASE = (1.3, -0.7)
_MARKS = ((0.0, 0.0), (640.0, 310.0), (-220.0, 760.0), (500.0, -420.0))
_HEIGHT = "Ellipsoidal height"


def laid(
    folder: Path, grid: int, place: tuple[float, float], heads: str = "Longitude,Latitude", sign: float = 1.0
) -> Started:
    """Lay marks in a grid and readings on them in degrees, and start a job.

    ``heads`` are the headings of longitude and latitude as they are written, ``sign`` is that of the longitude.
    """
    datum = CRS(grid).geodetic_crs
    assert datum is not None
    way = Transformer.from_crs(datum, grid, always_xy=True)
    east, north = way.transform(*place)
    rows, marks = [], []
    for number, (x, y) in enumerate(_MARKS):
        marks.append(f"K{number},{east + x:.3f},{north + y:.3f},40.000")
        lon, lat = way.transform(east + x + _BASE[0], north + y + _BASE[1], direction="INVERSE")
        rows.append(f"K{number},CTRL,2026-03-12T0{number}:00:00Z,{sign * lon:.9f},{lat:.9f},43.000,fix")
    (folder / "control.csv").write_text("\n".join([f"Mark,Easting,Northing,{_HEIGHT}", *marks]), encoding="utf-8")
    head = f"Point,Code,Time,{heads},{_HEIGHT},Solution"
    (folder / "obs.csv").write_text("\n".join([head, *rows]), encoding="utf-8")
    return new_job(folder)


def offered(started: Started) -> dict[str, str]:
    """Return what the question after the grid offers, with what speaks for it."""
    (asked,) = [one.question for one in started.asked if one.question.key == "target.grid"]
    return {each.value: each.why for each in asked.candidates}


@pytest.mark.parametrize(
    ("heads", "sign", "grid", "place", "what"),
    [
        ("Longitude,Latitude", -1.0, 26915, (-93.2, 44.5), "all longitudes of the readings have the other sign"),
        ("Latitude,Longitude", 1.0, 25834, (22.5, 38.0), "longitude and latitude of the readings are exchanged"),
    ],
)
def test_misread_degrees_are_said_and_never_taken_for_granted(
    heads: str, sign: float, grid: int, place: tuple[float, float], what: str, tmp_path: Path
) -> None:
    started = laid(tmp_path, grid, place, heads, sign)
    found = offered(started)
    assert what in found[f'"EPSG:{grid}"'] and all(what in why for why in found.values())
    assert any(what in note and "correct the file" in note for note in started.notes)
    written = Path(started.path).read_text(encoding="utf-8")
    assert "\ngrid = " not in written and what in written


def test_a_register_whose_own_grid_agrees_with_misread_degrees_alone_is_noted(tmp_path: Path) -> None:
    laid(tmp_path, 26915, (-93.2, 44.5), sign=-1.0)
    (tmp_path / "control.csv").rename(tmp_path / "control_EPSG26915.csv")
    for job in tmp_path.glob("*.toml"):
        job.unlink()
    assert any("all longitudes of the readings have the other sign" in note for note in new_job(tmp_path).notes)


#: A zone is 6 degrees wide: 12 to 18 degrees is zone 33. At 48.57 degrees a degree of longitude is 73.7 km on the
#: sphere, so that 13.45 degrees lies 107 km east of zone 32.
def test_a_zone_that_is_used_beyond_its_area_is_offered_with_how_far(tmp_path: Path) -> None:
    started = laid(tmp_path, 25832, (13.45, 48.57))
    why = offered(started)['"EPSG:25832"']
    assert "agree" in why and ("106 km" in why or "107 km" in why)
    assert not any(one.question.key.startswith("session") for one in started.asked)
    assert "ties = [{" in Path(started.path).read_text(encoding="utf-8")


@pytest.mark.parametrize("grid", [25833, 31468])
def test_where_a_grid_fits_nothing_else_is_tried(grid: int, tmp_path: Path) -> None:
    started = laid(tmp_path, grid, (13.3, 52.5))
    assert not any("correct the file" in note for note in started.notes)
    assert "outside the area" not in Path(started.path).read_text(encoding="utf-8")


def plane(folder: Path, register: str, rows: str) -> Started:
    """Lay marks and readings on them in one plane under headings of easting and northing, and start a job."""
    marks = [f"K{number},{431000.0 + x:.3f},{5212000.0 + y:.3f},40.000" for number, (x, y) in enumerate(_MARKS)]
    (folder / "control.csv").write_text("\n".join([f"Mark,{register},{_HEIGHT}", *marks]), encoding="utf-8")
    read = [
        f"K{number},CTRL,2026-03-12T0{number}:00:00Z,{431001.3 + x:.3f},{5211999.3 + y:.3f},43.000,fix"
        for number, (x, y) in enumerate(_MARKS)
    ]
    head = f"Point,Code,Time,{rows},{_HEIGHT},Solution"
    (folder / "obs.csv").write_text("\n".join([head, *read]), encoding="utf-8")
    return new_job(folder)


def test_easting_and_northing_exchanged_in_one_file_are_said(tmp_path: Path) -> None:
    started = plane(tmp_path, "Northing,Easting", "Easting,Northing")
    assert any(
        "easting and northing of the readings or of the register are exchanged" in note for note in started.notes
    )


def test_easting_and_northing_that_agree_are_left_alone(tmp_path: Path) -> None:
    assert not any("exchanged" in note for note in plane(tmp_path, "Easting,Northing", "Easting,Northing").notes)
