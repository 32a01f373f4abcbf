"""Whole jobs with mistakes in what they name: one list, each with file and line, and not a byte written."""

import sqlite3
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from every import every
from issued import everything_below
from running import replace_in
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate

from pipeline import run_job
from pipeline.problems import JobError, Problem

PLAN = Plan(sessions=2, points=4, noise=False)


def line_of(path: Path, text: str) -> int:
    """Return the number of the one line that holds a text."""
    found = [number for number, line in enumerate(path.read_text().splitlines(), 1) if text in line]
    assert len(found) == 1, (text, found)
    return found[0]


def refused(path: Path) -> list[Problem]:
    """Run a job that must be refused, and see that nothing below its folder has changed."""
    before = everything_below(path.parent)
    with pytest.raises(JobError) as caught:
        run_job(path)
    assert everything_below(path.parent) == before
    assert caught.value.problems
    for problem in caught.value.problems:
        assert problem.file and problem.what
    return caught.value.problems


def only(path: Path, file: str, line: int, *words: str) -> None:
    """The one problem is in that file and line, and says these words."""
    problems = refused(path)
    assert len(problems) == 1, problems
    tells(problems, path.parent, file, line, *words)


def tells(problems: list[Problem], folder: Path, file: str, line: int, *words: str) -> None:
    here = [p for p in problems if Path(folder, p.file).resolve() == (folder / file).resolve() and p.line == line]
    assert any(all(word in f"{p.what} {p.fix}" for word in words) for p in here), problems


@pytest.fixture
def job(tmp_path: Path) -> tuple[Simulation, Path]:
    simulation = simulate(PLAN)
    return simulation, simulation.write(tmp_path)


Job = tuple[Simulation, Path]


def test_a_file_that_is_not_there(job: Job) -> None:
    path = job[1]
    replace_in(path, {'files = ["rover*.csv"]': 'files = ["rover*.csv", "rover2/*.csv"]'})
    only(path, "job.toml", line_of(path, "files ="), "rover2/*.csv")


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("rover002.csv", b""),
        ("rover002.csv", b"\x00\x01\x02\x03" * 500),
        ("rover002.csv", b"PK\x03\x04 a spreadsheet under another name"),
        ("rover002.geojson", b'{"type": "FeatureCollection", "features": [{"type": "Feat'),
        ("rover002.geojson", b"<html>not found</html>"),
        ("rover002.gpkg", b"SQLite format 3\0 and nothing behind it"),
        ("rover002.gpkg", b"not a database"),
        ("rover002.shp", b"a format that is not read"),
    ],
)
def test_a_file_that_cannot_be_read_at_all(name: str, content: bytes, job: Job) -> None:
    path = job[1]
    (path.parent / name).write_bytes(content)
    replace_in(path, {'files = ["rover*.csv"]': 'files = ["rover001.csv", "rover002.*"]'})
    problems = refused(path)
    assert len(problems) == 1
    assert problems[0].file.endswith(name)


def test_a_geopackage_whose_pages_are_damaged(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=600, noise=False)).write(tmp_path, "gpkg")
    export = tmp_path / "rover001.gpkg"
    with sqlite3.connect(export) as file:
        (pages,) = file.execute("pragma page_count").fetchone()
        (size,) = file.execute("pragma page_size").fetchone()
    file.close()
    data = bytearray(export.read_bytes())
    middle = pages * 2 // 3
    data[middle * size : (middle + 4) * size] = b"\xff" * (4 * size)
    export.write_bytes(data)
    problems = refused(path)
    assert any(problem.file.endswith("rover001.gpkg") for problem in problems)


def test_a_missing_column(job: Job) -> None:
    path = job[1]
    replace_in(path.parent / "rover001.csv", {",EllHt,": ",EllHgt,"})
    only(path, "rover001.csv", 1, "EllHt", "EllHgt")


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        ('grid = "EPSG:2193"', 'grid = "EPSG:21930"'),
        ('grid = "EPSG:2193"', 'grid = "EPSG:4959"'),
        ('crs = "EPSG:4959"', 'crs = "EPSG:1"'),
        ('crs = "EPSG:4959"', 'crs = "nonsense"'),
    ],
)
def test_an_unknown_crs(right: str, wrong: str, job: Job) -> None:
    path = job[1]
    line = line_of(path, right)
    replace_in(path, {right: wrong})
    only(path, "job.toml", line)


