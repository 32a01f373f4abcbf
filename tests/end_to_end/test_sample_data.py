"""The committed sample data: made again by its scripts, true to its truth, with the troubles that its README lists."""

import csv
import datetime as dt
import json
import re
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pyogrio
import pyproj
import pytest
from every import every
from numpy.testing import assert_allclose
from numpy.typing import NDArray

ROOT = Path(__file__).resolve().parents[2]
DATA = ROOT / "sample_data"
Floats = NDArray[np.float64]
#: A number with decimals; names, dates and whole numbers are text.
NUMBER = re.compile(r"(?<![\w.-])(-?\d+[.]\d+)(?![\w.])")

#: Errors of the bases' positions as README.md states them: session, base's place on the grid, (east, north, up).
NEW_ZEALAND = {
    "0302-base-a": ((1506412.7, 5160188.2), (1.243, -0.872, -6.318)),
    "0303-base-b": ((1507405.1, 5161002.6), (-0.655, 1.730, 4.907)),
    "0303-base-a": ((1506398.4, 5160201.9), (0.418, -1.964, -3.271)),
}
JAVA = {
    "0511-north": ((489204.6, 9223060.9), (0.861, -1.324, 5.482)),
    "0512-south": ((490610.3, 9223481.5), (-1.507, 0.433, -2.915)),
}


def table(path: Path, delimiter: str = ",") -> list[dict[str, str]]:
    with path.open(newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file, delimiter=delimiter))


@pytest.mark.parametrize(
    ("script", "files"),
    [
        (
            "make_demo.py",
            ["rover/rover1-0302.csv", "rover/rover1-0303.geojson", "control.csv", "control-mistyped.csv", "truth.csv"],
        ),
        (
            "make_canal.py",
            ["canal/levels.txt", "canal/marks.csv", "canal/sessions.csv", "canal/codes.csv", "canal/truth.csv"],
        ),
    ],
)
@pytest.mark.parametrize("processor", ["this one", "another"])
def test_the_scripts_rewrite_the_committed_files(script: str, files: list[str], processor: str, tmp_path: Path) -> None:
    """The same text but for the last digits of numbers: sine and cosine differ in the last bit between processors."""
    start = [] if processor == "this one" else [ROOT / "tests" / "support" / "another_processor.py"]
    subprocess.run([sys.executable, *start, DATA / script, "--to", tmp_path], check=True)
    for name in files:
        assert_same_text((tmp_path / name).read_text(encoding="utf-8"), (DATA / name).read_text(encoding="utf-8"))
    made = sorted(str(path.relative_to(tmp_path)) for path in tmp_path.rglob("*") if path.is_file())
    assert sorted(name for name in made if not name.endswith(".gpkg")) == sorted(files)
    for name in set(made) - set(files):  # GeoPackage: its bytes depend on GDAL's version too
        assert_same_layer(tmp_path / name, DATA / name)


def assert_same_text(made: str, committed: str) -> None:
    """Hold two texts to each other; a number may be off by two units of its last written place."""
    if ";" in committed:
        made, committed = made.replace(",", "."), committed.replace(",", ".")
    ours, theirs = (NUMBER.split(text) for text in (made, committed))  # numbers stand at the odd places
    assert ours[::2] == theirs[::2]
    for one, other in zip(ours[1::2], theirs[1::2], strict=True):
        if one != other:
            unit = 10.0 ** -max(len(text.partition(".")[2]) for text in (one, other))
            assert abs(float(one) - float(other)) < 2.5 * unit, (one, other)


def assert_same_layer(made: Path, committed: Path) -> None:
    """Hold two layers of points to each other: attributes alike, places to a nanodegree or two and a micrometre."""
    ours, theirs = (pyogrio.read_dataframe(path) for path in (made, committed))
    assert ours.drop(columns="geometry").equals(theirs.drop(columns="geometry"))
    places = [np.array([(at.x, at.y, at.z) for at in layer.geometry]) for layer in (ours, theirs)]
    assert_allclose(places[0][:, :2], places[1][:, :2], rtol=0, atol=2.5e-9)
    assert_allclose(places[0][:, 2], places[1][:, 2], rtol=0, atol=1e-6)


