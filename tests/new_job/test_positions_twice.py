"""Positions that a file has twice: asked for where one is of another day, the finer taken where they agree."""

import random
import tomllib
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest
from exports_made import feature, geojson
from folders_made import cells, job_of, lay, write

from pipeline import run_job
from pipeline.check import check_job
from pipeline.new_job import new_job
from pipeline.new_job.start import Started
from pipeline.problems import JobError

HEADS = {"name": "Point", "code": "Code", "time": "Time UTC", "longitude": "Longitude", "latitude": "Latitude",
         "easting": "Easting", "northing": "Northing", "height": "Ellipsoidal Height", "solution": "Solution",
         "base": "Base"}  # fmt: skip


def text(at: int, value: str, metres: float, decimals: int) -> str:
    """Return a number that is moved in each row otherwise, by up to so many metres."""
    scale = 1.0 if abs(float(value)) > 360.0 else 1e-5
    return f"{float(value) + random.Random(at).uniform(-metres, metres) * scale:.{decimals}f}"


def laid(
    folder: Path, moved: Sequence[str] = (), decimals: Mapping[str, int] | None = None, heads: Mapping[str, str] = HEADS
) -> Started:
    """Lay a job whose export has degrees and grid coordinates; columns of ``moved`` are of another day."""
    job = job_of()
    lay(folder, job)
    decimals = {"longitude": 9, "latitude": 9, "easting": 3, "northing": 3} | dict(decimals or {})
    told = {
        word: [text(at, cell, 2.0 if word in moved else 0.0, places) for at, cell in enumerate(cells(job, word, str))]
        for word, places in decimals.items()
    }
    write(folder / "rover.csv", job, heads, told=told)
    return new_job(folder)


def columns_of(started: Started) -> dict[str, Any]:
    (block,) = tomllib.loads(Path(started.path).read_text())["points"]
    return dict(block["columns"])


def of_positions(started: Started) -> list[str]:
    return [one.question.asks for one in started.asked if "which of these positions" in one.question.asks]


@pytest.mark.parametrize("moved", [("longitude", "latitude"), ("easting", "northing")])
def test_one_of_another_day_is_asked_for(tmp_path: Path, moved: tuple[str, str]) -> None:
    started = laid(tmp_path, moved)
    (asks,) = of_positions(started)
    assert '"Longitude" and "Latitude" or "Easting" and "Northing"' in asks
    assert not {"longitude", "latitude", "easting", "northing"} & columns_of(started).keys()
    path = Path(started.path)
    page = path.read_text()
    with pytest.raises(JobError) as refused:
        check_job(path)
    assert "which of these positions was measured" in str(refused.value)
    assert '# crs = "EPSG:2193"  # if easting and northing' in page
    for key, value in (("easting", '"Easting"'), ("northing", '"Northing"'), ("crs", '"EPSG:2193"')):
        page = page.replace(f"# {key} = {value}", f"{key} = {value}")
    path.write_text(page.replace('# height = "EPSG:5773"', 'height = "EPSG:5773"'))
    assert "which of these positions was measured" not in problems(path)


@pytest.mark.parametrize("recorded", [True, False])
def test_the_answer_is_recorded_and_asked_once(tmp_path: Path, recorded: bool) -> None:
    """Degrees are of the antenna, the grid of points offset from it, which on marks are the same."""
    job = job_of()
    lay(tmp_path, job)
    on_marks = ["-T" in name or "-C" in name for name in cells(job, "name", str)]
    told = {
        word: [text(at, cell, 0.0 if on_marks[at] else 2.0, 3) for at, cell in enumerate(cells(job, word, str))]
        for word in ("easting", "northing")
    }
    write(tmp_path / "rover.csv", job, HEADS, told=told)
    path = Path(new_job(tmp_path).path)
    page = path.read_text()
    lines = ['easting = "Easting"', 'northing = "Northing"', 'crs = "EPSG:2193"', 'height = "EPSG:5773"']
    for line in [*lines, 'not_measured = ["Longitude", "Latitude"]'][: 5 if recorded else 4]:
        page = page.replace(f"# {line}", line)
    if not recorded:
        page = "\n".join(line for line in page.splitlines() if "not_measured" not in line)
    path.write_text(page)
    record = run_job(path).record
    ((kind, confirmed, what),) = [(one["kind"], one["confirmed"], one["what"]) for one in record["doubts"]]
    assert (kind, confirmed) == ("place", recorded)
    assert 'positions of "Longitude" and "Latitude"' in what
    assert {one["verdict"] for one in record["sessions"]} == ({"proven"} if recorded else {"unchecked"})


def problems(path: Path) -> str:
    try:
        check_job(path)
    except JobError as error:
        return str(error)
    return ""


@pytest.mark.parametrize("decimals", [9, 7])
def test_degrees_are_taken_where_both_agree(tmp_path: Path, decimals: int) -> None:
    started = laid(tmp_path, decimals={"longitude": decimals, "latitude": decimals})
    assert of_positions(started) == []
    assert columns_of(started)["longitude"] == "Longitude"