@pytest.mark.parametrize(("key", "value"), [("crs", "EPSG:99999"), ("height", "EPSG:2193"), ("height", "MSL")])
def test_an_unknown_crs_of_the_register(key: str, value: str, job: Job) -> None:
    path = job[1]
    at = line_of(path, "[control]")
    lines = path.read_text().splitlines()
    number = next(n for n, line in enumerate(lines) if n >= at and line.startswith(f"{key} ="))
    lines[number] = f'{key} = "{value}"'
    path.write_text("\n".join(lines))
    only(path, "job.toml", number + 1, value)


@pytest.mark.parametrize(
    ("datum", "grid"),
    [
        ("EPSG:7839", "nz_linz_nzgeoid2016.tif"),
        ("EPSG:5773", "us_nga_egm96_15.tif"),
        ("EPSG:3855", "us_nga_egm08_25.tif"),
        ("EPSG:4440", "nz_linz_nzgeoid2009.tif"),
    ],
)
def test_a_height_datum_whose_grid_is_absent(datum: str, grid: str, tmp_path: Path) -> None:
    """No height passes unchanged because a grid is missing: the run stops and says which file it looks for."""
    path = simulate(PLAN).write(tmp_path)
    lines = [line for line in path.read_text().splitlines() if not line.startswith("geoid =")]
    path.write_text("\n".join(lines).replace('height = "EPSG:5773"', f'height = "{datum}"'))
    problems = refused(path)
    tells(problems, tmp_path, "job.toml", line_of_first(path, "height ="), grid)


def line_of_first(path: Path, text: str) -> int:
    return next(number for number, line in enumerate(path.read_text().splitlines(), 1) if text in line)


def test_a_register_in_a_height_datum_whose_grid_is_absent(tmp_path: Path) -> None:
    """The points' heights stay ellipsoidal; the register's would have to be brought up to the ellipsoid."""
    path = simulate(replace(PLAN, place=ELLIPSOIDAL)).write(tmp_path)
    replace_in(tmp_path / "register.csv", {"ellipsoid_height": "height"})
    text = path.read_text()
    at = text.index("[control]")
    path.write_text(text[:at] + text[at:].replace('height = "ellipsoid"', 'height = "EPSG:7839"', 1))
    problems = refused(path)
    assert any("nz_linz_nzgeoid2016.tif" in f"{problem.what} {problem.fix}" for problem in problems)
    assert all(problem.file.endswith("job.toml") and problem.line > 0 for problem in every(problems))


def test_a_geoid_that_is_not_there(job: Job) -> None:
    path = job[1]
    line = line_of(path, "geoid =")
    lines = path.read_text().splitlines()
    lines[line - 1] = 'geoid = "grids/local.gtx"'
    path.write_text("\n".join(lines))
    only(path, "job.toml", line, "local.gtx")


def test_a_geoid_that_does_not_cover_the_job(job: Job) -> None:
    path = job[1]
    line = line_of(path, "geoid =")
    replace_in(path, {"egm96_canterbury.gtx": "egm96_central_java.gtx"})
    tells(refused(path), path.parent, "job.toml", line, "egm96_central_java.gtx")


def test_a_geoid_that_is_no_grid(job: Job) -> None:
    path = job[1]
    line = line_of(path, "geoid =")
    (path.parent / "broken.gtx").write_bytes(b"not a grid" * 9)
    lines = path.read_text().splitlines()
    lines[line - 1] = 'geoid = "broken.gtx"'
    path.write_text("\n".join(lines))
    tells(refused(path), path.parent, "job.toml", line, "broken.gtx")


@pytest.mark.parametrize("session_file", [False, True])
def test_an_overlap_of_sessions_without_base_ids(session_file: bool, tmp_path: Path) -> None:
    simulation = simulate(Plan(sessions=2, points=4, overlap=True, noise=False))
    for session in simulation.job["session"]:
        session["base"] = ""
    path = simulation.write(tmp_path, session_file=session_file)
    file = "sessions.csv" if session_file else "job.toml"
    line = line_of(tmp_path / file, "session-02") - (not session_file)
    only(path, file, line, "session-01", "session-02", "overlap")


@pytest.mark.parametrize("session_file", [False, True])
def test_a_tie_and_a_check_on_unknown_marks_and_points(session_file: bool, tmp_path: Path) -> None:
    simulation = simulate(PLAN)
    sessions = simulation.job["session"]
    sessions[0]["ties"].append({"point": "S01-T9", "mark": "CM2"})
    sessions[1]["checks"][0]["point"] = "S02-C1X"
    path = simulation.write(tmp_path, session_file=session_file)
    file = "sessions.csv" if session_file else "job.toml"
    problems = refused(path)
    assert len(problems) == 2, problems
    tells(problems, tmp_path, file, line_of(tmp_path / file, "S01-T9"), "S01-T9")
    tells(problems, tmp_path, file, line_of(tmp_path / file, "S02-C1X"), "S02-C1X", "S02-C1")
    sessions[0]["ties"][1] = {"point": "S01-T1", "mark": "CM11"}
    sessions[0]["ties"].pop(0)
    sessions[1]["checks"][0] = {"point": "S02-C1", "mark": "CM03"}
    path = simulation.write(tmp_path, session_file=session_file)
    problems = refused(path)
    assert len(problems) == 2, problems
    tells(problems, tmp_path, file, line_of(tmp_path / file, "CM11"), "CM11", "CM1")
    tells(problems, tmp_path, file, line_of(tmp_path / file, "CM03"), "CM03", "CM3")


