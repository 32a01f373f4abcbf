"""What headings of heights say, and what is asked where they say a height datum or leave it open."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from answered import answer
from folders_made import job_of, lay, write
from issued import current_issue

from pipeline import run_job
from pipeline.new_job import new_job
from pipeline.new_job.heights import height_said
from pipeline.new_job.start import Started


@pytest.mark.parametrize(
    ("heading", "says"),
    [
        ("Ellip Ht", "ellipsoid"), ("Ell. Height [m]", "ellipsoid"), ("Height (ellipsoidal)", "ellipsoid"),
        ("Elevation (ellipsoidal)", "ellipsoid"), ("Altura elipsoidal (m)", "ellipsoid"), ("WGS84 Height", "ellipsoid"),
        ("Ellipsoid", "ellipsoid"), ("Orthometric", "level"),
        ("RL", "level"), ("RL (AHD)", "level"), ("NZVD2016 Height", "level"), ("AHD", "level"), ("NAP", "level"),
        ("Elevation NAVD88 (usft)", "level"), ("Z (NGF-IGN69)", "level"), ("Lyttelton 1937 height", "level"),
        ("H\u00f6he \u00fc. NHN", "level"), ("Height above mean sea level", "level"), ("hoogte t.o.v. NAP", "level"),
        ("Height (EGM96)", "level"), ("Cota ortom\u00e9trica", "level"), ("Elevation (m)", "level"),
        ("Altitudine elipsoidală", "ellipsoid"), ("Elevación", "level"), ("Elevação (m)", "level"), ("mPD", "level"),
        ("Cota", "level"), ("Cota (m)", "level"), ("Cota elipsoidal", "ellipsoid"),
        ("KOT", ""), ("Kota", ""), ("\u0397", ""),  # the Greek capital eta
        ("Height (m)", ""), ("H", ""), ("h", ""), ("Z (Up)", ""), ("Alt_ft", ""),
        # separations of a geoid, poles, precisions and whatever else are no heights
        ("Geoid height", None), ("EGM96", None), ("Antenna height", None), ("Point height", None), ("Lat", None),
        ("Height Error", None), ("Mean", None), ("Datum", None), ("N", None),
    ],
)  # fmt: skip
def test_a_heading_says_above_what_its_heights_are(heading: str, says: str | None) -> None:
    assert height_said(heading) == says


def laid(folder: Path, heights: dict[str, float], register: str = "height", first: str = "degrees") -> Started:
    """Lay a job whose export has heights under these headings: 0 above the ellipsoid, 1 above the folder's geoid."""
    job = job_of()
    lay(folder, job)
    text = (folder / "control.csv").read_text(encoding="utf-8")
    (folder / "control.csv").write_text(text.replace("height", register, 1), encoding="utf-8")
    plan = {"latitude": "Lat", "longitude": "Lon"} if first == "degrees" else {"easting": "E", "northing": "N"}
    separation = job.plan.place.separation(job.rows["longitude"], job.rows["latitude"])
    columns = [f"height {number}" for number in range(len(heights))]
    for column, part in zip(columns, heights.values(), strict=True):
        job.rows[column] = job.rows["height"] - part * separation
    heads = {"name": "Point", "time": "Time UTC", **plan, "solution": "Solution", "base": "Base", "code": "Code"}
    heads |= dict(zip(columns, heights, strict=True))
    write(folder / "rover.csv", job, heads, time="%Y-%m-%d %H:%M:%S.%f")
    return new_job(folder)


def asked(started: Started) -> dict[str, list[str]]:
    return {one.question.key: [each.value for each in one.question.candidates] for one in started.asked}


@pytest.mark.parametrize("heading", ["RL", "Elevation", "Height (EGM96)", "MSL [m]"])
def test_heights_above_a_datum_are_asked_about_and_come_to_the_truth(heading: str, tmp_path: Path) -> None:
    started = laid(tmp_path, {heading: 1.0})
    candidates = asked(started)["crs"]
    assert candidates[0] == '"EPSG:4167+5773"' and '"EPSG:4959"' in candidates
    answer(Path(started.path), {"source.crs": '"EPSG:4167+5773"', "height": '"EPSG:5773"'})
    outcome = run_job(started.path)
    issue = current_issue(tmp_path / "out")
    known = np.array([job_of().truth.of(row["name"]) for row in issue.points.rows])
    assert outcome.record["verdict"] == "proven"
    assert np.abs(issue.points.xyz() - known).max() < 0.001


