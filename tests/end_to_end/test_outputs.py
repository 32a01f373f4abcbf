"""An issue against the contract word by word: files, layers, columns, geometry, CRS, record, register, re-issue."""

import csv
import hashlib
import json
import sqlite3
import struct
import tomllib
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyogrio
import pyproj
import pytest
from every import every
from issued import Issue, everything_below
from numpy.testing import assert_allclose
from running import replace_in, rewrite_export, run_written
from simulate import Plan, Simulation, simulate

from pipeline import run_job

CONTRACT = {
    "points": "name, code, easting, northing, height, ellipsoid_height, longitude, latitude, session, observed, hu95,"
    " vu95, proof, solution, source_file, source_row",
    "check_marks": "session, mark, point, role, place, observed, known_easting, known_northing, known_height, easting,"
    " northing, height, d_east, d_north, d_height, d_horizontal, tolerance_h, tolerance_v, hu95, vu95, passed, cause",
    "sessions": "session, start, end, base, points, ties, checks, shift_x, shift_y, shift_z, shift_east, shift_north,"
    " shift_up, sigma_east, sigma_north, sigma_up, verdict",
    "held_back": "name, code, session, observed, reason, detail, easting, northing, height, source_file, source_row",
}
CHANGES = (
    "name, change, old_easting, old_northing, old_height, new_easting, new_northing, new_height, d_east, d_north,"
    " d_height, because"
)


@dataclass(frozen=True)
class Made:
    """A job that was run: what was simulated, the job file, and the issue."""

    job: Simulation
    path: Path
    issue: Issue


def lay_down(folder: Path) -> tuple[Simulation, Path]:
    """Two sessions with noise, several ties, a float point, and two columns that only the export knows."""
    job = simulate(Plan(sessions=2, points=12, ties=2, checks=2, marks=4))
    job.rows["solution"][8] = "float"
    path = job.write(folder)
    number = iter(range(10**6))
    rewrite_export(folder / "rover001.csv", lambda row: row | {"Crew": "north", "Depth": f"{next(number) / 4}"})
    return job, path


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Made:
    job, path = lay_down(tmp_path_factory.mktemp("outputs"))
    return Made(job, path, run_written(path))


# Files


def test_an_issue_is_one_folder_and_current_is_a_link_to_it(made: Made) -> None:
    out = made.path.parent / "out"
    assert [path.name for path in (out / "issues").iterdir()] == ["001"]
    assert {"simulated-001.gpkg", "issue.json"} <= {path.name for path in (out / "issues" / "001").iterdir()}
    assert (out / "current").is_symlink()
    assert (out / "current").readlink() == Path("issues/001")
    visible = {path.name for path in out.iterdir() if not path.name.startswith(".")}
    assert visible == {"issues", "current", "register.csv"}


def test_an_issue_has_its_report(made: Made) -> None:
    assert "licensed" in (made.issue.folder / "simulated-001.html").read_text(encoding="utf-8")
    names = [path.name for path in (made.path.parent / "out" / "issues" / "001").iterdir()]
    numbered, plain = ["simulated-001.gpkg", "simulated-001.html"], ["simulated.gpkg", "simulated.html"]
    assert sorted(names) == ["issue.json", *numbered, *plain]


def test_the_register_of_issues_says_when_and_why(made: Made) -> None:
    with (made.path.parent / "out" / "register.csv").open(newline="", encoding="utf-8") as file:
        (row,) = list(csv.DictReader(file))
    assert list(row) == ["issue", "made_at", "verdict", "because"]
    assert (row["issue"], row["verdict"]) == ("001", made.issue.record["verdict"])
    assert row["made_at"].endswith("Z") and row["because"]


# Layers


@pytest.mark.parametrize("name", list(CONTRACT))
def test_columns_come_in_the_contracts_order(name: str, made: Made) -> None:
    wanted = CONTRACT[name].split(", ")
    columns = getattr(made.issue, name).columns
    assert columns[: len(wanted)] == wanted
    if name == "points":
        # then the export's own, and what it maps that the contract has no column for
        assert columns[len(wanted) :] == ["Crew", "Depth", "base", "sigma_east", "sigma_north", "sigma_up"]
    if name in ("sessions", "held_back"):
        assert columns == wanted