@pytest.mark.parametrize("column", ["easting", "northing", "height"])
def test_a_mark_twice_in_the_register_with_different_coordinates(column: str, job: Job) -> None:
    simulation, path = job
    for name, values in simulation.register.items():
        simulation.register[name] = np.append(values, values[1] + 0.001 if name == column else values[1])
    simulation.write(path.parent)
    only(path, "register.csv", 6, "CM2", "register.csv:3")


def test_a_mark_twice_with_the_same_coordinates_is_no_problem(job: Job) -> None:
    simulation, path = job
    simulation.register = {name: np.append(values, values[1]) for name, values in simulation.register.items()}
    assert run_job(simulation.write(path.parent), dry_run=True).exit_code == 0


@pytest.mark.parametrize(
    ("right", "wrong", "words"),
    [
        ("time_zone =", "timezone =", ["timezone", "time_zone"]),
        ("[quality]", "[qualty]", ["qualty", "quality"]),
        ("max_sigma_horizontal", "max_sigma_horizontl", ["max_sigma_horizontl", "max_sigma_horizontal"]),
        ('sigma_east = "sE"', 'sigma_easting = "sE"', ["sigma_easting", "sigma_east"]),
    ],
)
def test_an_unknown_key_names_the_nearest_known_one(right: str, wrong: str, words: list[str], job: Job) -> None:
    path = job[1]
    line = line_of(path, right)
    replace_in(path, {right: wrong})
    tells(refused(path), path.parent, "job.toml", line, *words)


# Everything at once


def spoil_job_file(path: Path) -> tuple[int, str]:
    replace_in(path, {"max_sigma_horizontal": "max_sigma_horizontl"})
    return line_of(path, "max_sigma_horizontl"), "max_sigma_horizontl"


def spoil_export(path: Path) -> tuple[int, str]:
    replace_in(path.parent / "rover001.csv", {",EllHt,": ",Height,"})
    return 1, "EllHt"


def spoil_register(path: Path) -> tuple[int, str]:
    register = path.parent / "register.csv"
    first = register.read_text().splitlines()[1].replace("CM1,1", "CM1,2")
    register.write_text(register.read_text() + first + "\n")
    return len(register.read_text().splitlines()), "CM1"


def spoil_crs(path: Path) -> tuple[int, str]:
    replace_in(path, {'crs = "EPSG:4959"': 'crs = "EPSG:1"'})
    return line_of(path, 'EPSG:1"'), "EPSG:1"


def spoil_mark(path: Path) -> tuple[int, str]:
    replace_in(path, {'point = "S02-C2", mark = "CM4"': 'point = "S02-C2", mark = "CM44"'})
    return line_of(path, "CM44"), "CM44"


def spoil_sessions(path: Path) -> tuple[int, str]:
    replace_in(path, {"start = 2026-03-02T19:30": "start = 2026-03-02T01:30", 'base = "BASE-02"': 'base = "BASE-01"'})
    return line_of(path, 'name = "session-02"') - 1, "overlap"


def spoil_grid(path: Path) -> tuple[int, str]:
    path.write_text("\n".join(line for line in path.read_text().splitlines() if not line.startswith("geoid =")))
    return line_of_first(path, "height ="), "us_nga_egm96_15.tif"


def spoil_tie(path: Path) -> tuple[int, str]:
    replace_in(path, {'point = "S01-T1"': 'point = "S01-TT"'})
    return line_of(path, "S01-TT"), "S01-TT"


Spoil = Callable[[Path], tuple[int, str]]


def all_at_once(path: Path, spoils: dict[Spoil, str]) -> None:
    """Spoil a job in several ways; every one of them must be in the one list. Lines are looked up at the end."""
    for spoil in spoils:
        spoil(path)
    problems = refused(path)
    text = "\n".join(str(problem) for problem in problems)
    missing = [spoil.__name__ for spoil, word in spoils.items() if word not in text]
    assert missing == [], text


