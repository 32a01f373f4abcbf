"""Which of X and Y is the easting: told by what the files say, by the grid's own axes and area, or asked."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from answered import answer
from folders_made import NAMELESS, job_of, lay, write
from issued import current_issue

from pipeline import run_job
from pipeline.new_job import new_job
from pipeline.new_job.start import Started

#: Names of an export's columns beside its position.
BESIDE = {"height": "Ellipsoidal height", "time": "Time UTC", "solution": "Solution", "base": "Base", "code": "Code"}


def laid(folder: Path, register: tuple[str, str], export: dict[str, str], name: str = "control.csv") -> Started:
    """Lay a job in the grid of New Zealand; ``register`` are the headings of the northing and of the easting."""
    job = job_of()
    lay(folder, job)
    (folder / "control.csv").unlink()
    rows = job.register
    lines = [f"Mark,{register[0]},{register[1]},Height"]
    lines += [f"{mark},{rows['northing'][at]:.4f},{rows['easting'][at]:.4f},{rows['height'][at]:.4f}"
              for at, mark in enumerate(rows["mark"])]  # fmt: skip
    (folder / name).write_text("\n".join(lines) + "\n", encoding="utf-8")
    write(folder / "rover.csv", job, {"name": "Point", **export, **BESIDE}, time="%Y-%m-%d %H:%M:%S.%f")
    return new_job(folder)


def eastings(started: Started) -> list[object]:
    raw = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))
    return [raw["control"]["columns"].get("easting"), raw["points"][0]["columns"].get("easting")]


def keys(started: Started) -> list[str]:
    return [one.question.key for one in started.asked]


TURNED = {"northing": "X", "easting": "Y"}
DEGREES = {"latitude": "Lat", "longitude": "Lon"}


@pytest.mark.parametrize(
    ("register", "export", "name", "expected"),
    [
        # northings of 5,000 km are in the area of the grid only as northings
        (("X", "Y"), TURNED, "control_EPSG2193.csv", ["Y", "Y"]),
        (("X", "Y"), DEGREES, "control_EPSG2193.csv", ["Y", None]),
        (("Y", "X"), {"northing": "Y", "easting": "X"}, "control_EPSG2193.csv", ["X", "X"]),
        # readings in degrees lie beside the marks in one way alone
        (("X", "Y"), DEGREES, "control.csv", ["Y", None]),
        (("Y", "X"), DEGREES, "control.csv", ["X", None]),
        # the other file says which is which
        (("X", "Y"), {"northing": "N", "easting": "E"}, "control.csv", ["Y", "E"]),
        (("N", "E"), TURNED, "control.csv", ["E", "Y"]),
        # the heading says it outright
        (("X (North)", "Y (East)"), {"northing": "X (N) [m]", "easting": "Y [East]"}, "control.csv",
         ["Y (East)", "Y [East]"]),
        (("X", "Y (East)"), {"northing": "Hochwert X", "easting": "Rechtswert Y"}, "control.csv",
         ["Y (East)", "Rechtswert Y"]),
        (("Y_North", "X_East"), {"northing": "Nord (Y)", "easting": "X"}, "control.csv", ["X_East", "X"]),
    ],
)  # fmt: skip
def test_the_easting_is_told_by_what_is_there(
    register: tuple[str, str], export: dict[str, str], name: str, expected: list[object], tmp_path: Path
) -> None:
    started = laid(tmp_path, register, export, name)
    assert eastings(started) == expected
    assert "easting" not in keys(started)


@pytest.mark.parametrize("letters", ["{}", "Coord {} [m]", "{}_coord", "{}-Koordinate"])
def test_x_and_y_alone_are_asked_for_and_the_answer_comes_to_the_truth(letters: str, tmp_path: Path) -> None:
    x, y = (letters.format(letter) for letter in "XY")
    started = laid(tmp_path, (x, y), {"northing": x, "easting": y})
    assert eastings(started) == [None, None] and keys(started).count("easting") == 1
    answers = {"height": '"EPSG:5773"', **NAMELESS, "easting": f'"{y}"', "northing": f'"{x}"'}
    answer(Path(started.path), answers, own=("height",))
    outcome = run_job(started.path)
    issue = current_issue(tmp_path / "out")
    known = np.array([job_of().truth.of(row["name"]) for row in issue.points.rows])
    assert outcome.record["verdict"] == "proven"
    assert np.abs(issue.points.xyz() - known).max() < 0.001


#: Around the origin of a plane system both ways lie in its area. What the axes are called: the EPSG registry, of
#: Japan's plane system IX X to the north (official there by law), of Belgian Lambert 72 X to the east.
@pytest.mark.parametrize(("code", "middle", "easting"), [(6677, -20000.0, "Y"), (31370, 160000.0, "X")])
def test_the_grids_own_axes_tell_it_where_both_ways_lie_in_its_area(
    code: int, middle: float, easting: str, tmp_path: Path
) -> None:
    marks = {"T1": (middle, middle + 5000.0), "T2": (middle + 300.0, middle + 5640.0), "T3": (middle + 500.0, middle)}
    lines = [f"{name},{x},{y},40.0" for name, (x, y) in marks.items()]
    (tmp_path / f"control_EPSG{code}.csv").write_text(
        "\n".join(["Mark,X,Y,Ellipsoid Height", *lines]), encoding="utf-8"
    )
    times = [f"2026-03-12T0{hour}:00:00Z" for hour in range(3)]
    rows = [f"{name},{x + 1.0},{y - 0.5},43.0,{time},fix"
            for (name, (x, y)), time in zip(marks.items(), times, strict=True)]  # fmt: skip
    head = "Name,X,Y,Ellipsoid Height,Time,Solution"
    (tmp_path / "obs.csv").write_text("\n".join([head, *rows]), encoding="utf-8")
    started = new_job(tmp_path)
    assert eastings(started) == [easting, easting] and "easting" not in keys(started)
    assert " have these names" in Path(started.path).read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("x", "y", "latitude", "told"),
    [
        (116.38123456, 39.91234567, "Y", False),
        (39.91234567, 116.38123456, "X", False),
        (2.35123456, 48.8512345, "Y", True),
    ],
)
def test_degrees_under_x_and_y_are_told_by_their_size(
    x: float, y: float, latitude: str, told: bool, tmp_path: Path
) -> None:
    text = f"Point,X,Y,Ellipsoid Height,Time\nP1,{x},{y},40.0,2026-03-12T07:00:00Z\n"
    (tmp_path / "obs.csv").write_text(text, encoding="utf-8")
    written = Path(new_job(tmp_path).path).read_text(encoding="utf-8")
    assert tomllib.loads(written)["points"][0]["columns"]["latitude"] == latitude
    assert ("is used as the longitude" in written) == told


def test_where_readings_and_marks_stand_another_way_each_is_asked_for(tmp_path: Path) -> None:
    started = laid(tmp_path, ("X", "Y"), {"northing": "Y", "easting": "X"})
    assert keys(started).count("easting") == 2


#: Marks near the worked example of the Krovak projection in the registry's guidance note 7-2, and the same degrees.
_SOUTHING, _WESTING, _LATITUDE, _LONGITUDE = 1050538.63, 568991.00, 50.2090116667, 16.8497719444


@pytest.mark.parametrize("head", ["Bod;Y;X;Ellipsoid height", "Bod;X;Y;Ellipsoid height"])
def test_y_is_the_easting_of_a_grid_that_counts_to_the_south_and_west(head: str, tmp_path: Path) -> None:
    # a metre along the grid, in degrees at this place: its own south is turned by 5.6 degrees from the meridian
    turn, east, north = np.radians(-5.85), 1 / (111_320 * np.cos(np.radians(_LATITUDE))), 1 / 111_200
    steps = {"T1": (0.0, 0.0), "T2": (700.0, 200.0), "T3": (-300.0, 650.0)}
    lines, rows = [head], ["Name,Lat,Lon,Ellipsoid height,Time,Solution"]
    for at, (name, (west, south)) in enumerate(steps.items()):
        plane = {"Y": f"{_WESTING + west:.3f}", "X": f"{_SOUTHING + south:.3f}"}
        lines.append(";".join([name, *(plane[letter] for letter in head.split(";")[1:3]), "300.000"]))
        to_east = -west * np.cos(turn) - south * np.sin(turn)
        to_north = west * np.sin(turn) - south * np.cos(turn)
        degrees = f"{_LATITUDE + to_north * north:.9f},{_LONGITUDE + to_east * east:.9f}"
        rows.append(f"{name},{degrees},300.5,2026-03-12T0{at}:00:00Z,fix")
    (tmp_path / "body_EPSG5513.csv").write_text("\n".join(lines), encoding="utf-8")
    (tmp_path / "obs.csv").write_text("\n".join(rows), encoding="utf-8")
    started = new_job(tmp_path)
    text = Path(started.path).read_text(encoding="utf-8")
    raw = tomllib.loads(text)["control"]["columns"]
    assert (raw["easting"], raw["northing"]) == ("Y", "X")
    assert '"Y" is used as the easting (numbers grow to the west and south in this grid)' in " ".join(text.split())


@pytest.mark.parametrize(("code", "mirrored"), [(2193, True), (2053, False)])
def test_a_westing_in_a_grid_that_counts_to_the_east_is_told(code: int, mirrored: bool, tmp_path: Path) -> None:
    # the worked example of Lo29 in the registry's guidance note 7-2
    places = [("T1", 71984.49, 2847342.74), ("T2", 72284.49, 2847042.74), ("T3", 71784.49, 2847642.74)]
    lines = [f"{name},{west},{south},40.0" for name, west, south in places]
    rows = [f"{name},{west},{south},40.0,2026-03-12T0{at}:00:00Z,fix" for at, (name, west, south) in enumerate(places)]
    head = "Westing,Southing,Ellipsoid height"
    (tmp_path / f"control_EPSG{code}.csv").write_text("\n".join([f"Mark,{head}", *lines]), encoding="utf-8")
    (tmp_path / "obs.csv").write_text("\n".join([f"Name,{head},Time,Solution", *rows]), encoding="utf-8")
    started = new_job(tmp_path)
    assert eastings(started) == ["Westing", "Westing"]
    written = " ".join(Path(started.path).read_text(encoding="utf-8").replace("#", "").split())
    assert ("state a grid that counts to the west" in written) is mirrored


def test_the_question_says_where_the_job_lies_either_way(tmp_path: Path) -> None:
    # in Irish Transverse Mercator: 120 km apart, both in Ireland
    places = [("T1", 727979.9, 593472.2), ("T2", 727536.2, 592916.1), ("T3", 727136.2, 593916.1)]
    lines = [f"{name},{x},{y},111.4" for name, x, y in places]
    rows = [f"{name},{x},{y},117.4,2026-03-11T0{at}:00:00Z,fix" for at, (name, x, y) in enumerate(places)]
    head = "X,Y,Ellipsoid height"
    (tmp_path / "control_EPSG2157.csv").write_text("\n".join([f"Mark,{head}", *lines]), encoding="utf-8")
    (tmp_path / "obs.csv").write_text("\n".join([f"Name,{head},Time,Solution", *rows]), encoding="utf-8")
    (asked,) = [one.question for one in new_job(tmp_path).asked if one.question.key == "easting"]
    first, second = (one.why for one in asked.candidates)
    assert "lies at -6.14, 52.08, " in first and "south of Dublin" in first
    assert "lies at -8.1" in second and "of Dublin" in second
