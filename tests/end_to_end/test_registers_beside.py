"""A table beside the register that has its marks with other numbers: one of the two is out of date."""

import json
import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

import fiona
import pytest
from openpyxl import Workbook
from pyproj import Transformer
from running import csv_rows, record_of
from simulate import Plan, simulate

from pipeline import check_job, run_job

TOLD = "with other coordinates, by up to"
#: What a register of before is called.
OLD = """Festpunkte veraltet
reperes_anciens
ANCIEN releve
MarcasAntiguas
pontos-antigos
punti vecchi
punten_oude
Gamla punkter
punkter_gammel
vanhat pisteet
punkty-stare
body_neplatné
régi pontok
puncte vechi
točke stare
noktalar_eski
punkti vecais
taškai senas
vana punktid""".splitlines()


def day(folder: Path) -> Path:
    return simulate(Plan(sessions=1, points=12, checks=2, marks=5)).write(folder)


def beside(path: Path, name: str, by: float, marks: int = 5, digits: int = 4) -> None:
    """Lay a register beside the one that is used, of which some marks have another northing and height."""
    heading, *rows = (path.parent / "register.csv").read_text(encoding="utf-8").splitlines()
    lines = [heading]
    for number, row in enumerate(rows):
        cells = row.split(",")
        for at in (1, 2, 3):
            off = by if number < marks and at > 1 else 0.0
            cells[at] = f"{float(cells[at]) + off:.{digits}f}"
        lines.append(",".join(cells))
    (path.parent / name).write_text("\n".join([*lines, ""]), encoding="utf-8")


def told(path: Path) -> list[str]:
    return [note for note in record_of(path)["notes"] if TOLD in note]


@pytest.mark.parametrize("name", ["register-2026.csv", "Register 2.csv", "control.txt"])
@pytest.mark.parametrize(("by", "marks"), [(0.015, 5), (-0.009, 3), (0.4, 5)])
def test_another_state_of_the_register_is_named(by: float, marks: int, name: str, tmp_path: Path) -> None:
    path = day(tmp_path)
    beside(path, name, by, marks)
    (note,) = told(path)
    assert note.startswith(f"{path.name}:") and f": {name} beside register.csv has {marks} marks of it" in note
    assert f"by up to {abs(by) * 2**0.5:.3f} m" in note
    assert [what for what in check_job(path).warnings if TOLD in what]


def as_workbook(folder: Path, name: str, into: str) -> None:
    """Save a text as a workbook, by a library that the pipeline does not write with."""
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    heading, *rows = (folder / name).read_text(encoding="utf-8").splitlines()
    sheet.append(heading.split(","))
    for row in rows:
        mark, *numbers = row.split(",")
        sheet.append([mark, *map(float, numbers)])
    book.save(folder / into)
    (folder / name).unlink()


def as_package(folder: Path, name: str, into: str) -> None:
    """Save a text as a GeoPackage with points of its plane coordinates."""
    heading, *rows = (line.split(",") for line in (folder / name).read_text(encoding="utf-8").splitlines())
    cells = [dict(zip(heading, row, strict=True)) for row in rows]
    kinds = {column: "str" if column == "mark" else "float" for column in heading}
    schema = {"geometry": "Point", "properties": kinds}
    with fiona.open(folder / into, "w", driver="GPKG", crs="EPSG:2193", schema=schema, layer="marks") as layer:
        for one in cells:
            at = [float(one["easting"]), float(one["northing"])]
            values = {column: one[column] if kind == "str" else float(one[column]) for column, kind in kinds.items()}
            layer.write({"geometry": {"type": "Point", "coordinates": at}, "properties": values})
    (folder / name).unlink()