def test_a_digit_that_is_wrong_is_not_taken_for_the_last() -> None:
    assert_same_text("a,1.2346,x1", "a,1.2345,x1")
    for other in ("a,1.2335,x1", "a,1.2345,x2", "a,-1.2345,x1", "b,1.2345,x1", "a,1.2345"):
        with pytest.raises(AssertionError):
            assert_same_text("a,1.2345,x1", other)


def errors_by_proj(sessions: dict[str, Any], grid: str, ellipsoid: str) -> dict[str, Floats]:
    """Geocentric error of each base by PROJ's own topocentric conversion."""
    to_geographic = pyproj.Transformer.from_crs(grid, pyproj.CRS(grid).geodetic_crs, always_xy=True)
    found = {}
    for name, (place, (east, north, up)) in sessions.items():
        lon, lat = to_geographic.transform(*place)
        turn = pyproj.Transformer.from_pipeline(
            f"+proj=topocentric +ellps={ellipsoid} +lon_0={lon:.12f} +lat_0={lat:.12f} +h_0=0"
        )
        origin = np.array(turn.transform(0, 0, 0, direction="INVERSE"))
        found[name] = np.array(turn.transform(east, north, up, direction="INVERSE")) - origin
    return found


def issued_by_proj(raw: Floats, shifts: Floats, grid: str, geoid: str, ellipsoid: str) -> Floats:
    """(n, 3) easting, northing, height of (n, 3) longitude, latitude, ellipsoidal height, by PROJ alone."""
    cart = pyproj.Transformer.from_pipeline(
        f"+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=cart +ellps={ellipsoid}"
    )
    x, y, z = (np.array(cart.transform(*raw.T)).T + shifts).T
    lon, lat, height = cart.transform(x, y, z, direction="INVERSE")
    down = pyproj.Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad "
        f"+step +inv +proj=vgridshift +grids={DATA / 'geoid' / geoid} +multiplier=1"
    )
    to_grid = pyproj.Transformer.from_crs(pyproj.CRS(grid).geodetic_crs, grid, always_xy=True)
    easting, northing = to_grid.transform(lon, lat)
    return np.column_stack([easting, northing, down.transform(lon, lat, height)[-1]])


def truth(path: Path) -> dict[str, tuple[str, tuple[float, ...]]]:
    rows = table(path)
    found = {row["name"]: (row["session"], tuple(float(row[k]) for k in ("easting", "northing", "height")))
             for row in rows}  # fmt: skip
    assert len(found) == len(rows)  # no name twice
    return found


def number(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return np.nan


def demo_rows() -> list[tuple[str, Floats, Floats]]:
    """Name, raw position and sigmas of every row of the three exports that has a readable position."""
    rows = [
        (row["Point"], [row["Lon"], row["Lat"], row["EllHt"]], [row["sE"], row["sN"], row["sU"]])
        for row in table(DATA / "rover" / "rover1-0302.csv")
    ]
    for feature in json.loads((DATA / "rover" / "rover1-0303.geojson").read_text())["features"]:
        said = feature["properties"]
        if feature["geometry"]:
            sigmas = [said["std_east"], said["std_north"], said["std_up"]]
            rows.append((said["id"], feature["geometry"]["coordinates"], sigmas))
    frame = pyogrio.read_dataframe(DATA / "rover" / "rover2-0303.gpkg")
    for name, at, *sigmas in zip(
        frame["pt"], frame.geometry, frame["sigma_e"], frame["sigma_n"], frame["sigma_h"], strict=True
    ):
        rows.append((name, [at.x, at.y, at.z], sigmas))
    found = [(name, np.array([number(v) for v in place]), np.array([float(s) for s in sigmas]))
             for name, place, sigmas in rows]  # fmt: skip
    return [row for row in found if np.isfinite(row[1]).all()]


#: The reading by which rover 2's controller corrected all that it exported after it, and the mark that it stood on.
APPLIED = ("0303-base-a", "CM1-0303-1312", "CM1")


def geocentric(places: Floats) -> Floats:
    """(n, 3) X, Y, Z of (n, 3) longitude, latitude, ellipsoidal height, by PROJ alone."""
    step = pyproj.Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad +step +proj=cart +ellps=GRS80"
    )
    return np.array(step.transform(*places.T)).T


