"""Marks handed out: where they are against truth in closed forms, the file as a register again, and what is refused."""

import csv
import json
import math
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas
import numpy as np
import pytest
from closed_forms import WGS84, TransverseMercator
from every import every
from feet import FEET, METRES, NAVD88, NAVD88_SURVEY, SURVEY, state_plane, with_register
from geographiclib.geodesic import Geodesic
from numpy.testing import assert_allclose
from page_read import read_page
from running import record_of, replace_in
from simulate import Place, Plan, Simulation, simulate
from typer.testing import CliRunner

from pipeline import JobError, run_job
from pipeline.cli.main import app
from pipeline.fieldwork.mark_handout import HandedOut, hand_out

TENTH_MM = 1e-4
#: Degrees: a tenth of a millimetre of latitude is 9e-10.
DEGREES = 1e-9
#: Two days, the second tied by the peg TM1 alone, without noise: what is adjusted is the truth.
TWO_DAYS = Plan(sessions=2, points=4, temporary=True, tied_sessions=1, noise=False)
HOSTILE = "<script>alert('x')</script> & \"quoted\" </style>"


@pytest.fixture(scope="module")
def issued(tmp_path_factory: pytest.TempPathFactory) -> tuple[Simulation, Path]:
    """A job with one issue."""
    job = simulate(TWO_DAYS)
    path = job.write(tmp_path_factory.mktemp("marks"))
    assert run_job(path).issued
    return job, path


def rows_of(path: Path) -> list[dict[str, Any]]:
    """The rows of a file of marks, read by other means than ours."""
    if path.suffix == ".csv":
        with path.open(newline="", encoding="utf-8") as file:
            return [{key: text or None for key, text in row.items()} for row in csv.DictReader(file)]
    if path.suffix == ".geojson":
        features = json.loads(path.read_text(encoding="utf-8"))["features"]
        for one in features:
            place = [one["properties"][key] for key in ("longitude", "latitude", "ellipsoid_height")]
            assert one["geometry"] == {"type": "Point", "coordinates": place}
        return [one["properties"] for one in features]
    frame = geopandas.read_file(path)
    assert frame.crs.to_epsg() == 2193
    at = frame.geometry
    assert_allclose(
        np.column_stack([at.x, at.y, at.z]), frame[["easting", "northing", "height"]], rtol=0, atol=TENTH_MM
    )
    return list(frame.drop(columns="geometry").to_dict("records"))


def place(row: dict[str, Any], *keys: str) -> list[float]:
    return [float(row[key]) for key in keys]


@pytest.mark.parametrize("ending", ["csv", "geojson", "gpkg"])
def test_marks_lie_where_they_are_and_the_file_is_a_register_again(
    ending: str, issued: tuple[Simulation, Path], tmp_path: Path
) -> None:
    job, path = issued
    found = hand_out(path, tmp_path / f"marks.{ending}")
    rows = {row["mark"]: row for row in rows_of(found.file)}
    assert set(rows) == {"CM1", "CM2", "CM3", "CM4", "TM1"}
    for name, row in every(rows.items()):
        truth = job.marks if name != "TM1" else job.temporary
        at = place(row, "easting", "northing", "height")
        assert_allclose(at, truth.of(name), rtol=0, atol=TENTH_MM if name != "TM1" else 5e-4)
        assert_allclose(place(row, "longitude", "latitude"), truth.geographic(name)[:2], rtol=0, atol=5 * DEGREES)
        assert_allclose(float(row["ellipsoid_height"]), truth.geographic(name)[2], rtol=0, atol=5e-4)
        assert row["status"] == ("register" if name != "TM1" else "adjusted from issue 001")
    assert rows["TM1"]["source"] == "simulated issue 001" and rows["TM1"]["dated"] == "2026-03-03"
    as_register(path, found, tmp_path)


def as_register(path: Path, found: HandedOut, folder: Path) -> None:
    """Run the job with the file in its register's place: the same shifts, to a tenth of a millimetre."""
    again = folder / "again"
    again.mkdir()
    for file in path.parent.glob("rover*"):
        shutil.copy(file, again)
    shutil.copy(found.file, again)
    shutil.copy(path, again / "job.toml")
    replace_in(
        again / "job.toml", {'file = "register.csv"': f'file = "{found.file.name}"', ' mark = "TM1"': ' mark = "X"'}
    )
    # the peg goes by another name there: as a mark of the register it would hold itself
    before = json.loads((path.parent / "out" / "current" / "issue.json").read_text(encoding="utf-8"))
    after = record_of(again / "job.toml")
    for axis in "xyz":
        key = f"shift_{axis}"
        assert_allclose(
            [one[key] for one in after["sessions"]], [one[key] for one in before["sessions"]], rtol=0, atol=TENTH_MM
        )


