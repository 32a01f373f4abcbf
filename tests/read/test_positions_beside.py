"""Two positions of the same rows in one export: doubted where they differ row by row, else quiet."""

import csv
import json
import random
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from pyproj import Transformer
from simulate import CANTERBURY, Plan, simulate

from pipeline import run_job
from pipeline.problems import JobError

#: Gives further properties of a row: its number, longitude, latitude, easting and northing in.
Gives = Callable[[int, float, float, float, float], dict[str, Any]]
#: The number of any row on a mark.
STILL = -1
TO_GRID = Transformer.from_crs("EPSG:4326", "EPSG:2193", always_xy=True)


def told(folder: Path, gives: Gives, *, marks_too: bool = False) -> list[tuple[str, str]]:
    """Return kind and words of doubts, and notes, of other positions in a job whose geometries are measured.

    Of rows on marks they are as measured, as copied from the register, but for ``marks_too``.
    """
    path = simulate(Plan(points=30, place=CANTERBURY)).write(folder, form="geojson")
    export = next(folder.glob("rover*.geojson"))
    whole = json.loads(export.read_text())
    for row, feature in enumerate(whole["features"]):
        lon, lat, _ = feature["geometry"]["coordinates"]
        here = not marks_too and not {"CM", "CHK"}.isdisjoint(map(str, feature["properties"].values()))
        feature["properties"] |= gives(STILL if here else row, lon, lat, *TO_GRID.transform(lon, lat))
    export.write_text(json.dumps(whole))
    record = run_job(path, dry_run=True).record
    doubts = [(doubt["kind"], doubt["what"]) for doubt in record["doubts"]]
    notes = [note for note in record["notes"] if "differ otherwise" in note and "confirmed" not in note]
    return doubts + [("note", note) for note in notes]


def away(row: int) -> float:
    return 0.0 if row == STILL else random.Random(row).uniform(-2.0, 2.0)


def test_degrees_of_another_day(tmp_path: Path) -> None:
    found = told(tmp_path, lambda row, lon, lat, *_: {"Longitude": lon, "Latitude": lat + away(row) / 111_000.0})
    ((kind, what),) = found
    assert kind == "place"
    assert 'positions of "Longitude" and "Latitude"' in what


def test_grid_coordinates_of_another_day(tmp_path: Path) -> None:
    found = told(tmp_path, lambda row, _, __, east, north: {"Easting": east + away(row), "Northing [m]": north})
    ((kind, what),) = found
    assert kind == "place"
    assert '"Easting" and "Northing [m]"' in what


def set_aside(folder: Path, names: str) -> tuple[list[bool], list[str]]:
    """Return which doubts are confirmed, and the verdicts, where points are offset from the antenna beside them."""
    path = simulate(Plan(points=30, place=CANTERBURY)).write(folder, form="geojson")
    export = next(folder.glob("rover*.geojson"))
    whole = json.loads(export.read_text())
    for row, feature in enumerate(whole["features"]):
        lon, lat, _ = feature["geometry"]["coordinates"]
        off = 0.0 if not {"CM", "CHK"}.isdisjoint(map(str, feature["properties"].values())) else away(row)
        east, north = TO_GRID.transform(lon, lat)
        feature["properties"] |= {"Easting": round(east + off, 3), "Northing": round(north, 3)}
    export.write_text(json.dumps(whole))
    path.write_text(path.read_text().replace("[[points]]", f"[[points]]\nnot_measured = {names}"))
    record = run_job(path, dry_run=True).record
    return [one["confirmed"] for one in record["doubts"]], sorted({one["verdict"] for one in record["sessions"]})


@pytest.mark.parametrize(
    ("names", "confirmed"),
    [('["Easting", "Northing"]', True), ('["Northing", "Easting"]', True), ('["Easting"]', False),
     ('["Lon", "Lat"]', False), ('["geometry"]', False)],
)  # fmt: skip
def test_what_somebody_looked_into_is_told_as_confirmed(tmp_path: Path, names: str, confirmed: bool) -> None:
    found, verdicts = set_aside(tmp_path, names)
    assert found == [confirmed]
    assert verdicts == (["proven"] if confirmed else ["unchecked"])


