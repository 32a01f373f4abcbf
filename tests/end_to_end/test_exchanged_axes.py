"""Easting and northing exchanged in export and register alike: every check agrees, and every point is mirrored.

Truth by closed forms: zone IX of Japan's plane rectangular system is a transverse Mercator from 36 N, 139 50' E with
the scale 0.9999, and calls its northing X (EPSG registry). What is expected follows from what a surveyor means by the
headings, and from where the numbers lie.
"""

import csv
from pathlib import Path

import pytest
from closed_forms import GRS80, TransverseMercator, utm
from running import Row, replace_in, rewrite_export
from simulate import Place, Plan, simulate

from pipeline import run_job
from pipeline.check import check_job

ZONE_9 = TransverseMercator(GRS80, 139.0 + 50.0 / 60.0, 0.9999, 0.0, 0.0, 36.0)
TOKYO = Place(139.70, 36.20, 60.0, GRS80, ZONE_9, "EPSG:6677", "EPSG:6667", "ellipsoid", None)
BAVARIA = Place(11.50, 48.10, 560.0, GRS80, utm(32, south=False), "EPSG:25832", "EPSG:4937", "ellipsoid", None)
#: Israeli Grid 05/12 and Irish Transverse Mercator, by their parameters in the EPSG registry.
ISRAEL = TransverseMercator(GRS80, 35.204516945, 1.0000067, 219529.584, 626907.39, 31.734393611)
HILLS = Place(35.00, 32.10, 190.0, GRS80, ISRAEL, "EPSG:6991", "EPSG:6989", "ellipsoid", None)
IRELAND = TransverseMercator(GRS80, -8.0, 0.99982, 600_000.0, 750_000.0, 53.5)
WEXFORD = Place(-6.14, 52.08, 110.0, GRS80, IRELAND, "EPSG:2157", "EPSG:4937", "ellipsoid", None)
#: Headings in export and register, the easting's first, as the job file maps them.
Headings = tuple[tuple[str, str], tuple[str, str]]