def test_uncertainty_of_an_adjusted_mark_is_the_issues(issued: tuple[Simulation, Path], tmp_path: Path) -> None:
    _, path = issued
    (peg,) = [row for row in rows_of(hand_out(path, tmp_path / "m.csv").file) if row["mark"] == "TM1"]
    record = json.loads((path.parent / "out" / "current" / "issue.json").read_text(encoding="utf-8"))
    (said,) = [row for row in record["marks"] if row["mark"] == "TM1"]
    assert_allclose(place(peg, "hu95", "vu95"), [said["hu95"], said["vu95"]], rtol=0, atol=6e-5)


def before_the_day(folder: Path, extra: str = "") -> Path:
    """A job file with a register, and nothing else that there is only after the field."""
    path = simulate(TWO_DAYS).write(folder)
    for file in folder.glob("rover*"):
        file.unlink()
    head, _, tail = path.read_text(encoding="utf-8").partition("[[session]]")
    tables = tail.split("\n[")
    kept = [part for part in tables[1:] if not part.startswith(("[session]", "session."))]
    path.write_text(f"{head}{''.join(f'{chr(10)}[{part}' for part in kept)}\n{extra}", encoding="utf-8")
    return path


def test_before_the_day_the_register_alone_will_do(tmp_path: Path) -> None:
    path = before_the_day(tmp_path)
    found = hand_out(path, tmp_path / "m.csv")
    assert [row["status"] for row in rows_of(found.file)] == ["register"] * 4
    assert found.look.work is None and not found.notes
    with pytest.raises(JobError, match="it is not known where the work is"):
        hand_out(path, tmp_path / "n.csv", within=100.0)
    with pytest.raises(JobError, match="there is no session"):
        run_job(path)


def test_marks_within_reach_of_a_place(tmp_path: Path) -> None:
    """The simulator puts CM1 in the middle and the others 0.4 of the reach away, 800 m."""
    path, job = before_the_day(tmp_path), simulate(TWO_DAYS)
    east, north, _ = job.marks.of("CM1")
    longitude, latitude, _ = job.marks.geographic("CM1")
    for around in ("CM1", f"{east:.3f},{north:.3f}", f"{longitude:.9f},{latitude:.9f}"):
        near = hand_out(path, tmp_path / "m.csv", around=around, within=700.0, force=True)
        assert near.look.marks.names == ("CM1",) and near.look.left_out == 3
        far = hand_out(path, tmp_path / "m.csv", around=around, within=900.0, force=True)
        assert set(far.look.marks.names) == {"CM1", "CM2", "CM3", "CM4"}
        assert_allclose(sorted(far.look.distance), [0, 800, 800, 800], rtol=0, atol=2)
    for wrong, words in (
        ("CM11", "did you mean CM1"), ("1,2,3", "is not a place"), ("x;y", "easting,northing"),
        (f"{longitude:.9f},{-latitude:.9f}", "the nearest, CM., is 9,7.. km away"),  # 2 x 43.7 degrees of 111.2 km
        (f"{north:.3f},{east:.3f}", "no mark is within 10,000 m"), ("99999999,1", "not a place on the job's grid"),
    ):  # fmt: skip
        with pytest.raises(JobError, match=words):
            hand_out(path, tmp_path / "m.csv", around=wrong, force=True)
    with pytest.raises(JobError, match="no mark is within 5 m"):
        hand_out(path, tmp_path / "m.csv", around=f"{east + 100:.3f},{north:.3f}", within=5.0, force=True)