def test_a_position_that_is_mapped_was_measured(tmp_path: Path) -> None:
    path = simulate(Plan(points=30, place=CANTERBURY)).write(tmp_path)
    mapped = tomllib.loads(path.read_text())["points"][0]["columns"]["longitude"]
    path.write_text(path.read_text().replace("[[points]]", f'[[points]]\nnot_measured = ["{mapped}"]'))
    with pytest.raises(JobError, match="in not_measured is mapped as a position"):
        run_job(path)


def test_a_device_without_corrections_is_off_on_marks_too(tmp_path: Path) -> None:
    """A tablet's own position is metres off everywhere: common practice, no source. The marks prove what is mapped."""
    gives = lambda row, lon, lat, east, north: {"Longitude": lon, "Latitude": lat + away(row) / 111_000.0}  # noqa: E731
    ((kind, what),) = told(tmp_path, gives, marks_too=True)
    assert kind == "note" and 'positions of "Longitude" and "Latitude"' in what


def test_one_row_is_reported(tmp_path: Path) -> None:
    found = told(tmp_path, lambda row, _, __, east, north: {"E": east + (3.0 if row == 9 else 0.0), "N": north})
    ((kind, what),) = found
    assert kind == "note"
    assert ":10: in 1 of the first" in what and "3.00 m" in what


@pytest.mark.parametrize(
    "gives",
    [
        lambda row, lon, lat, east, north: {"Longitude": lon, "Latitude": lat},
        lambda row, lon, lat, east, north: {"Longitude": round(lon, 5), "Latitude": round(lat, 5)},
        lambda row, lon, lat, east, north: {"Easting": round(east + 0.8, 3), "Northing": round(north - 1.2, 3)},
        lambda row, lon, lat, east, north: {"Easting": round(east + (row > 15), 3), "Northing": round(north, 3)},
        lambda row, lon, lat, east, north: {"Design Easting": east + away(row), "Design Northing": north},
        lambda row, lon, lat, east, north: {"Soll E": east + away(row), "Soll N": north},
        lambda row, lon, lat, east, north: {"Base Longitude": lon + away(row) * 1e-5, "Base Latitude": lat},
        lambda row, lon, lat, east, north: {"Longitude": 172.1, "Latitude": -43.4},
        lambda row, lon, lat, east, north: {"E": 30, "N": 9 + row % 7},
        lambda row, lon, lat, east, north: {"dE": away(row), "dN": away(row + 1)},
        lambda row, lon, lat, east, north: {"Easting": (east - 1.5e6) / 0.3048, "Northing": (north - 5e6) / 0.3048},
    ],
    ids=[
        "degrees", "five decimals", "corrected in the field", "in two sessions", "of a design", "soll", "of a base",
        "one base", "satellites", "components", "feet without their millions",
    ],
)  # fmt: skip
def test_what_is_no_news(tmp_path: Path, gives: Gives) -> None:
    assert told(tmp_path, gives, marks_too=True) == []