READ_FIRST: dict[Spoil, str] = {
    spoil_export: "EllHt", spoil_register: "CM1", spoil_crs: "EPSG:1", spoil_mark: "CM44", spoil_sessions: "overlap",
}  # fmt: skip
AFTER_READING: dict[Spoil, str] = {spoil_grid: "us_nga_egm96_15.tif", spoil_tie: "S01-TT"}


@pytest.mark.parametrize("spoil", [*READ_FIRST, *AFTER_READING, spoil_job_file])
def test_each_of_them_alone(spoil: Spoil, job: Job) -> None:
    path = job[1]
    line, word = spoil(path)
    file = {spoil_export: "rover001.csv", spoil_register: "register.csv"}.get(spoil, "job.toml")
    tells(refused(path), path.parent, file, line, word)


def test_what_can_be_seen_before_the_rows_are_read_comes_in_one_list(job: Job) -> None:
    all_at_once(job[1], READ_FIRST)


def test_what_is_seen_in_the_rows_comes_in_one_list(job: Job) -> None:
    all_at_once(job[1], AFTER_READING)


def test_a_mistake_in_the_register_hides_no_tie_and_no_grid(job: Job) -> None:
    all_at_once(job[1], {spoil_register: "CM1"} | AFTER_READING)


def test_the_contracts_whole_list_in_one_job(tmp_path: Path) -> None:
    """A file that cannot be read, a missing column, an unknown CRS, a missing grid, an overlap, a tie on an unknown
    mark and one on an unknown point, a mark twice: one readable export beside them is enough to see them all.
    """
    simulation = simulate(Plan(sessions=4, points=4, noise=False))
    sessions = simulation.job["session"]
    sessions[0]["ties"].append({"point": "S01-C1", "mark": "CM77"})
    sessions[0]["checks"].pop(0)
    sessions[1]["ties"].append({"point": "S02-NONE", "mark": "CM1"})
    sessions[2]["base"] = sessions[3]["base"] = ""
    sessions[3]["start"] = sessions[2]["start"]
    columns = {"name": "Point", "time": "T", "latitude": "Lat", "longitude": "Lon", "height": "H"}
    simulation.job["points"] = [
        {"files": ["broken.gpkg"], "columns": {"name": "Point", "time": "T"}},
        {"files": ["lacking.csv"], "columns": columns},
        {"files": ["elsewhere.csv"], "crs": "EPSG:999999", "columns": columns},
    ]
    path = simulation.write(tmp_path)
    spoil_grid(path)
    (tmp_path / "broken.gpkg").write_bytes(b"SQLite format 3\0 and no more")
    (tmp_path / "lacking.csv").write_text("Point,T,Lat,Lon\nA,2026-03-02T00:00:00Z,-43.7,171.8\n")
    (tmp_path / "elsewhere.csv").write_text("Point,T,Lat,Lon,H\nB,2026-03-02T00:00:00Z,-43.7,171.8,310\n")
    register = tmp_path / "register.csv"
    lines = register.read_text().splitlines()
    register.write_text("\n".join([*lines, lines[2].replace("CM2,1", "CM2,2")]) + "\n")
    problems = refused(path)
    tells(problems, tmp_path, "broken.gpkg", 0)
    tells(problems, tmp_path, "lacking.csv", 1, '"H"')
    tells(problems, tmp_path, "job.toml", line_of(path, "EPSG:999999"), "EPSG:999999")
    tells(problems, tmp_path, "job.toml", line_of_first(path, "height ="), "us_nga_egm96_15.tif")
    tells(problems, tmp_path, "job.toml", line_of(path, 'name = "session-04"') - 1, "overlap")
    tells(problems, tmp_path, "job.toml", line_of(path, "CM77"), "CM77")
    tells(problems, tmp_path, "job.toml", line_of(path, "S02-NONE"), "S02-NONE")
    tells(problems, tmp_path, "register.csv", 6, "CM2", "register.csv:3")


def test_a_tie_without_a_base_id_where_two_bases_ran_is_told_so(tmp_path: Path) -> None:
    simulation = simulate(Plan(sessions=2, points=4, overlap=True, noise=False))
    simulation.rows["base"] = np.where(simulation.rows["name"] == "S01-T1", "", simulation.rows["base"])
    path = simulation.write(tmp_path)
    only(path, "job.toml", line_of(path, "S01-T1"), "S01-T1", "base")


def test_a_refused_run_leaves_an_earlier_issue_as_it_is(job: Job) -> None:
    path = job[1]
    run_job(path)
    replace_in(path, {'point = "S01-T1"': 'point = "S01-TT"'})
    refused(path)