def test_a_grid_to_the_west_and_south(tmp_path: Path) -> None:
    """Lo29 counts to the west and to the south: y and x, as the register has them."""
    zone = TransverseMercator(WGS84, 29.0, 1.0, 0.0, 0.0)
    place_ = Place(29.2, -26.1, 1500.0, WGS84, zone, "EPSG:2053", "EPSG:4941", "ellipsoid", None)
    job = simulate(Plan(sessions=1, points=4, noise=False, place=place_))
    east, north = job.register["easting"], job.register["northing"]
    job.register |= {"easting": -east, "northing": -north}
    for row in every(rows_of(hand_out(job.write(tmp_path), tmp_path / "m.csv").file)):
        easting, northing, height = job.marks.of(row["mark"])
        assert_allclose(place(row, "easting", "northing"), [-easting, -northing], rtol=0, atol=TENTH_MM)
        assert_allclose(place(row, "height", "ellipsoid_height"), [height, height], rtol=0, atol=TENTH_MM)
        at = place(row, "longitude", "latitude")
        assert_allclose(at, job.marks.geographic(row["mark"])[:2], rtol=0, atol=DEGREES)


def test_a_site_of_its_own_gets_its_own_numbers(tmp_path: Path) -> None:
    """A site that lies 1,500,000 m and 5,160,000 m from the grid's origin and counts heights from 300 m."""
    job, origin = simulate(TWO_DAYS), np.array([1_500_000.0, 5_160_000.0, 300.0])
    own = [(name, *(np.array(job.marks.of(name)) - origin)) for name in job.marks.names]
    rows = [",".join((name, *(f"{value:.5f}" for value in at))) for name, *at in own]
    (tmp_path / "site.csv").write_text("\n".join(["mark,easting,northing,height", *rows]) + "\n", encoding="utf-8")
    job.job["target"]["site"] = {"marks": "site.csv", "plan": "rigid"}
    path, (e, n, _) = job.write(tmp_path), np.array(job.marks.of("CM1")) - origin
    found = hand_out(path, tmp_path / "m.csv", around=f"{e:.3f},{n:.3f}", within=100.0)
    (row,) = rows_of(found.file)
    assert row["mark"] == "CM1"
    assert_allclose(place(row, "easting", "northing", "height"), own[0][1:], rtol=0, atol=2 * TENTH_MM)
    assert_allclose(place(row, "longitude", "latitude"), job.marks.geographic("CM1")[:2], rtol=0, atol=DEGREES)


def refusals(folder: Path) -> dict[str, tuple[Path, bool, str]]:
    """Files that may not be written: the path, whether --force is given, and what is said."""
    (folder / "there.csv").write_text("mine", encoding="utf-8")
    (folder / "sheet.html").write_text("mine", encoding="utf-8")
    return {
        "there": (folder / "there.csv", False, "the file already exists"),
        "sheet": (folder / "sheet.csv", False, "sheet.html: the file already exists"),
        "ending": (folder / "marks.shp", False, "a file of marks cannot end in"),
        "folder": (folder / "nowhere" / "m.csv", False, "does not exist"),
        "issues": (folder / "out" / "issues" / "m.csv", True, "where a job's issues are kept"),
        "current": (folder / "out" / "current" / "m.csv", True, "where a job's issues are kept"),
        "register": (folder / "register.csv", True, "the job's register"),
        "export": (folder / "rover9.csv", True, "read it as an export"),
    }


@pytest.mark.parametrize("kind", ["there", "sheet", "ending", "folder", "issues", "current", "register", "export"])
def test_a_file_that_may_not_be_written_is_refused(kind: str, issued: tuple[Simulation, Path]) -> None:
    _, path = issued
    to, force, words = refusals(path.parent)[kind]
    before = sorted((file, file.stat().st_mtime_ns) for file in path.parent.rglob("*"))
    arguments = ["marks", str(path), "--to", str(to), *(["--force"] if force else [])]
    found = CliRunner().invoke(app, arguments)
    assert found.exit_code == 2 and words in found.stderr and found.stdout == ""
    assert sorted((file, file.stat().st_mtime_ns) for file in path.parent.rglob("*")) == before


def test_each_format_has_a_sheet_of_its_own(issued: tuple[Simulation, Path], tmp_path: Path) -> None:
    """The sheet of the first file stays; what somebody else wrote there is in the way, as ever."""
    _, path = issued
    first = hand_out(path, tmp_path / "m.csv")
    before = first.sheet.read_bytes()
    second = hand_out(path, tmp_path / "m.geojson")
    assert (first.sheet.name, second.sheet.name) == ("m.html", "m.geojson.html")
    assert first.sheet.read_bytes() == before and "m.geojson" in second.sheet.read_text(encoding="utf-8")
    assert hand_out(path, tmp_path / "m.csv", force=True).sheet == first.sheet
    assert hand_out(path, tmp_path / "m.geojson", force=True).sheet == second.sheet
    first.sheet.write_text("mine", encoding="utf-8")
    with pytest.raises(JobError, match="the file already exists"):
        hand_out(path, tmp_path / "m.gpkg")