def geographic_by_proj(place: tuple[float, ...]) -> Floats:
    """(3,) longitude, latitude, ellipsoidal height of a place of the demo's grid and height datum, by PROJ alone."""
    longitude, latitude = pyproj.Transformer.from_crs("EPSG:2193", "EPSG:4167", always_xy=True).transform(*place[:2])
    up = pyproj.Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad "
        f"+step +proj=vgridshift +grids={DATA / 'geoid' / 'egm96_canterbury.gtx'} +multiplier=1"
    )
    return np.array([longitude, latitude, up.transform(longitude, latitude, place[2])[-1]])


def demo_shifts() -> Floats:
    """(n, 3) what each of `demo_rows` lacks: the error of its base, less what the controller had applied."""
    rows, expected = demo_rows(), truth(DATA / "truth.csv")
    errors = errors_by_proj(NEW_ZEALAND, "EPSG:2193", "GRS80")
    found = np.array([errors[expected[name][0]] for name, _, _ in rows])
    session, tie, mark = APPLIED
    told = geographic_by_proj(expected[mark][1])
    (read,) = (place for name, place, _ in rows if name == tie)
    applied = np.subtract(*geocentric(np.array([told, read])))
    found[[expected[name][0] == session and name != tie for name, _, _ in rows]] -= applied
    return found


def test_the_demos_exports_lead_back_to_its_truth() -> None:
    """By PROJ alone: raw + the stated error of the base = truth, within the stated noise and unbiased.

    What rover 2's controller applied on Tuesday afternoon is taken out first, as README.md and the job file state it.
    """
    expected = truth(DATA / "truth.csv")
    rows, by_row = demo_rows(), demo_shifts()
    issued = issued_by_proj(np.array([row[1] for row in rows]), by_row, "EPSG:2193", "egm96_canterbury.gtx", "GRS80")
    off = (issued - np.array([expected[name][1] for name, _, _ in rows])) / np.array([row[2] for row in rows])
    assert len(rows) == 1896
    assert np.abs(off).max() < 4.5
    assert_allclose(off.std(axis=0), 1, rtol=0, atol=0.06)
    assert_allclose(off.mean(axis=0), 0, rtol=0, atol=0.1)


def test_the_canals_export_leads_back_to_its_truth() -> None:
    """The same for the second job, whose export is on the grid with ellipsoidal heights and decimal commas."""
    expected = truth(DATA / "canal" / "truth.csv")
    rows = table(DATA / "canal" / "levels.txt", delimiter=";")
    numbers = np.array([[float(row[k].replace(",", ".")) for k in ("East", "North", "EllH", "sdE", "sdN", "sdH")]
                        for row in rows])  # fmt: skip
    to_geographic = pyproj.Transformer.from_crs("EPSG:9489", "EPSG:9470", always_xy=True)
    raw = np.column_stack([*to_geographic.transform(numbers[:, 0], numbers[:, 1]), numbers[:, 2]])
    shifts = errors_by_proj(JAVA, "EPSG:9489", "WGS84")
    by_row = np.array([shifts[expected[row["No"]][0]] for row in rows])
    issued = issued_by_proj(raw, by_row, "EPSG:9489", "egm96_central_java.gtx", "WGS84")
    off = (issued - np.array([expected[row["No"]][1] for row in rows])) / numbers[:, 3:]
    assert len(rows) == 306
    assert np.abs(off).max() < 4.5
    assert_allclose(off.std(axis=0), 1, rtol=0, atol=0.15)


def test_the_canals_register_is_its_truth_in_the_older_datum() -> None:
    """DGN95 to SRGI2013 by PROJ's EPSG:9472, to the grid and down to the geoid: the truth to 0.2 mm as printed."""
    register = table(DATA / "canal" / "marks.csv")
    step = pyproj.Transformer.from_crs("EPSG:4898", "EPSG:9469", always_xy=True, allow_ballpark=False)
    assert "DGN95 to SRGI2013" in step.description
    raw = np.array([[float(row[k]) for k in ("longitude", "latitude", "ellipsoid_height")] for row in register])
    there = np.array(step.transform(*raw.T)).T
    assert np.abs((there - raw)[:, 2]).min() > 0.08  # the step is there, and would be missed
    issued = issued_by_proj(there, np.zeros(3), "EPSG:9489", "egm96_central_java.gtx", "WGS84")
    expected = truth(DATA / "canal" / "truth.csv")
    assert_allclose(issued, [expected[row["mark"]][1] for row in register], rtol=0, atol=2e-4)


