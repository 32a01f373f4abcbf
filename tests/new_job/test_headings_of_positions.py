"""Headings of positions by language, notation and grid: recognised by heading and content, none by one letter alone."""

from pathlib import Path

import pytest
from pyproj import Transformer

from pipeline.new_job import new_job
from pipeline.new_job.columns import mapped
from pipeline.new_job.look import FileLook

_MARKS = {"K1": (1570250.0, 5180300.0, 12.2), "K2": (1570400.0, 5180450.0, 11.9), "K3": (1570300.0, 5180600.0, 15.0)}
_DEGREES = [
    ("φ", "λ"), ("B", "L"), ("GŠ", "GD"), ("Ширина", "Дължина"), ("Ендік", "Бойлық"), ("Ширина", "Дужина"),
    ("Шырата", "Даўгата"), ("Gjerësia", "Gjatësia"), ("Zemepisná šírka", "Zemepisná dĺžka"), ("Enlik", "Uzunluq"),
    ("Kenglik", "Uzunlik"), ("Өргөрөг", "Уртраг"), ("Lledred", "Hydred"), ("অক্ষাংশ", "দ্রাঘিমাংশ"),
    ("Latitudea", "Longitudea"), ("Zem. šířka", "Zem. délka"),
    ("Γεωγρ. πλάτος", "Γεωγρ. μήκος"), ("Географска ширина", "Географска дужина"), ("ኬክሮስ", "ኬንትሮስ"),
]  # fmt: skip
_PLANE = [
    ("Eastings", "Northings"), ("mE", "mN"), ("ITM E", "ITM N"), ("E (NZTM)", "N (NZTM)"), ("NZTM2000 E", "NZTM2000 N"),
    ("Исток", "Север"), ("Изток", "Север"), ("Шығыс", "Солтүстік"), ("Sharq", "Shimol"), ("Lindje", "Veri"),
    ("Východ", "Sever"), ("Rytai", "Šiaurė"), ("Austrumi", "Ziemeļi"), ("Ida", "Põhi"), ("Austur", "Norður"),
    ("Dwyreiniad", "Gogleddiad"), ("Oos", "Noord"), ("A", "N"), ("M", "P"), ("橫坐標", "縱坐標"),
    ("橫坐標E", "縱坐標N"), ("UTM Easting [m]", "UTM Northing [m]"),
]  # fmt: skip


def _lay(folder: Path, degrees: tuple[str, str], plane: tuple[str, str]) -> str:
    where = Transformer.from_crs("EPSG:2193", "EPSG:4167", always_xy=True)
    marks = [f"{name},{east},{north},{up}" for name, (east, north, up) in _MARKS.items()]
    (folder / "control.csv").write_text("\n".join([f"Mark,{','.join(plane)},Ell height", *marks]), encoding="utf-8")
    rows = []
    for number, name in enumerate([*_MARKS, "101", "102", "103"]):
        east, north, up = _MARKS.get(name, (1570290.0 + 9 * number, 5180400.0 + 7 * number, 13.0 + number))
        lon, lat = where.transform(east + 1.3, north - 0.7)
        rows.append(f"{name},{lat:.9f},{lon:.9f},{up + 2:.3f},2026-03-12T01:{10 + number}:00Z")
    (folder / "rover.csv").write_text("\n".join([f"Point,{','.join(degrees)},Ell height,Time", *rows]), "utf-8")
    return Path(new_job(folder).path).read_text(encoding="utf-8")


@pytest.mark.parametrize(("latitude", "longitude"), _DEGREES)
def test_degrees_are_recognised(latitude: str, longitude: str, tmp_path: Path) -> None:
    text = _lay(tmp_path, (latitude, longitude), ("Easting", "Northing"))
    assert f'longitude = "{longitude}"' in text
    assert f'latitude = "{latitude}"' in text


@pytest.mark.parametrize(("easting", "northing"), _PLANE)
def test_eastings_and_northings_are_recognised(easting: str, northing: str, tmp_path: Path) -> None:
    text = _lay(tmp_path, ("Lat", "Lon"), (easting, northing))
    assert f'easting = "{easting}"' in text
    assert f'northing = "{northing}"' in text


def test_axes_of_a_grid_are_told_by_the_marks(tmp_path: Path) -> None:
    text = _lay(tmp_path, ("Lat", "Lon"), ("EOV Y", "EOV X"))
    assert 'easting = "EOV Y"' in text
    assert 'northing = "EOV X"' in text


def test_a_length_and_a_width_are_no_position(tmp_path: Path) -> None:
    head = "Point,Easting,Northing,Ell height,B,L,Time"
    rows = [f"P{n},{1570250 + n}.5,{5180300 + n}.5,12.0,{0.4 + n / 10:.2f},{1.5 - n / 10:.2f},2026-03-12T01:1{n}:00Z"
            for n in range(6)]  # fmt: skip
    (tmp_path / "rover.csv").write_text("\n".join([head, *rows]), encoding="utf-8")
    text = Path(new_job(tmp_path).path).read_text(encoding="utf-8")
    assert 'easting = "Easting"' in text
    assert "longitude =" not in text


def test_greek_letters_of_axes_are_those_that_look_alike(tmp_path: Path) -> None:
    text = _lay(tmp_path, ("Lat", "Lon"), ("\u03a7", "\u03a5"))
    assert 'easting = "\u03a7"' in text
    assert 'northing = "\u03a5"' in text


@pytest.mark.parametrize("pair", [("A", "N"), ("M", "P")])
def test_first_letters_are_no_position_beside_one_or_of_small_numbers(pair: tuple[str, str], tmp_path: Path) -> None:
    head = f"Point,{','.join(pair)},Lat,Lon,Ell height,Time"
    rows = [f"P{n},{1570250 + n}.5,{5180300 + n}.5,{-43.5 - n / 1e4:.6f},{172.5:.6f},12.0,2026-03-12T01:1{n}:00Z"
            for n in range(6)]  # fmt: skip
    (tmp_path / "rover.csv").write_text("\n".join([head, *rows]), encoding="utf-8")
    text = Path(new_job(tmp_path).path).read_text(encoding="utf-8")
    assert 'longitude = "Lon"' in text and "easting =" not in text
    columns = {pair[0]: ["1.8", "1.9", "2.0"], pair[1]: ["12.1", "12.2", "12.3"], "Point": ["1", "2", "3"]}
    assert mapped(FileLook(tmp_path / "x.csv", "x.csv", columns)).kind == ""