@pytest.mark.parametrize("name", list(CONTRACT))
def test_layers_are_points_with_heights_under_the_grids_own_code(name: str, made: Made) -> None:
    layer = getattr(made.issue, name)
    assert (layer.kind, layer.z, layer.code) == ("POINT", 1, ("EPSG", 2193))
    assert "EGM96 height" in layer.description
    for row, place in every(zip(layer.rows, layer.places, strict=True)):
        if name != "sessions":
            assert place == tuple(row[k] for k in ("easting", "northing", "height"))


def test_a_geographic_information_system_knows_the_layers(made: Made) -> None:
    """Through GDAL: geometry type, CRS by its code, no warning."""
    listed = dict(pyogrio.list_layers(made.issue.package))
    assert set(CONTRACT) <= set(listed)
    for name in CONTRACT:
        assert listed[name] == "Point Z"
        assert pyogrio.read_info(made.issue.package, layer=name)["crs"] == "EPSG:2193"
    frame = pyogrio.read_dataframe(made.issue.package, layer="points")
    assert frame.crs == pyproj.CRS("EPSG:2193")
    assert str(frame["observed"].dtype) == "datetime64[ms, UTC]"
    assert frame.geometry.has_z.all()


def test_the_height_datum_and_the_compound_stand_in_metadata_and_record(made: Made) -> None:
    with closing(sqlite3.connect(f"file:{made.issue.package}?mode=ro&immutable=1", uri=True)) as file:
        text = " ".join(row[0] for row in file.execute("select metadata from gpkg_metadata"))
    assert "EGM96 height" in text and "COMPOUNDCRS" in text
    compound = pyproj.CRS(made.issue.record["target"]["definition"])
    assert compound.is_compound
    assert [part.to_epsg() for part in compound.sub_crs_list] == [2193, 5773]


def test_a_points_row_says_where_it_comes_from(made: Made) -> None:
    with (made.path.parent / "rover001.csv").open(newline="") as file:
        raw = {number: row for number, row in enumerate(csv.DictReader(file), start=2)}
    assert len(made.issue.points.rows) == 23
    for row in made.issue.points.rows:
        source = raw[row["source_row"]]
        assert row["source_file"] == "rover001.csv"
        assert (row["name"], row["code"], row["solution"]) == (source["Point"], source["Code"], source["Sol"])
        assert (row["Crew"], float(row["Depth"])) == (source["Crew"], float(source["Depth"]))
        assert row["observed"].rstrip("Z").split(".")[0] == source["Observed"].rstrip("Z")
        assert row["hu95"] > 0 and row["vu95"] > 0


def test_differences_are_observed_minus_known_on_the_grid(made: Made) -> None:
    rows = made.issue.check_marks.rows
    assert len(rows) == 8
    for row in rows:
        for axis, short in (("easting", "east"), ("northing", "north"), ("height", "height")):
            assert_allclose(row[f"d_{short}"], row[axis] - row[f"known_{axis}"], rtol=0, atol=1e-9)
        known = [row[f"known_{axis}"] for axis in ("easting", "northing", "height")]
        assert_allclose(known, made.job.marks.of(row["mark"]), rtol=0, atol=1e-5)
    order = [(row["session"], row["observed"]) for row in rows]
    assert order == sorted(order)


def test_sessions_are_those_of_the_job_file_at_the_base_where_it_is_known(made: Made) -> None:
    stated = tomllib.loads(made.path.read_text())["session"]
    for row, place, said in every(zip(made.issue.sessions.rows, made.issue.sessions.places, stated, strict=True)):
        assert (row["session"], row["base"]) == (said["name"], said["base"])
        assert row["start"].startswith(said["start"].strftime("%Y-%m-%dT%H:%M:%S"))
        assert row["end"].startswith(said["end"].strftime("%Y-%m-%dT%H:%M:%S"))
        assert (row["ties"], row["checks"]) == (2, 2)
        assert place is None  # the job does not say where the base stood
    assert [row["points"] for row in made.issue.sessions.rows] == [11, 12]


# The record