def surveyed(folder: Path, headings: Headings, *, wrong: bool, place: Place = TOKYO, degrees: bool = False) -> Path:
    """Write a day in a grid; where it is ``wrong``, numbers of the northing stand in what is mapped as the easting.

    ``degrees`` keeps longitude and latitude beside them.
    """
    job = simulate(Plan(sessions=1, points=20, checks=3, marks=4, place=place, seed=5))
    path = job.write(folder)
    exported, registered = headings

    def written(east: float, north: float, names: tuple[str, str]) -> Row:
        pair = (north, east) if wrong else (east, north)
        return {name: f"{value:.4f}" for name, value in zip(names, pair, strict=True)}

    def on_grid(row: Row) -> Row:
        kept = {"Lat": row.pop("Lat"), "Lon": row.pop("Lon")}
        east, north = place.projection.forward(float(kept["Lon"]), float(kept["Lat"]))
        return row | written(float(east), float(north), exported) | (kept if degrees else {})

    rewrite_export(folder / "rover001.csv", on_grid)
    marks = job.marks
    with (folder / "register.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, ["mark", *registered, "ellipsoid_height"], lineterminator="\n")
        writer.writeheader()
        for name, *pair, up in zip(marks.names, marks.easting, marks.northing, marks.ellipsoid_height, strict=True):
            row = {"mark": str(name), "ellipsoid_height": f"{up:.4f}"}
            writer.writerow(row | written(float(pair[0]), float(pair[1]), registered))
    columns = f'columns = {{ easting = "{registered[0]}", northing = "{registered[1]}" }}\n'
    changes = {
        f'crs = "{place.source}"': f'crs = "{place.grid}"',
        'file = "register.csv"\n': f'file = "register.csv"\n{columns}',
        'longitude = "Lon"': f'easting = "{exported[0]}"',
        'latitude = "Lat"': f'northing = "{exported[1]}"',
    }
    replace_in(path, changes)
    return path


def told(path: Path) -> tuple[list[str], list[str]]:
    """Return what is in doubt, and what is noted, of easting and northing that may be exchanged."""
    checked = check_job(path)
    doubts = [str(doubt) for doubt in checked.doubts if "exchange" in str(doubt)]
    return doubts, [note for note in checked.warnings if "exchange" in note and note not in doubts]


@pytest.mark.parametrize(
    "headings",
    [
        (("North", "East"), ("N", "E")),
        (("Hochwert", "Rechtswert"), ("Hochwert [m]", "Rechtswert [m]")),
        (("Norte", "Este"), ("X (Nord)", "Y (Est)")),
        (("X", "Y"), ("X", "Y")),
        (("X座標", "Y座標"), ("x_coord", "y_coord")),
        (("1st", "2nd"), ("Northing", "Easting")),
    ],
)
def test_headings_of_the_other_axis_are_in_doubt(headings: Headings, tmp_path: Path) -> None:
    path = surveyed(tmp_path, headings, wrong=True)
    doubts, notes = told(path)
    assert len(doubts) == 1 and "every check agrees" in doubts[0] and notes == []
    assert run_job(path, dry_run=True).exit_code == 3
    replace_in(path, {"[quality]": '[checks]\nconfirmed = ["place"]\n\n[quality]'})
    assert run_job(path, dry_run=True).exit_code == 0


def test_the_distance_is_that_of_the_place_with_both_exchanged(tmp_path: Path) -> None:
    (doubt,), _ = told(surveyed(tmp_path, (("N", "E"), ("N", "E")), wrong=True))
    east, north = ZONE_9.forward(TOKYO.longitude, TOKYO.latitude)
    away = 2**0.5 * abs(float(east - north)) / 1000.0  # to the mirrored place across the line where both are equal
    assert f" {away:.0f} km from its place" in doubt


@pytest.mark.parametrize("headings", [(("X", "Y"), ("X", "Y")), (("A", "B"), ("Y", "X")), (("N", "E"), ("X", "Y"))])
def test_a_job_outside_the_area_of_its_grid_and_inside_with_both_exchanged_is_in_doubt(
    headings: Headings, tmp_path: Path
) -> None:
    doubts, notes = told(surveyed(tmp_path, headings, wrong=True, place=HILLS))
    assert len(doubts) == 1 and "outside the area in which Israeli Grid 05/12 is used" in doubts[0] and notes == []
    assert "inside it with easting and northing exchanged, at 35.00, 32.10, 4" in doubts[0]  # 0.35 degrees to Jerusalem


# Dublin is at 53 20 N, 6 15 W: 1.25 degrees of 111.2 km
@pytest.mark.parametrize(("wrong", "here"), [(False, "-6.14, 52.08, 139 km south of Dublin"), (True, "-8.09, 53.30")])
def test_where_both_ways_are_in_the_grid_a_first_issue_says_where_the_job_lies(
    wrong: bool, here: str, tmp_path: Path
) -> None:
    path = surveyed(tmp_path, (("X", "Y"), ("X", "Y")), wrong=wrong, place=WEXFORD)
    (note,) = [each for each in check_job(path).warnings if "which is right?" in each]
    assert f"the job lies at {here}" in note
    assert told(path) == ([], [])
    assert note in run_job(path).record["notes"]
    replace_in(path, {"[quality]": "[checks]\nhorizontal = 0.06\n\n[quality]"})
    assert note not in run_job(path).record["notes"]


@pytest.mark.parametrize(
    ("headings", "place"),
    [
        ((("X", "Y"), ("X", "Y")), HILLS),
        ((("E", "N"), ("X", "Y")), WEXFORD),
        ((("Y", "X"), ("Y", "X")), TOKYO),
        ((("E", "N"), ("easting", "northing")), TOKYO),
        ((("Ost", "Nord"), ("Rechtswert", "Hochwert")), TOKYO),
        ((("Este", "Norte"), ("X (Est)", "Y (Nord)")), TOKYO),
        ((("first", "second"), ("A", "B")), TOKYO),
        # headings of a program that calls them otherwise: numbers of a UTM zone lie in it one way alone
        ((("Y", "X"), ("Y", "X")), BAVARIA),
        ((("X", "Y"), ("X", "Y")), BAVARIA),
        ((("North", "East"), ("N", "E")), BAVARIA),
        # and words go before letters that the grid calls otherwise
        ((("X", "Y"), ("easting", "northing")), TOKYO),
    ],
)
def test_honest_mappings_are_left_alone(headings: Headings, place: Place, tmp_path: Path) -> None:
    path = surveyed(tmp_path, headings, wrong=False, place=place)
    assert told(path) == ([], [])
    outcome = run_job(path, dry_run=True)
    assert (outcome.exit_code, outcome.record["doubts"]) == (0, [])


def test_headings_that_contradict_one_another_are_noted(tmp_path: Path) -> None:
    doubts, notes = told(surveyed(tmp_path, (("North", "East"), ("easting", "northing")), wrong=False))
    assert doubts == [] and len(notes) == 1 and "the register says otherwise" in notes[0]


def test_degrees_beside_them_tell_it_whatever_the_headings_say(tmp_path: Path) -> None:
    doubts, _ = told(surveyed(tmp_path / "wrong", (("A", "B"), ("A", "B")), wrong=True, degrees=True))
    assert len(doubts) == 1 and "its longitudes and latitudes" in doubts[0]
    honest = surveyed(tmp_path / "right", (("North", "East"), ("N", "E")), wrong=False, degrees=True)
    assert told(honest) == ([], [])


def test_a_day_on_the_diagonal_has_nothing_to_tell(tmp_path: Path) -> None:
    """Where easting and northing are alike, degrees beside them are as near either way."""
    east = Place(140.2776, 36.36, 60.0, GRS80, ZONE_9, "EPSG:6677", "EPSG:6667", "ellipsoid", None)
    path = surveyed(tmp_path, (("A", "B"), ("A", "B")), wrong=False, place=east, degrees=True)
    assert told(path) == ([], [])