def test_distances_against_the_geodesic(issued: tuple[Simulation, Path], tmp_path: Path) -> None:
    """Ground distance: the geodesic on the ellipsoid (geographiclib) raised to the mean height by 1 + h / R.

    R is the radius of curvature along the line (Euler's formula, from the two principal ones).
    """
    job, path = issued
    found = hand_out(path, tmp_path / "m.csv")
    names = found.look.marks.names
    e2 = (2 - 1 / 298.257222101) / 298.257222101
    for pair in every(pair for pair in found.pairs if "TM1" not in (names[pair.first], names[pair.second])):
        (one, other) = (names[pair.first], names[pair.second])
        (lon1, lat1, h1), (lon2, lat2, h2) = job.marks.geographic(one), job.marks.geographic(other)
        line = Geodesic(6378137.0, 1 / 298.257222101).Inverse(lat1, lon1, lat2, lon2)
        w2 = 1 - e2 * math.sin(math.radians(lat1)) ** 2
        across, along = 6378137.0 / math.sqrt(w2), 6378137.0 * (1 - e2) / w2**1.5
        turn = math.radians(line["azi1"])
        radius = 1 / (math.cos(turn) ** 2 / along + math.sin(turn) ** 2 / across)
        assert pair.ground == pytest.approx(line["s12"] * (1 + (h1 + h2) / 2 / radius), rel=0, abs=1e-3)
        away = np.subtract(job.marks.of(other), job.marks.of(one))
        assert pair.grid == pytest.approx(float(np.hypot(*away[:2])), abs=TENTH_MM)
        assert pair.bearing == pytest.approx(math.degrees(math.atan2(away[0], away[1])) % 360, abs=1e-4)
        assert pair.rise == pytest.approx(away[2], abs=TENTH_MM)


def test_marks_on_opposite_sides_of_the_work_are_good_and_others_say_why(tmp_path: Path) -> None:
    path = before_the_day(tmp_path)
    job = simulate(TWO_DAYS)
    (east, north, height), register = job.marks.of("CM1"), tmp_path / "register.csv"
    rows = {
        "W": (-900, 0, 0, "3d"), "E": (900, 0, 10, "3d"), "E2": (1100, 40, 0, "3d"), "P": (100, 900, 0, "position"),
        "TOP": (900, -300, 180, "3d"), "E0": (900, 0.1, 10, "3d"),
    }  # fmt: skip
    lines = [f"{name},{east + e},{north + n},{height + h},{holds}" for name, (e, n, h, holds) in rows.items()]
    register.write_text("\n".join(["mark,easting,northing,height,holds", *lines]) + "\n", encoding="utf-8")
    plan = f"[plan]\narea = [[{east - 500}, {north - 300}], [{east + 500}, {north + 300}]]\n"
    path.write_text(path.read_text(encoding="utf-8") + plan, encoding="utf-8")
    found = hand_out(path, tmp_path / "m.csv")
    names = found.look.marks.names
    told = {frozenset((names[one.first], names[one.second])): one.against for one in found.pairs}
    assert told[frozenset("WE")] == () and told[frozenset(("W", "E2"))] == ()
    assert told[frozenset(("E", "E2"))] == ("close together: less than 250 m", "on one side of the work")
    assert told[frozenset(("W", "P"))] == ("P holds no height",)
    assert told[frozenset(("W", "TOP"))] == ("more than 100 m apart in height",)
    assert told[frozenset(("E", "E0"))][0] == "one mark under two names"


def test_every_good_pair_is_listed_or_counted(tmp_path: Path) -> None:
    job = simulate(replace(TWO_DAYS, marks=8))
    path = job.write(tmp_path)
    said = CliRunner().invoke(app, ["marks", str(path), "--to", str(tmp_path / "m.csv")]).stdout
    good = int(re.search(r"(\d+) pairs? of \d+ good", said)[1])  # type: ignore[index]
    listed, more = said.count("a check shows a blunder"), re.search(r"and (\d+) more; --json has all of them", said)
    assert good > listed and more is not None and listed + int(more[1]) == good