def test_the_record_has_the_contracts_keys(made: Made) -> None:
    record = made.issue.record
    assert {"job", "issue", "data_to", "version", "verdict", "rows", "sessions", "checks"} <= set(record)
    assert {"adjustment", "operations", "inputs", "changes"} <= set(record)
    assert (record["job"], record["issue"]) == ("simulated", 1)
    assert set(record["rows"]) == {"read", "points", "on_marks", "held_back", "by_reason"}
    adjustment = record["adjustment"]
    assert {"variance_factor", "degrees_of_freedom", "chi_square"} <= set(adjustment)
    assert {"low", "high", "passed"} <= set(adjustment["chi_square"])
    assert adjustment["chi_square"]["low"] < adjustment["chi_square"]["high"]
    for operation in every(record["operations"]):
        assert {"step", "name", "definition", "accuracy", "grids"} <= set(operation)


def test_the_record_repeats_the_small_layers(made: Made) -> None:
    for key, layer in (("checks", made.issue.check_marks), ("sessions", made.issue.sessions)):
        assert len(made.issue.record[key]) == len(every(layer.rows))
        for ours, row in every(zip(made.issue.record[key], layer.rows, strict=True)):
            assert set(layer.columns) <= set(ours)
            for name in layer.columns:
                if isinstance(row[name], float):
                    assert_allclose(ours[name], row[name], rtol=0, atol=1e-6)
                elif name == "passed":
                    assert ours[name] is bool(row[name])
                elif name not in ("observed", "start", "end"):
                    assert ours[name] == row[name]


def test_data_to_is_the_newest_observation_and_the_date_in_the_file(made: Made) -> None:
    newest = str(made.job.rows["time"].max())
    assert made.issue.record["data_to"] == f"{newest}Z"
    with closing(sqlite3.connect(f"file:{made.issue.package}?mode=ro&immutable=1", uri=True)) as file:
        dates = {row[0] for row in file.execute("select last_change from gpkg_contents")}
    assert dates == {f"{newest}Z"}


def test_every_input_and_every_grid_has_its_sum(made: Made) -> None:
    folder = made.path.parent
    for entry in made.issue.record["inputs"]:
        assert entry["sha256"] == hashlib.sha256((folder / entry["path"]).read_bytes()).hexdigest()
    assert {entry["path"]: entry["rows"] for entry in made.issue.record["inputs"]} == {
        "rover001.csv": len(made.job.rows["name"]), "register.csv": 4,
    }  # fmt: skip
    geoid = made.job.plan.place.geoid
    assert geoid is not None
    grids = [grid for operation in made.issue.record["operations"] for grid in operation["grids"]]
    assert {grid["name"] for grid in grids} == {geoid.name}
    assert {grid["sha256"] for grid in grids} == {hashlib.sha256(geoid.read_bytes()).hexdigest()}
    issued = [step for step in made.issue.record["operations"] if step["step"] == "computation to grid"]
    assert "vgridshift" in issued[0]["definition"]


# Again


def test_the_same_inputs_in_an_empty_folder_give_the_same_bytes(made: Made, tmp_path: Path) -> None:
    _, path = lay_down(tmp_path / "elsewhere" / "deeper")
    other = run_written(path)
    for file in ("simulated-001.gpkg", "simulated-001.html", "issue.json"):
        assert (other.folder / file).read_bytes() == (made.issue.folder / file).read_bytes(), file


def test_nothing_changed_makes_no_issue(tmp_path: Path) -> None:
    """Not for another run, nor for a comment, nor for a file touched, nor for sessions listed in another order."""
    _, path = lay_down(tmp_path)
    first = run_written(path)
    before = everything_below(tmp_path / "out")
    again = run_job(path)
    assert (again.issued, again.exit_code) == (False, 0)
    path.write_text("# a comment\n" + path.read_text() + "\n# another\n")
    (tmp_path / "rover001.csv").touch()
    again = run_job(path)
    assert (again.issued, again.exit_code, again.record["issue"]) == (False, 0, 1)
    assert again.record == first.record
    after = everything_below(tmp_path / "out")
    assert {name: data for name, data in after.items() if not name.startswith(".")} == {
        name: data for name, data in before.items() if not name.startswith(".")
    }