def staked(
    folder: Path, aside: str | None = None, mapped: str = "", *, marks_too: bool = True
) -> tuple[list[tuple[str, bool]], list[str]]:
    """Return doubts of a place, whether they are confirmed, and verdicts, of a day of points that were staked out.

    What was measured stands under the mapped headings, what was staked out as other columns; on marks the two are one,
    or there is no other but for ``marks_too``.
    """
    path = simulate(Plan(points=30, place=CANTERBURY)).write(folder)
    export = next(folder.glob("rover*.csv"))
    rows = list(csv.DictReader(export.read_text().splitlines()))
    words = tomllib.loads(path.read_text())["points"][0]["columns"]
    for at, row in enumerate(rows):
        here = {"CM", "CHK"}.isdisjoint(row.values())
        for number, (word, decimals) in enumerate((("longitude", 9), ("latitude", 9), ("height", 3))):
            off = random.Random(3 * at + number).gauss(0.0, 0.03) * here
            value = float(row[words[word]]) + (off if word == "height" else off / 1e5)
            row[f"{words[word]} as staked"] = f"{value:.{decimals}f}" if here or marks_too else ""
    with export.open("w", newline="") as page:
        writer = csv.DictWriter(page, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    text = path.read_text()
    if aside is not None:
        names = ", ".join(f'"{words[word]}{aside}"' for word in ("longitude", "latitude", "height"))
        text = text.replace("[[points]]", f"[[points]]\nnot_measured = [{names}]")
    for word in ("longitude", "latitude", "height") if mapped else ():
        text = text.replace(f'{word} = "{words[word]}"', f'{word} = "{words[word]}{mapped}"')
    path.write_text(text)
    record = run_job(path, dry_run=True).record
    doubts = [(doubt["what"], doubt["confirmed"]) for doubt in record["doubts"] if doubt["kind"] == "place"]
    idle = [note for note in record["notes"] if "has no effect" in note]
    return doubts, [*sorted({one["verdict"] for one in record["sessions"]}), *idle]


def test_a_second_position_in_the_same_system_is_doubted(tmp_path: Path) -> None:
    ((what, confirmed),), verdicts = staked(tmp_path)
    assert "as staked" in what and "on marks both agree" in what and not confirmed
    assert verdicts == ["unchecked"]


def test_it_is_not_once_somebody_said_which_was_measured(tmp_path: Path) -> None:
    ((_, confirmed),), verdicts = staked(tmp_path, aside=" as staked")
    assert confirmed and verdicts == ["proven"]


def test_nor_where_what_is_mapped_says_that_it_was_measured(tmp_path: Path) -> None:
    assert staked(tmp_path, mapped=" as staked") == ([], ["proven"])


def test_nor_where_marks_have_no_second_position_as_of_a_design(tmp_path: Path) -> None:
    assert staked(tmp_path, marks_too=False) == ([], ["proven"])


def test_the_answer_of_a_draft_counts_there_too(tmp_path: Path) -> None:
    """The plain columns are set aside beside measured ones: told as confirmed, not as a key without an effect."""
    ((_, confirmed),), verdicts = staked(tmp_path, aside="", mapped=" as staked")
    assert confirmed and verdicts == ["proven"]


def designed(
    folder: Path, *, mapped: str = "EllHt", marks: tuple[str, ...] = ("CM1", "CM2", "CM3", "CM4"), given: bool = False
) -> tuple[list[str], list[str]]:
    """Return doubts of a place, and notes, of a day of earthworks with the heights of a design as "X7".

    On ``marks`` the design has the register's heights in millimetres, on others as they were read, as controllers that
    stake out by it have: common practice, no source. ``given`` adds what was measured minus it as "X8".
    """
    path = simulate(Plan(points=40, sessions=1, reach=400.0, place=CANTERBURY)).write(folder)
    (export,) = folder.glob("rover*.csv")
    with (folder / "register.csv").open() as page:
        known = {row["mark"]: float(row["height"]) for row in csv.DictReader(page)}
    rows = list(csv.DictReader(export.read_text().splitlines()))
    sessions = tomllib.loads(path.read_text())["session"]
    on = {said["point"]: said["mark"] for one in sessions for said in (*one["ties"], *one["checks"])}
    off = known["CM1"] - float(rows[0]["EllHt"])
    for at, row in enumerate(rows):
        height, mark = float(row["EllHt"]) + off, on.get(row["Point"])
        if mark is None:
            height += random.Random(at).gauss(0.0, 0.1)
        row["X7"] = f"{known[mark] if mark in marks else height:.3f}"
        row |= {"X8": f"{float(row['EllHt']) - float(row['X7']):.3f}"} if given else {}
    with export.open("w", newline="") as page:
        writer = csv.DictWriter(page, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    path.write_text(path.read_text().replace('height = "EllHt"', f'height = "{mapped}"'))
    record = run_job(path, dry_run=True).record
    notes = [note for note in record["notes"] if "differ otherwise" in note]
    return [doubt["what"] for doubt in record["doubts"] if doubt["kind"] == "place"], notes


def test_what_has_the_registers_own_numbers_on_marks_is_a_design_whatever_its_heading(tmp_path: Path) -> None:
    assert designed(tmp_path) == ([], [])


def test_on_one_mark_that_may_be_chance(tmp_path: Path) -> None:
    ((what,), _) = designed(tmp_path, marks=("CM1",))
    assert '"X7"' in what and "on marks both agree" in what


def test_a_design_that_is_mapped_for_what_was_measured_is_doubted(tmp_path: Path) -> None:
    ((what,), _) = designed(tmp_path, mapped="X7")
    assert 'heights of "EllHt"' in what and "on marks both agree" in what


def test_a_column_of_the_differences_is_named(tmp_path: Path) -> None:
    ((what,), _) = designed(tmp_path, marks=(), given=True)
    assert '("X8" holds the differences)' in what