@pytest.mark.parametrize("decimals", [5, 6])
def test_what_has_more_digits_is_taken(tmp_path: Path, decimals: int) -> None:
    started = laid(tmp_path, decimals={"longitude": decimals, "latitude": decimals})
    assert of_positions(started) == []
    found = columns_of(started)
    assert (found["easting"], found["northing"]) == ("Easting", "Northing")
    assert "longitude" not in found
    page = tomllib.loads(Path(started.path).read_text())
    assert page["source"]["crs"] == "EPSG:2193"


def test_coarse_degrees_beside_coarse_metres_stay(tmp_path: Path) -> None:
    started = laid(tmp_path, decimals={"longitude": 6, "latitude": 6, "easting": 1, "northing": 1})
    assert columns_of(started)["longitude"] == "Longitude"


@pytest.mark.parametrize("design", ["Design {}", "{} Soll", "Staked {}"])
def test_a_design_beside_them_is_not_asked_for(tmp_path: Path, design: str) -> None:
    heads = HEADS | {"easting": design.format("Easting"), "northing": design.format("Northing")}
    started = laid(tmp_path, ("easting", "northing"), heads=heads)
    assert of_positions(started) == []
    assert columns_of(started)["longitude"] == "Longitude"


@pytest.mark.parametrize("words", [("longitude", "latitude"), ("easting", "northing")])
def test_geometries_with_heights_are_read_where_columns_have_none(tmp_path: Path, words: tuple[str, str]) -> None:
    job = job_of()
    lay(tmp_path, job)
    plan = [cells(job, word, str) for word in words]
    made = []
    for at in range(len(job.rows["height"])):
        name, code, time = (str(job.rows[word][at]) for word in ("name", "code", "time"))
        place = [float(job.rows[word][at]) for word in ("longitude", "latitude", "height")]
        more = {word: float(column[at]) for word, column in zip(words, plan, strict=True)}
        made.append(feature({"type": "Point", "coordinates": place}, name=name, time=f"{time}Z", code=code, **more))
    geojson(tmp_path / "rover.geojson", made)
    started = new_job(tmp_path)
    assert not {*words, "height"} & columns_of(started).keys()
    assert "the geometry is used, which has heights" in Path(started.path).read_text()


def second(folder: Path, heads: Sequence[str], sigma: float = 0.025, deltas: bool = False) -> Started:
    """Lay a job in the grid whose export has eastings, northings and heights a second time, as staked out."""
    job = job_of()
    lay(folder, job)
    some, plain = random.Random(4), {}
    headings = {word: head for word, head in HEADS.items() if word not in ("longitude", "latitude")}
    told: dict[str, list[str]] = {}
    for word, head in zip(("easting", "northing", "height"), heads, strict=True):
        plain[word] = [f"{float(cell):.3f}" for cell in cells(job, word, str)]
        off = [some.gauss(0.0, sigma) for _ in plain[word]]
        told |= {word: plain[word], head: [f"{float(a) + b:.3f}" for a, b in zip(plain[word], off, strict=True)]}
        headings |= {head: head}
        if deltas:
            name = f"d{word[0].upper()}"
            told[name] = [f"{float(a) - float(b):.3f}" for a, b in zip(plain[word], told[head], strict=True)]
            headings |= {name: name}
    write(folder / "rover.csv", job, headings, told=told)
    return new_job(folder)


@pytest.mark.parametrize(
    ("heads", "deltas", "first"),
    [
        (("Easting as-staked", "Northing as-staked", "Height as-staked"), False, "Easting as-staked"),
        (("E meas", "N meas", "Z meas"), False, "E meas"),
        (("E2", "N2", "Z2"), False, "Easting"),
        (("E2", "N2", "Z2"), True, "E2"),
    ],
)
def test_a_second_position_in_the_grid_is_asked_for(
    tmp_path: Path, heads: tuple[str, str, str], deltas: bool, first: str
) -> None:
    started = second(tmp_path, heads, deltas=deltas)
    (asks,) = of_positions(started)
    assert first in asks.partition(" or ")[0]
    assert not {"easting", "northing", "height"} & columns_of(started).keys()
    page = Path(started.path).read_text()
    assert f'# easting = "{heads[0]}"  # as easting, with northing and height' in page
    assert f'# not_measured = ["{heads[0]}", "{heads[1]}", "{heads[2]}"]' in page
    assert '# not_measured = ["Easting", "Northing", "Ellipsoidal Height"]' in page


@pytest.mark.parametrize(
    ("heads", "sigma"),
    [
        (("Design Easting", "Design Northing", "Design Height"), 0.025),
        (("E2", "N2", "Z2"), 0.0),
        (("E2", "N2", "Z2"), 0.005),
        (("Antenna E", "Antenna N", "Antenna H"), 0.3),
    ],
)
def test_no_second_position_that_is_another_by_its_heading_or_no_other(
    tmp_path: Path, heads: tuple[str, str, str], sigma: float
) -> None:
    started = second(tmp_path, heads, sigma)
    assert of_positions(started) == []
    assert {"easting", "northing", "height"} <= columns_of(started).keys()