def test_heights_of_a_grid_above_a_datum_are_asked_about_too(tmp_path: Path) -> None:
    assert "crs" in asked(laid(tmp_path, {"RL": 1.0}, first="plane"))


def test_the_datum_that_a_heading_names_comes_first(tmp_path: Path) -> None:
    started = laid(tmp_path, {"NZVD2016 Height": 1.0}, register="NZVD2016 Height")
    raw = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))
    assert raw["control"]["columns"]["height"] == "NZVD2016 Height"
    assert asked(started)["crs"][0] == '"EPSG:4167+7839"'
    assert asked(started)["target.height"][0] == '"EPSG:7839"'


@pytest.mark.parametrize("heights", [{"H": 1.0, "h": 0.0}, {"Height": 0.0, "Alt": 1.0}, {"Height": 0.0, "RL": 1.0}])
def test_two_columns_of_heights_are_asked_about(heights: dict[str, float], tmp_path: Path) -> None:
    started = laid(tmp_path, heights)
    raw = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))
    assert "height" not in raw["points"][0]["columns"]
    assert sorted(asked(started)["height"]) == sorted(f'"{name}"' for name in heights)
    assert ("crs" in asked(started)) == ("Alt" not in heights)


def test_two_columns_of_one_heading_are_asked_about_by_their_numbers(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    job.rows["other"] = job.rows["height"] - 12.0
    heads = {"name": "Point", "time": "Time UTC", "latitude": "Lat", "longitude": "Lon", "height": "Height"}
    write(tmp_path / "rover.csv", job, {**heads, "other": "Height"})
    assert asked(new_job(tmp_path))["height"] == ["5", "6"]


@pytest.mark.parametrize("heights", [{"EllHt": 0.0, "RL": 1.0}, {"Height": 0.0, "Z": 0.0}, {"Height": 0.0}])
def test_nothing_is_asked_where_one_says_ellipsoid_or_none_differs(heights: dict[str, float], tmp_path: Path) -> None:
    started = laid(tmp_path, heights)
    assert set(asked(started)) == {"target.height"}
    text = Path(started.path).read_text(encoding="utf-8")
    assert ("does not state above what" in text) == ("EllHt" not in heights)


def test_two_columns_of_heights_of_a_register_are_asked_about(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    lines = (tmp_path / "control.csv").read_text(encoding="utf-8").splitlines()
    more = ["Elevation", *(str(300.0 + number) for number in range(1, len(lines)))]
    (tmp_path / "control.csv").write_text(
        "\n".join(f"{line},{each}" for line, each in zip(lines, more, strict=True)), encoding="utf-8"
    )
    write(tmp_path / "rover.csv", job, {"name": "Point", "time": "Time", "latitude": "Lat", "longitude": "Lon",
                                        "height": "EllHt", "code": "Code"})  # fmt: skip
    started = new_job(tmp_path)
    assert sorted(asked(started)["height"]) == ['"Elevation"', '"height"']


@pytest.mark.parametrize(("unit", "first"), [("usft", '"EPSG:6360"'), ("m", '"EPSG:5703"'), ("ft", '"EPSG:8228"')])
def test_a_heading_in_feet_puts_the_datum_that_counts_in_them_first(unit: str, first: str, tmp_path: Path) -> None:
    """The registry: NAVD88 height in metres is EPSG:5703, in US survey feet 6360, in international feet 8228."""
    (tmp_path / "control.csv").write_text(
        f"Mark,Lat,Lon,Elevation NAVD88 ({unit})\nA,45.1234567,-120.1234567,650.0\nB,45.1334567,-120.1334567,680.0\n",
        encoding="utf-8",
    )
    (tmp_path / "rover.csv").write_text(
        "Point,Lat,Lon,EllHt,Time\nA,45.1234561,-120.1234561,180.0,2026-03-12T07:00:00Z\n"
        "P1,45.1244561,-120.1244561,180.0,2026-03-12T07:01:00Z\n",
        encoding="utf-8",
    )
    assert asked(new_job(tmp_path))["target.height"][0] == first


def with_separations(folder: Path, height: str, separation: str, part: float) -> Started:
    """Lay a job whose export has separations of the geoid beside heights, which are those less this part of them."""
    job = job_of()
    lay(folder, job)
    values = job.plan.place.separation(job.rows["longitude"], job.rows["latitude"])
    job.rows["height"] = job.rows["height"] - part * values
    heads = {"name": "Point", "time": "Time UTC", "latitude": "Lat", "longitude": "Lon", "height": height,
             "separation": separation, "solution": "Solution", "base": "Base", "code": "Code"}  # fmt: skip
    told = {"separation": [f"{value:.4f}" for value in values]}
    write(folder / "rover.csv", job, heads, time="%Y-%m-%d %H:%M:%S.%f", told=told)
    return new_job(folder)


@pytest.mark.parametrize(
    "separation", ["Geoid separation", "Geoid Height [m]", "N", "Undulation", "Ondulation", "EGM96"]
)
@pytest.mark.parametrize(("part", "crs"), [(1.0, '"EPSG:4167+5773"'), (0.0, '"EPSG:4959"')])
def test_heights_beside_separations_are_asked_about_and_come_to_the_truth(
    separation: str, part: float, crs: str, tmp_path: Path
) -> None:
    started = with_separations(tmp_path, "Altitude", separation, part)
    assert crs in asked(started)["crs"]
    if separation == "Geoid separation":
        answer(Path(started.path), {"source.crs": crs, "height": '"EPSG:5773"'})
        run_job(started.path)
        issue = current_issue(tmp_path / "out")
        known = np.array([job_of().truth.of(row["name"]) for row in issue.points.rows])
        assert np.abs(issue.points.xyz() - known).max() < 0.001


@pytest.mark.parametrize(
    ("height", "beside"),
    [
        ("Ellipsoidal height", "Geoid separation"),  # says it
        ("Altitude", ""),
    ],
)  # fmt: skip
def test_heights_that_say_the_ellipsoid_or_have_no_separation_beside_are_not_asked_about(
    height: str, beside: str, tmp_path: Path
) -> None:
    started = with_separations(tmp_path, height, beside, 0.0) if beside else laid(tmp_path, {height: 0.0})
    assert "crs" not in asked(started)


@pytest.mark.parametrize(
    ("heading", "says"),
    [
        ("Высота эллипсоидальная", "ellipsoid"), ("Высота над эллипсоидом, м", "ellipsoid"),
        ("Эллипсоидальная высота", "ellipsoid"), ("Висота над еліпсоїдом", "ellipsoid"),
        ("Độ cao ellipsoid", "ellipsoid"), ("Độ cao trên ellipsoid", "ellipsoid"), ("Visina elipsoidna", "ellipsoid"),
        ("Høyde over ellipsoiden", "ellipsoid"), ("Aukštis elipsoidinis", "ellipsoid"),
        ("Kõrgus ellipsoidist", "ellipsoid"), ("Υψόμετρο ελλειψοειδές", "ellipsoid"),
        ("Височина елипсоидна", "ellipsoid"), ("Înălțime elipsoidală", "ellipsoid"),
        ("Высота нормальная", "level"), ("Высота ортометрическая", "level"), ("Высота над геоидом", "level"),
        ("Отметка БС77", "level"), ("Высота", ""), ("Ошибка высоты", None), ("СКО высоты", None),
        ("Высота антенны", None), ("Высота геоида", None),
    ],
)  # fmt: skip
def test_what_headings_say_in_any_order_of_their_words(heading: str, says: str | None) -> None:
    assert height_said(heading) == says


@pytest.mark.parametrize("heading", ["Высота эллипсоидальная", "Độ cao ellipsoid", "Höhe über Ellipsoid"])
def test_a_register_and_an_export_with_such_a_heading_are_read(heading: str, tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    text = (tmp_path / "control.csv").read_text(encoding="utf-8").splitlines()
    text[0] = text[0].replace("height", heading)
    (tmp_path / "control.csv").write_text("\n".join(text), encoding="utf-8")
    heads = {"name": "Point", "longitude": "Lon", "latitude": "Lat", "height": heading, "time": "Time", "base": "Base"}
    write(tmp_path / "rover.csv", job, heads, time="%Y-%m-%dT%H:%M:%SZ")
    started = new_job(tmp_path)
    raw = tomllib.loads(Path(started.path).read_text(encoding="utf-8"))
    assert raw["points"][0]["columns"]["height"] == heading
    assert raw["control"]["columns"]["ellipsoid_height"] == heading


def test_a_register_whose_heights_have_an_unknown_heading_is_asked_for_them(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    text = (tmp_path / "control.csv").read_text(encoding="utf-8").splitlines()
    text[0] = text[0].replace("height", "Grumble")
    (tmp_path / "control.csv").write_text("\n".join(text), encoding="utf-8")
    heads = {"name": "Point", "longitude": "Lon", "latitude": "Lat", "height": "Ellipsoid height", "time": "Time"}
    write(tmp_path / "rover.csv", job, heads, time="%Y-%m-%dT%H:%M:%SZ")
    started = new_job(tmp_path)
    (asked,) = [one.question for one in started.asked if "heights of the marks" in one.question.asks]
    assert [each.value for each in asked.candidates] == ['"Grumble"']
    assert "has no heights" not in " ".join(started.notes)
    # the line that an answer of heights above the ellipsoid takes
    assert '# ellipsoid_height = "Grumble"' in Path(started.path).read_text(encoding="utf-8")


def _lay_unknown(folder: Path, places: dict[str, str], export: str, register: str) -> Started:
    """Lay a job whose heights have these headings, above the ellipsoid in the export and EGM96 in the register."""
    job = job_of()
    lay(folder, job)
    control = folder / "control.csv"
    head, *rows = control.read_text(encoding="utf-8").splitlines()
    assert head.split(",")[3] == "height"
    control.write_text("\n".join([head.replace("height", register), *rows]), encoding="utf-8")
    heads = {
        "name": "Point",
        "code": "Code",
        "time": "UTC",
        **places,
        "height": export,
        "solution": "Sol",
        "base": "Base",
    }
    write(folder / "rover.csv", job, heads)
    return new_job(folder)


@pytest.mark.parametrize("places", [{"longitude": "Lon", "latitude": "Lat"}, {"easting": "East", "northing": "North"}])
def test_heights_of_an_unknown_heading_are_asked_for(tmp_path: Path, places: dict[str, str]) -> None:
    """One rule for readings and marks, in degrees and in a grid: the run stops until they are named."""
    started = _lay_unknown(tmp_path, places, "Uzvisina", "Visinka")
    path = Path(started.path)
    assert [one.question.key for one in started.asked if "which column" in one.question.asks] == ["height", "height"]
    answers = {"target.height": '"EPSG:5773"', "control.height": '"EPSG:5773"', "points.columns.height": '"Uzvisina"'}
    answers |= {"control.columns.height": '"Visinka"', "ellipsoid_height": '"Visinka"'}
    answers |= (
        {} if "longitude" in places else dict.fromkeys(("target.grid", "source.crs", "control.crs"), '"EPSG:2193"')
    )
    answer(path, answers, own={"target.height", "control.height"} if "easting" in places else ())
    run_job(path)
    points = current_issue(tmp_path / "out").points
    known = np.array([job_of().truth.of(row["name"]) for row in points.rows])
    assert np.abs(points.xyz() - known).max() < 0.001


def test_a_register_of_positions_alone_is_not_asked_for_heights(tmp_path: Path) -> None:
    job = job_of()
    lay(tmp_path, job)
    control = tmp_path / "control.csv"
    rows = [line.split(",") for line in control.read_text(encoding="utf-8").splitlines()]
    control.write_text("\n".join(",".join(row[:3]) for row in rows), encoding="utf-8")
    write(
        tmp_path / "rover.csv",
        job,
        {word: word for word in ("name", "code", "time", "longitude", "latitude", "height")},
    )
    started = new_job(tmp_path)
    assert not any("heights of the marks" in one.question.asks for one in started.asked)
    assert any("every register needs a height column" in note for note in started.notes)