def test_nothing_changed_stays_exit_3_where_the_issue_that_stands_has_a_failing_check(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=4, noise=False))
    job.knock_base(0, 0.5, east=0.2)
    path = job.write(tmp_path)
    assert [run_job(path).exit_code for _ in range(2)] == [3, 3]
    path.write_text("# a comment\n" + path.read_text())
    again = run_job(path)
    assert (again.issued, again.exit_code) == (False, 3)


def lines_of(package: Path) -> list[dict[str, object]]:
    """The rows of ``changes`` with their lines as ((x, y, z), (x, y, z)) or None; SQLite alone."""
    with closing(sqlite3.connect(f"file:{package}?mode=ro&immutable=1", uri=True)) as file:
        file.row_factory = sqlite3.Row
        about = file.execute(
            "select geometry_type_name, z, srs_id from gpkg_geometry_columns where table_name = 'changes'"
        ).fetchone()
        assert tuple(about) == ("LINESTRING", 1, 2193)
        names = [row["name"] for row in file.execute("pragma table_info(changes)")]
        assert [name for name in names if name not in ("fid", "geom")] == CHANGES.split(", ")
        rows = [dict(row) for row in file.execute("select * from changes order by fid")]
    for row in rows:
        blob = row.pop("geom")
        start = None if blob is None else 8 + (0, 32, 48, 48, 64)[blob[3] >> 1 & 7]
        if blob is not None and start is not None:
            assert struct.unpack_from("<BII", blob, start) == (1, 1002, 2)
            numbers = struct.unpack_from("<6d", blob, start + 9)
            row["line"] = (numbers[:3], numbers[3:])
        else:
            row["line"] = None
    return rows


def test_a_revised_control_coordinate_makes_the_next_issue_and_says_what_moved_and_why(tmp_path: Path) -> None:
    """CM1 ties session 1 alone; it is revised by 21 mm in easting and 8 mm in height."""
    job = simulate(Plan(sessions=2, points=8, noise=False))
    path = job.write(tmp_path)
    first = run_written(path)
    before = everything_below(first.folder)
    job.mistype("CM1", "easting", 0.021)
    job.mistype("CM1", "height", 0.008)
    second = run_written(job.write(tmp_path))
    assert second.folder.name == "002"
    assert (tmp_path / "out" / "current").readlink() == Path("issues/002")
    assert everything_below(first.folder) == before  # an issue is never changed afterwards, nor is anything laid beside
    changes = second.record["changes"]
    assert {"since", "moved", "added", "withdrawn", "max_horizontal", "max_vertical", "because"} <= set(changes)
    assert (changes["since"], changes["moved"], changes["added"], changes["withdrawn"]) == (1, 8, 0, 0)
    assert_allclose([changes["max_horizontal"], changes["max_vertical"]], [0.021, 0.008], rtol=0, atol=1e-4)
    assert any("CM1" in reason for reason in changes["because"])
    rows = lines_of(second.package)
    assert [row["name"] for row in rows] == [f"S01-{number:05d}" for number in range(1, 9)]
    for row in rows:
        assert row["change"] == "moved"
        assert_allclose([row["d_east"], row["d_north"], row["d_height"]], [0.021, 0, 0.008], rtol=0, atol=1e-4)
        assert "CM1" in str(row["because"])
        old, new = first.points.one(name=row["name"]), second.points.one(name=row["name"])
        axes = ("easting", "northing", "height")
        assert [row[f"old_{axis}"] for axis in axes] == [old[axis] for axis in axes]
        assert [row[f"new_{axis}"] for axis in axes] == [new[axis] for axis in axes]
        assert row["line"] == (tuple(old[axis] for axis in axes), tuple(new[axis] for axis in axes))
    with (tmp_path / "out" / "register.csv").open(newline="") as file:
        listed = list(csv.DictReader(file))
    assert [row["issue"] for row in listed] == ["001", "002"]
    assert "CM1" in listed[1]["because"]