@pytest.mark.parametrize(("file", "slip"), [("control.csv", 0.0), ("control-mistyped.csv", 0.18)])
def test_one_easting_of_the_mistyped_register_has_two_digits_swapped(file: str, slip: float) -> None:
    expected = truth(DATA / "truth.csv")
    register = table(DATA / file)
    off = {row["mark"]: np.array([float(row[k]) for k in ("easting", "northing", "height")]) - expected[row["mark"]][1]
           for row in register}  # fmt: skip
    assert list(off) == ["CM1", "CM2", "CM3"]  # TM1 is in no register
    assert_allclose(np.array(list(off.values())), np.array([[0, 0, 0], [0, 0, 0], [slip, 0, 0]]), rtol=0, atol=1e-9)
    typed, true = register[2]["easting"], f"{expected['CM3'][1][0]:.3f}"
    differing = [at for at, (one, other) in enumerate(zip(typed, true, strict=True)) if one != other]
    assert differing == ([8, 9] if slip else [])
    assert typed[8:10] == (true[8:10][::-1] if slip else true[8:10])


def test_the_job_states_what_the_controller_applied() -> None:
    """By tie, mark and time: the tie is read before, everything else of its session after."""
    job = tomllib.loads((ROOT / "configs" / "demo.toml").read_text())
    (session,) = [one for one in job["session"] if "field_shift" in one]
    stated = session["field_shift"]
    assert (session["name"], stated["tie"], stated["mark"]) == APPLIED
    frame = pyogrio.read_dataframe(DATA / "rover" / "rover2-0303.gpkg")
    before = frame[frame["observed_at"] < stated["from"]]
    assert list(before["pt"]) == [stated["tie"]]


def test_the_mistyped_job_is_the_demo_with_another_register() -> None:
    demo, mistyped = (tomllib.loads((ROOT / "configs" / f"{name}.toml").read_text()) for name in ("demo", "mistyped"))
    assert mistyped["control"].pop("file") == "../sample_data/control-mistyped.csv"
    assert demo["control"].pop("file") == "../sample_data/control.csv"
    assert mistyped.pop("job") != demo.pop("job")
    assert mistyped == demo


def test_mondays_export_has_the_troubles_that_the_readme_lists() -> None:
    rows = table(DATA / "rover" / "rover1-0302.csv")
    job = tomllib.loads((ROOT / "configs" / "demo.toml").read_text())
    start, end = job["session"][0]["start"], job["session"][0]["end"]
    times = [dt.datetime.fromisoformat(row["Observed"]).replace(tzinfo=ZoneInfo("Pacific/Auckland"))
             for row in rows if row["Observed"]]  # fmt: skip
    outside = [time for time in times if not start <= time < end]
    assert len(outside) == 4
    assert all(start <= time + dt.timedelta(hours=13) < end for time in every(outside))
    assert len(rows) - len(times) == 2
    assert [row["Sol"] for row in rows].count("Float") == 6
    assert [row["Sol"] for row in rows].count("Autonomous") == 2
    fixed = [row for row in rows if row["Sol"] == "Fixed"]
    assert sum(float(row["PDOP"]) > job["quality"]["max_pdop"] for row in fixed) == 3
    assert sum(max(float(row["sE"]), float(row["sN"])) > job["quality"]["max_sigma_horizontal"] for row in fixed) == 2
    assert sum(row["EllHt"] == "" for row in rows) == 2
    assert sum(bool(row[k]) and np.isnan(number(row[k])) for row in rows for k in ("Lat", "EllHt")) == 2
    assert len(rows) - len({tuple(row.values()) for row in rows}) == 3