def test_a_bench_mark_gets_its_position_from_the_issue(tmp_path: Path) -> None:
    """A mark of the register that holds a height alone: its height is the register's, its position the ties'."""
    job = simulate(Plan(sessions=1, points=4, ties=2, noise=False))
    truth = job.marks.of("CM2")
    job.mistype("CM2", "easting", 7.0)  # as taken off a map
    job.register["holds"] = np.array(["3d", "height", "3d", "3d"])
    path = job.write(tmp_path)
    assert run_job(path).issued
    (row,) = [row for row in rows_of(hand_out(path, tmp_path / "m.csv").file) if row["mark"] == "CM2"]
    assert_allclose(place(row, "easting", "northing", "height"), truth, rtol=0, atol=5e-4)
    assert (row["holds"], row["status"]) == ("3d", "register, position adjusted from issue 001")


def test_a_peg_of_a_failed_session_and_a_revised_register_are_said(tmp_path: Path) -> None:
    job = simulate(TWO_DAYS)
    job.knock_base(1, 0.5, east=0.3)
    path = job.write(tmp_path)
    assert run_job(path).exit_code == 3
    found = CliRunner().invoke(app, ["marks", str(path), "--to", str(tmp_path / "m.csv")])
    assert found.exit_code == 3 and "TM1 comes from the session" in found.stdout
    job.mistype("CM1", "height", 0.006)
    job.write(tmp_path)
    again = hand_out(path, tmp_path / "m.csv", force=True)
    assert any("the register has changed for CM1" in note for note in again.notes)


def test_a_grid_in_feet_is_written_in_feet(tmp_path: Path) -> None:
    job = state_plane(tmp_path)
    path = job.write(tmp_path)
    stated = f'grid = "{METRES}"\nheight = "{NAVD88}"\n'
    replace_in(path, {f"[target]\n{stated}": f'[target]\ngrid = "{FEET}"\nheight = "{NAVD88_SURVEY}"\n'})
    for row in every(rows_of(hand_out(path, tmp_path / "m.csv").file)):
        at = np.array(place(row, "easting", "northing", "height")) * SURVEY
        assert_allclose(at, job.marks.of(row["mark"]), rtol=0, atol=TENTH_MM)
        assert_allclose(float(row["ellipsoid_height"]), job.marks.geographic(row["mark"])[2], rtol=0, atol=TENTH_MM)


def test_ellipsoidal_heights_on_a_grid_in_feet_are_read_back_as_the_printed_line_says(tmp_path: Path) -> None:
    job = state_plane(tmp_path)
    job.job["target"] = {"grid": FEET, "height": "ellipsoid"}
    path = job.write(tmp_path)
    with_register(path, job, METRES, "ellipsoid", 1.0, 1.0)
    assert run_job(path).issued
    told = CliRunner().invoke(app, ["marks", str(path), "--to", str(tmp_path / "m.csv")]).stdout
    assert "easting and northing in US survey feet, height in metres; ellipsoid_height, hu95 and vu95 in metres" in told
    sheet = (tmp_path / "m.html").read_text(encoding="utf-8")
    assert all(f"{what} (m)<" in sheet for what in ("Grid distance", "Ground distance", "Height difference"))
    (line,) = [line for line in told.splitlines() if "as [control] file" in line]
    crs = line.split('crs = "')[1].split('"')[0]
    again, stated = tmp_path / "again", f'file = "register.csv"\ncrs = "{METRES}"'
    again.mkdir()
    for name in ("rover001.csv", "m.csv", "job.toml"):
        shutil.copy(tmp_path / name, again)
    replace_in(again / "job.toml", {stated: f'file = "m.csv"\ncrs = "{FEET}"'})
    with pytest.raises(JobError, match=f'ellipsoidal in metres, give longitude and latitude and name "{crs}"'):
        run_job(again / "job.toml")
    replace_in(again / "job.toml", {f'file = "m.csv"\ncrs = "{FEET}"': f'file = "m.csv"\ncrs = "{crs}"'})
    second, first = record_of(again / "job.toml"), json.loads((tmp_path / "out/current/issue.json").read_text("utf-8"))
    for key in ("shift_x", "shift_y", "shift_z"):
        assert_allclose(second["sessions"][0][key], first["sessions"][0][key], rtol=0, atol=TENTH_MM)