def test_a_reissue_has_the_coordinates_of_a_first_issue_from_the_same_files(tmp_path: Path) -> None:
    """Whatever a re-issue takes over from the one before, its layers are those of a run in an empty folder."""
    job = simulate(Plan(sessions=3, points=8, temporary=True, tied_sessions=2))
    path = job.write(tmp_path / "kept")
    run_written(path)
    job.mistype("CM2", "northing", -0.012)
    job.rows["solution"][job.rows["name"] == "S01-00003"] = "float"
    again, fresh = run_written(job.write(tmp_path / "kept")), run_written(job.write(tmp_path / "fresh"))
    assert again.folder.name == "002"
    for name in CONTRACT:
        ours, theirs = getattr(again, name), getattr(fresh, name)
        assert ours.columns == theirs.columns
        assert ours.rows == theirs.rows, name
        assert ours.places == theirs.places, name
    for key in ("rows", "sessions", "checks", "adjustment", "operations", "inputs", "verdict", "data_to"):
        assert again.record[key] == fresh.record[key], key


@pytest.mark.parametrize("how", ["no names", "no column of names", "all called alike"])
def test_points_without_a_name_of_their_own_are_known_again_by_their_time(how: str, tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=8, noise=False))
    drafted = job.rows["kind"] == "point"
    job.rows["name"] = np.where(drafted, "P" if how == "all called alike" else "", job.rows["name"].astype(object))
    if how == "no column of names":
        job.job["session"][0] |= {"ties": [], "checks": [], "shift": {"east": 1.0, "north": 2.0, "up": -3.0}}
    path = job.write(tmp_path)
    if how == "no column of names":
        replace_in(path, {'name = "Point", ': ""})
    code = run_job(path).exit_code
    if how == "no column of names":
        replace_in(path, {"up = -3.0": "up = -3.5"})
    else:
        job.mistype("CM1", "height", -0.5)
        job.mistype("CM2", "height", -0.5)
        job.mistype("CM3", "height", -0.5)
        job.write(tmp_path)
    second = run_written(path, code)
    changes, moved = second.record["changes"], len(second.points.rows)
    assert (changes["moved"], changes["added"], changes["withdrawn"]) == (moved, 0, 0)
    assert moved >= 8
    assert_allclose(changes["max_vertical"], 0.5, rtol=0, atol=1e-3)
    assert_allclose([row["d_height"] for row in lines_of(second.package)], -0.5, rtol=0, atol=1e-3)


def test_points_that_come_go_are_held_and_released_are_listed(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=10, noise=False))
    name, spare = job.rows["name"], simulate(Plan(sessions=1, points=10, noise=False))
    job.rows["solution"][name == "S01-00002"] = "float"
    job.keep(name != "S01-00005")
    path = job.write(tmp_path)
    run_written(path)
    spare.rows["solution"][spare.rows["name"] == "S01-00003"] = "float"
    spare.keep(spare.rows["name"] != "S01-00007")
    second = run_written(spare.write(tmp_path))
    rows = {row["name"]: row for row in lines_of(second.package)}
    assert {name: row["change"] for name, row in rows.items()} == {
        "S01-00002": "released", "S01-00003": "held", "S01-00005": "added", "S01-00007": "withdrawn",
    }  # fmt: skip
    changes = second.record["changes"]
    assert (changes["moved"], changes["added"], changes["withdrawn"]) == (0, 1, 1)
    assert any("rover001.csv" in reason for reason in changes["because"])


@pytest.mark.parametrize(
    ("cause", "old", "new"),
    [
        ("the job file", "max_sigma_horizontal = 0.05", "max_sigma_horizontal = 0.06"),
        ("session", "T03:30:00+00:00", "T03:29:00+00:00"),
    ],
)
def test_another_cause_is_named(cause: str, old: str, new: str, tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=4, noise=False)).write(tmp_path)
    run_written(path)
    replace_in(path, {old: new})
    second = run_written(path)
    assert second.folder.name == "002"
    assert any(cause in reason for reason in second.record["changes"]["because"]), second.record["changes"]


def test_json_holds_no_number_that_json_has_not(made: Made) -> None:
    def refuse(word: str) -> None:
        raise AssertionError(word)

    json.loads((made.issue.folder / "issue.json").read_text(encoding="utf-8"), parse_constant=refuse)
    assert np.isfinite(made.issue.points.xyz()).all()