def test_tuesdays_exports_have_the_troubles_that_the_readme_lists() -> None:
    features = json.loads((DATA / "rover" / "rover1-0303.geojson").read_text())["features"]
    assert [one["properties"]["reference"] for one in features].count("BASE-X") == 2
    assert [one["geometry"] for one in features].count(None) == 1
    frame = pyogrio.read_dataframe(DATA / "rover" / "rover2-0303.gpkg", layer="observations")
    assert frame["base_id"].isna().sum() == 1
    job = tomllib.loads((ROOT / "configs" / "demo.toml").read_text())
    both_end = job["session"][1]["end"]
    assert frame.loc[frame["base_id"].isna(), "observed_at"].iloc[0] < both_end


def test_only_a_short_run_of_points_stands_beside_the_failing_check() -> None:
    frame = pyogrio.read_dataframe(DATA / "rover" / "rover2-0303.gpkg").sort_values("observed_at")
    names = list(frame["pt"])
    at = names.index("CM3-0303-1441")
    assert names[at - 11] == "CM2-0303-1431"
    assert names[at + 11] == "CM1-0303-1451"
    assert (names[at - 10], names[at + 10]) == ("B0131", "B0150")


@pytest.mark.parametrize("name", ["demo.toml", "mistyped.toml", "canal.toml"])
def test_the_job_files_name_files_that_are_there_and_points_that_were_observed(name: str) -> None:
    path = ROOT / "configs" / name
    job = tomllib.loads(path.read_text(encoding="utf-8"))
    files = [one for block in job["points"] for one in block["files"]]
    files += [job["control"]["file"], job["target"]["geoid"]]
    if "sessions" in job:
        files.append(job["sessions"]["file"])
    for one in every(files):
        assert (path.parent / one).resolve().is_file(), one
    known = truth(DATA / "canal" / "truth.csv" if name == "canal.toml" else DATA / "truth.csv")
    for session in job.get("session", []):
        for one in [*session["ties"], *session.get("checks", [])]:
            assert known[one["point"]][0] == session["name"]
            assert one["mark"] in known
    for code in (job["target"]["grid"], job["target"]["height"], job["source"]["crs"], job["control"]["crs"]):
        assert pyproj.CRS(code).name


@pytest.mark.parametrize(("file", "off"), [("control.csv", 0.0), ("control-mistyped.csv", -0.18)])
def test_every_check_of_the_demo_passes_but_the_one_on_the_mistyped_mark(file: str, off: float) -> None:
    """With each session shifted onto the register at its first tie alone, by PROJ: the tolerances of the job file."""
    register = {row["mark"]: np.array([float(row[k]) for k in ("easting", "northing", "height")])
                for row in table(DATA / file)}  # fmt: skip
    session_of = {name: session for name, (session, _) in truth(DATA / "truth.csv").items()}
    occupied = [row for row in demo_rows() if row[0][:3] in register]
    names, raw = [row[0] for row in occupied], np.array([row[1] for row in occupied])
    ties = {"0302-base-a": "CM1-0302-0752", "0303-base-b": "CM2-0303-0758", "0303-base-a": "CM1-0303-1312"}
    by_row = demo_shifts()[[row[0][:3] in register for row in demo_rows()]]
    grid = issued_by_proj(raw, by_row, "EPSG:2193", "egm96_canterbury.gtx", "GRS80")
    residuals = grid - np.array([register[name[:3]] for name in names])
    at_tie = np.array([residuals[names.index(ties[session_of[name]])] for name in names])
    residuals -= at_tie  # millimetres: small enough to be taken out on the grid
    tolerances = tomllib.loads((ROOT / "configs" / "demo.toml").read_text())["checks"]
    passed = (np.hypot(residuals[:, 0], residuals[:, 1]) < 0.8 * tolerances["horizontal"]) & (
        np.abs(residuals[:, 2]) < 0.8 * tolerances["vertical"]
    )
    assert [name for name, good in zip(names, passed, strict=True) if not good] == ["CM3-0303-1441"] * bool(off)
    assert_allclose(residuals[names.index("CM3-0303-1441")], [off, 0, 0], rtol=0, atol=0.03)
    assert len(names) == 5 + 3 + 6  # occupations of CM1 to CM3 as the three days were laid out