def test_the_sheet_is_a_sound_page_whatever_the_register_says(tmp_path: Path) -> None:
    job = simulate(TWO_DAYS)
    job.register["mark"] = np.array([f"{name} {HOSTILE}" for name in job.register["mark"]])
    job.register["source"] = np.array([HOSTILE] * 4)
    path = before_the_day(tmp_path)
    job.write(tmp_path / "hostile")
    shutil.copy(tmp_path / "hostile" / "register.csv", tmp_path / "register.csv")
    found = hand_out(path, tmp_path / "m.csv")
    page = read_page(found.sheet.read_bytes())
    assert page.all("h1")[0].text() == "simulated: control sheet"
    assert [one.text() for one in page.all("h2")] == ["Sketch", "Marks", "Between the marks", "How to use it"]
    assert HOSTILE in page.section("marks").text() and "grid north" in page.section("sketch").text()
    # what is wide scrolls by itself, so that a page on a phone does not
    text = found.sheet.read_text(encoding="utf-8")
    assert text.count("<table") == text.count('<div class="scroll" tabindex="0"') == 2


def test_a_large_area_with_marks_in_its_middle_alone(tmp_path: Path) -> None:
    path, (east, north, _) = before_the_day(tmp_path), simulate(TWO_DAYS).marks.of("CM1")
    area = f"[[{east - 15_000}, {north - 15_000}], [{east + 15_000}, {north + 15_000}]]"
    path.write_text(f"{path.read_text(encoding='utf-8')}\n[plan]\narea = {area}\nwithin = 100.0\n", encoding="utf-8")
    assert len(hand_out(path, tmp_path / "m.csv").look.marks.names) == 4


def test_a_name_that_a_spreadsheet_would_run_is_told(tmp_path: Path) -> None:
    job = simulate(TWO_DAYS)
    job.register["mark"] = np.array(["=1+1", "CM2", "CM3", "CM4"])
    path = before_the_day(tmp_path)
    job.write(tmp_path / "odd")
    shutil.copy(tmp_path / "odd" / "register.csv", tmp_path / "register.csv")
    found = hand_out(path, tmp_path / "m.csv")
    assert rows_of(found.file)[0]["mark"] == "'=1+1" and "=1+1: written with an apostrophe" in found.notes[0]
    assert not hand_out(path, tmp_path / "m.gpkg", force=True).notes


@pytest.mark.skipif(shutil.which("chromium") is None, reason="no browser")
def test_the_sheet_is_one_page_of_paper(tmp_path: Path) -> None:
    """With as many marks as it shows, each from another source, and notes."""
    path = before_the_day(tmp_path)
    job = simulate(Plan(sessions=1, points=4, marks=16, noise=False))
    job.register["source"] = np.array([f"densification of the network part {number}" for number in range(16)])
    job.write(tmp_path / "many")
    shutil.copy(tmp_path / "many" / "register.csv", tmp_path / "register.csv")
    sheet = hand_out(path, tmp_path / "m.csv", around="CM1").sheet
    pdf = tmp_path / "sheet.pdf"
    options = ["--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer", f"--print-to-pdf={pdf}"]
    subprocess.run(
        ["chromium", *options, f"--user-data-dir={tmp_path / 'user'}", str(sheet)], capture_output=True, check=True
    )
    assert b"/Count 1\n" in pdf.read_bytes()


def test_json_has_the_marks_and_every_pair(issued: tuple[Simulation, Path], tmp_path: Path) -> None:
    _, path = issued
    arguments = ["marks", str(path), "--to", str(tmp_path / "m.gpkg"), "--json"]
    said = json.loads(CliRunner().invoke(app, arguments).stdout)
    assert said["outcome"] == "written" and said["exit_code"] == 0
    assert len(said["marks"]) == 5 and len(said["pairs"]) == 10
    assert said["written"] == [str(tmp_path / "m.gpkg"), str(tmp_path / "m.html")]
    refused = json.loads(CliRunner().invoke(app, arguments).stdout)
    assert (refused["outcome"], refused["exit_code"]) == ("refused", 2)
    assert "the file already exists" in refused["problems"][0]["what"]