def as_features(folder: Path, name: str, into: str) -> None:
    """Save a text as GeoJSON, with its columns as properties and points in degrees."""
    to_degrees = Transformer.from_crs("EPSG:2193", "EPSG:4326", always_xy=True)
    heading, *rows = (line.split(",") for line in (folder / name).read_text(encoding="utf-8").splitlines())
    features = []
    for row in rows:
        cells = dict(zip(heading, row, strict=True))
        numbers = {key: text if key == "mark" else float(text) for key, text in cells.items()}
        at = to_degrees.transform(numbers["easting"], numbers["northing"])
        features.append({"type": "Feature", "geometry": {"type": "Point", "coordinates": at}, "properties": numbers})
    (folder / into).write_text(json.dumps({"type": "FeatureCollection", "features": features}), encoding="utf-8")
    (folder / name).unlink()


@pytest.mark.parametrize(
    ("save", "ending"), [(as_workbook, "xlsx"), (as_package, "gpkg"), (as_features, "geojson"), (as_features, "json")]
)
def test_a_workbook_a_geopackage_and_features_are_read_too(
    save: Callable[[Path, str, str], None], ending: str, tmp_path: Path
) -> None:
    path = day(tmp_path)
    beside(path, "other.csv", 0.02)
    save(tmp_path, "other.csv", f"register 2.{ending}")
    (note,) = told(path)
    assert f": register 2.{ending} beside register.csv has 5 marks of it" in note
    shutil.move(tmp_path / f"register 2.{ending}", tmp_path / f"register alte.{ending}")
    assert told(path) == []


@pytest.mark.parametrize("stem", OLD)
def test_one_called_old_in_another_language_is_let_be(stem: str, tmp_path: Path) -> None:
    path = day(tmp_path)
    beside(path, f"{stem}.csv", 0.02)
    assert told(path) == []


def a_copy(path: Path) -> None:
    shutil.copy(path.parent / "register.csv", path.parent / "register-copy.csv")


def fewer_digits(path: Path) -> None:
    beside(path, "for the map.csv", 0.0, digits=2)


def one_mark_mistyped(path: Path) -> None:
    beside(path, "register-x.csv", 0.5, marks=1)


def another_system(path: Path) -> None:
    beside(path, "marks-other-datum.csv", 187.0)


def called_old(path: Path) -> None:
    for name in ("register_old.csv", "Register-BACKUP.csv", "old register.txt"):
        beside(path, name, 0.02)


def of_another_job(path: Path) -> None:
    beside(path, "register-2.csv", 0.02)
    text = path.read_text(encoding="utf-8").replace('"register.csv"', '"register-2.csv"')
    (path.parent / "tuesday.toml").write_text(text, encoding="utf-8")


def measured(path: Path) -> None:
    beside(path, "occupied.csv", 0.02)
    text = (path.parent / "occupied.csv").read_text(encoding="utf-8").replace("hu95", "time", 1)
    (path.parent / "occupied.csv").write_text(text, encoding="utf-8")


def issued(path: Path) -> None:
    """The GeoPackage of an issue, which has its marks as adjusted, copied beside the register."""
    (made,) = (run_job(path).folder or path).glob("*-001.gpkg")
    shutil.copy(made, path.parent / "points.gpkg")


def workbook_of_readings(path: Path) -> None:
    measured(path)
    as_workbook(path.parent, "occupied.csv", "occupied.xlsx")


def features_of_readings(path: Path) -> None:
    measured(path)
    as_features(path.parent, "occupied.csv", "occupied.geojson")


def features_alike(path: Path) -> None:
    beside(path, "copy.csv", 0.0, digits=3)
    as_features(path.parent, "copy.csv", "copy.geojson")


def no_features(path: Path) -> None:
    (path.parent / "settings.json").write_text('{"CM1": 1, "CM2": 2, "CM3": 3}', encoding="utf-8")
    (path.parent / "torn.geojson").write_text('{"type": "FeatureCollection", CM1 CM2 CM3', encoding="utf-8")


def no_table(path: Path) -> None:
    (path.parent / "remarks.txt").write_text("north gate was closed\n", encoding="utf-8")
    (path.parent / "photo.csv").write_bytes(bytes(range(256)))
    (path.parent / "empty.csv").write_bytes(b"")


@pytest.mark.parametrize(
    "change",
    [
        a_copy,
        fewer_digits,
        one_mark_mistyped,
        another_system,
        called_old,
        of_another_job,
        measured,
        issued,
        workbook_of_readings,
        features_of_readings,
        features_alike,
        no_features,
        no_table,
    ],
)
def test_what_else_lies_there_is_let_be(change: Callable[[Path], None], tmp_path: Path) -> None:
    path = day(tmp_path)
    change(path)
    assert told(path) == []


def test_an_earlier_year_is_what_a_revision_left(tmp_path: Path) -> None:
    path = day(tmp_path)
    beside(path, "register-2025.csv", 0.02)
    text = path.read_text(encoding="utf-8")
    shutil.move(tmp_path / "register.csv", tmp_path / "register-2026.csv")
    path.write_text(text.replace('"register.csv"', '"register-2026.csv"'), encoding="utf-8")
    assert told(path) == []
    path.write_text(text.replace('"register.csv"', '"register-2025.csv"'), encoding="utf-8")
    assert len(told(path)) == 1


def test_issues_in_csv_beside_the_register_are_let_be(tmp_path: Path) -> None:
    path = day(tmp_path)
    path.write_text(path.read_text(encoding="utf-8") + '\n[issue]\nformats = ["csv"]\n', encoding="utf-8")
    assert run_job(path).issued
    for made in (tmp_path / "out" / "current").glob("*.csv"):
        shutil.copy(made, tmp_path / made.name)
    assert told(path) == []


def in_degrees(path: Path, off: Sequence[float], *, crs: str = "EPSG:4326", digits: int = 9, up: bool = True) -> None:
    """Lay GeoJSON beside the register that has its marks as points alone, each moved north by so many metres."""
    to_degrees = Transformer.from_crs("EPSG:2193", crs, always_xy=True)
    features = []
    for by, row in zip(off, csv_rows(path.parent / "register.csv"), strict=True):
        at = to_degrees.transform(float(row["easting"]), float(row["northing"]) + by)
        place = [*(round(one, digits) for one in at), *([float(row["height"])] if up else [])]
        geometry = {"type": "Point", "coordinates": place}
        features.append({"type": "Feature", "geometry": geometry, "properties": {"mark": row["mark"]}})
    text = json.dumps({"type": "FeatureCollection", "features": features})
    (path.parent / "marks.geojson").write_text(text, encoding="utf-8")


def test_points_in_degrees_alone_are_compared_in_plan(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=12, checks=2, marks=8)).write(tmp_path)
    in_degrees(path, [0.0, 0.0, 0.0, 0.0, 0.0, 0.04, -0.06, 0.08])
    (note,) = told(path)
    assert "marks.geojson beside register.csv has 3 marks of it" in note and "by up to 0.080 m" in note


@pytest.mark.parametrize(
    ("off", "crs", "digits"),
    [
        ([0.0] * 8, "EPSG:4326", 9),
        ([0.0] * 8, "EPSG:4326", 6),
        ([0.0] * 8, "EPSG:4167", 8),
        ([0.0] * 8, "EPSG:4272", 9),  # NZGD49, some hundred metres away
        ([0.3] * 8, "EPSG:4326", 9),  # another realisation
        ([0.0] * 6 + [0.05] * 2, "EPSG:4326", 9),
        ([0.0, 40.0] * 4, "EPSG:4326", 9),  # other marks of those names
    ],
)
@pytest.mark.parametrize("up", [True, False])
def test_the_same_marks_in_degrees_are_let_be(
    off: list[float], crs: str, digits: int, up: bool, tmp_path: Path
) -> None:
    path = simulate(Plan(sessions=1, points=12, checks=2, marks=8)).write(tmp_path)
    in_degrees(path, off, crs=crs, digits=digits, up=up)
    assert told(path) == []
