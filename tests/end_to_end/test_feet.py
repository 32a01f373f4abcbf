"""Whole jobs in feet: each unit is the one that its CRS says, and a job file that says another is refused.

Between the two feet lie 2 parts in a million, 0.7 m in the northings of this zone.
"""

import json
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pyogrio
import pyproj
import pytest
from every import every
from feet import (
    FEET,
    FOOT,
    GEOGRAPHIC,
    METRES,
    NAVD88,
    NAVD88_DEPTH,
    NAVD88_FOOT,
    NAVD88_SURVEY,
    PLAN,
    SURVEY,
    geoid,
    raw_grid,
    state_plane,
    with_grid_columns,
    with_register,
    with_source,
)
from issued import Issue, off_truth
from numpy.testing import assert_allclose
from running import Row, replace_in, rewrite_export, run_written
from simulate import Simulation
from simulate_plan import GRS80, move, turn_enu

from pipeline import JobError, check_job, run_job

TENTH_MM = 1e-4


def holds_truth(issue: Issue, job: Simulation) -> None:
    assert len(issue.points.rows) == 6
    assert_allclose(off_truth(issue.points.rows, job.truth), 0, rtol=0, atol=TENTH_MM)
    assert issue.record["verdict"] == "proven"


def refusal(path: Path) -> str:
    """What run and check both say of a job that both refuse; nothing is written."""
    with pytest.raises(JobError) as run:
        run_job(path)
    with pytest.raises(JobError) as check:
        check_job(path)
    assert not (path.parent / "out").exists()
    told = [" ".join((f"{p.file}:{p.line}", p.what, p.fix)) for p in run.value.problems]
    assert told == [" ".join((f"{p.file}:{p.line}", p.what, p.fix)) for p in check.value.problems]
    return "\n".join(told)


@pytest.fixture
def job(tmp_path: Path) -> Simulation:
    return state_plane(tmp_path)


def test_metres_as_they_were(job: Simulation, tmp_path: Path) -> None:
    holds_truth(run_written(job.write(tmp_path)), job)


def test_an_export_in_us_survey_feet(job: Simulation, tmp_path: Path) -> None:
    """Plan by the CRS, ellipsoidal heights and sigmas by what the job file states."""
    path, plain = job.write(tmp_path), run_written(job.write(tmp_path / "metres"))
    with_grid_columns(path, raw_grid(job) / SURVEY, SURVEY)
    with_source(path, FEET, "us-survey-foot")
    issue = run_written(path)
    holds_truth(issue, job)
    for name in ("hu95", "vu95"):
        assert_allclose(issue.points.column(name), plain.points.column(name), rtol=0, atol=1e-5)


def test_geometries_in_us_survey_feet(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path, "gpkg")
    _, table = pyogrio.read_arrow(tmp_path / "rover001.gpkg")
    packed = np.zeros(table.num_rows, np.dtype([("order", "u1"), ("type", "<u4"), ("xyz", "<f8", 3)]))
    packed["order"], packed["type"], packed["xyz"] = 1, 1001, raw_grid(job) / SURVEY
    shape = pa.array([row.tobytes() for row in packed], pa.binary())
    table = table.drop_columns(["geom"]).append_column("geom", shape)
    (tmp_path / "rover001.gpkg").unlink()
    pyogrio.write_arrow(table, tmp_path / "rover001.gpkg", layer="points", driver="GPKG",
                        geometry_name="geom", geometry_type="Point Z", crs=FEET)  # fmt: skip
    with_source(path, FEET, "us-survey-foot")
    holds_truth(run_written(path), job)


def test_a_layer_in_feet_without_a_code_is_not_read_as_metres(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path, "gpkg")
    _, table = pyogrio.read_arrow(tmp_path / "rover001.gpkg")
    (tmp_path / "rover001.gpkg").unlink()
    own = re.sub(r',ID\["EPSG",\d+\]', "", pyproj.CRS(FEET).to_wkt()).replace("Illinois", "Office")
    own = own.replace("984250", "984350")
    pyogrio.write_arrow(table, tmp_path / "rover001.gpkg", layer="points", driver="GPKG",
                        geometry_name="geom", geometry_type="Point Z", crs=own)  # fmt: skip
    with_source(path, METRES)
    assert "the layer is in " in refusal(path)


@pytest.mark.parametrize(
    ("height", "up"), [(NAVD88_SURVEY, SURVEY), (NAVD88_FOOT, FOOT), (NAVD88, 1.0), (NAVD88_DEPTH, -1.0)]
)
def test_an_export_whose_height_datum_has_a_unit_of_its_own(
    height: str, up: float, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Eastings in US survey feet, heights in each of three units; sigmas in metres, as nothing else is stated."""
    job = state_plane(tmp_path, name="g2018u0.gtx")  # the older name of PROJ's own grid for NAVD88
    del job.job["target"]["geoid"]
    before = pyproj.datadir.get_data_dir()
    monkeypatch.setenv("PROJ_DATA", str(tmp_path / "geoid"))
    path = job.write(tmp_path)
    with_grid_columns(path, raw_grid(job, above_geoid=True) / [SURVEY, SURVEY, up])
    with_source(path, f"{FEET}+{height.removeprefix('EPSG:')}")
    try:
        holds_truth(run_written(path), job)
    finally:
        pyproj.datadir.set_data_dir(before)


def test_a_grid_in_kilometres(job: Simulation, tmp_path: Path) -> None:
    """A CRS of the office's own, with heights in metres as its third axis: no word of the job file is needed."""
    about = pyproj.CRS(METRES).to_3d().to_json_dict()
    for axis in about["coordinate_system"]["axis"][:2]:
        axis["unit"] = {"type": "LinearUnit", "name": "kilometre", "conversion_factor": 1000}
    about.pop("id", None)
    about["name"] = "Illinois East in kilometres"
    path = job.write(tmp_path)
    with_grid_columns(path, raw_grid(job) / [1000, 1000, 1])
    with_source(path, json.dumps(about))
    issue = run_written(path)
    assert_allclose(off_truth(issue.points.rows, job.truth), 0, rtol=0, atol=TENTH_MM)


def test_ellipsoidal_heights_in_feet_beside_degrees(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)

    def change(row: Row) -> Row:
        return row | {name: f"{float(row[name]) / FOOT:.6f}" for name in ("EllHt", "sE", "sN", "sU")}

    rewrite_export(tmp_path / "rover001.csv", change)
    with_source(path, GEOGRAPHIC, "foot")
    holds_truth(run_written(path), job)


@pytest.mark.parametrize(
    ("crs", "units", "says"),
    [
        (FEET, "foot", ["US survey foot", '"foot"', '"us-survey-foot"']),
        (FEET, "metre", ["US survey foot", '"metre"', '"us-survey-foot"', METRES]),
        (FEET, None, ["is not in metres", "US survey foot", 'units = "us-survey-foot"']),
        (METRES, "us-survey-foot", ["metre", '"us-survey-foot"', FEET]),
        (METRES, "foot", ["metre", '"foot"', '"metre"']),
        ("EPSG:6455+5703", "us-survey-foot", ["heights in metre", "leave units out", NAVD88_SURVEY]),
        ("EPSG:6455+5703", "metre", ["northings in US survey foot", "leave units out", METRES]),
        ("EPSG:6454+6360", "metre", ["heights in US survey foot", "leave units out", NAVD88]),
        ("EPSG:6455+6360", "foot", ["US survey foot", '"us-survey-foot"']),
    ],
)
def test_an_export_that_contradicts_itself_is_refused(
    crs: str, units: str | None, says: list[str], job: Simulation, tmp_path: Path
) -> None:
    path = job.write(tmp_path)
    with_grid_columns(path, raw_grid(job) / SURVEY)
    with_source(path, crs, units)
    told = refusal(path)
    assert all(word in told for word in says), told
    key = "crs" if units is None else "units"
    line = int(told.split(":")[1].split(" ")[0])
    assert path.read_text().splitlines()[line - 1].startswith(f"{key} = ")


REGISTERS = [
    (FEET, NAVD88, SURVEY, 1.0, None),
    (FEET, NAVD88_SURVEY, SURVEY, SURVEY, None),
    (FEET, NAVD88_SURVEY, SURVEY, SURVEY, "us-survey-foot"),
    (FEET, NAVD88_FOOT, SURVEY, FOOT, None),
    (METRES, NAVD88_SURVEY, 1.0, SURVEY, None),
    (METRES, NAVD88_DEPTH, 1.0, -1.0, None),
    (FEET, "ellipsoid", SURVEY, SURVEY, "us-survey-foot"),
]


@pytest.mark.parametrize(("crs", "height", "plan", "up", "units"), REGISTERS)
def test_a_register_counts_in_the_units_of_its_crs_and_height_datum(
    crs: str, height: str, plan: float, up: float, units: str | None, job: Simulation, tmp_path: Path
) -> None:
    """The named geoid serves a register in feet of the target's height datum too."""
    path = job.write(tmp_path)
    with_register(path, job, crs, height, plan, up, units=units)
    issue = run_written(path)
    holds_truth(issue, job)
    known = [[row[f"known_{k}"] for k in ("easting", "northing", "height")] for row in issue.check_marks.rows]
    true = [job.marks.of(row["mark"]) for row in issue.check_marks.rows]
    assert_allclose(known, true, rtol=0, atol=TENTH_MM)


def test_a_register_of_geometries_in_feet(job: Simulation, tmp_path: Path) -> None:
    path = job.write(tmp_path)
    with_register(path, job, FEET, NAVD88_SURVEY, SURVEY, SURVEY)
    places = np.column_stack([job.marks.easting, job.marks.northing, job.marks.height]) / SURVEY
    packed = np.zeros(len(places), np.dtype([("order", "u1"), ("type", "<u4"), ("xyz", "<f8", 3)]))
    packed["order"], packed["type"], packed["xyz"] = 1, 1001, places
    table = pa.table({
        "mark": pa.array(job.marks.names.astype(object), pa.string()),
        "geom": pa.array([row.tobytes() for row in packed], pa.binary()),
    })  # fmt: skip
    pyogrio.write_arrow(table, tmp_path / "register.gpkg", layer="marks", driver="GPKG",
                        geometry_name="geom", geometry_type="Point Z", crs=FEET)  # fmt: skip
    replace_in(path, {"register.csv": "register.gpkg"})
    holds_truth(run_written(path), job)


@pytest.mark.parametrize(
    ("crs", "height", "units", "says"),
    [
        (FEET, "ellipsoid", None, ["is not in metres", "US survey foot", "units"]),
        (FEET, NAVD88_SURVEY, "foot", ["US survey foot", '"foot"', '"us-survey-foot"']),
        (FEET, NAVD88, "us-survey-foot", ["heights in metre", "leave units out", NAVD88_SURVEY]),
        (METRES, NAVD88, "us-survey-foot", ["metre", '"us-survey-foot"', FEET]),
    ],
)
def test_a_register_that_contradicts_itself_is_refused(
    crs: str, height: str, units: str | None, says: list[str], job: Simulation, tmp_path: Path
) -> None:
    path = job.write(tmp_path)
    with_register(path, job, crs, height, SURVEY, SURVEY, units=units)
    told = refusal(path)
    assert all(word in told for word in says), told


def test_a_mistyped_digit_in_feet_is_read(job: Simulation, tmp_path: Path) -> None:
    """Two digits of a check mark's easting swapped: the register's own numbers are told."""
    path = job.write(tmp_path)
    with_register(path, job, FEET, NAVD88_SURVEY, SURVEY, SURVEY)
    mark = next(check["mark"] for check in job.job["session"][0]["checks"])
    lines = (tmp_path / "register.csv").read_text().splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith(f"{mark},"))
    right = lines[at].split(",")[1]
    whole, part = right.split(".")
    typed = f"{whole[:-1]}{part[0]}.{whole[-1]}{part[1:]}"
    assert typed != right
    (tmp_path / "register.csv").write_text("\n".join(lines).replace(right, typed) + "\n")
    issue = run_written(path, code=3)
    causes = [row["cause"] for row in issue.check_marks.where(mark=mark)]
    assert all(f"typed with two digits swapped: {typed} for {right}" in cause for cause in every(causes)), causes


def test_plan_alone_goes_with_any_height(job: Simulation, tmp_path: Path) -> None:
    """A 2D geographic CRS with heights in feet stated: as with the 3D one."""
    path = job.write(tmp_path)
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | {"EllHt": f"{float(row['EllHt']) / SURVEY:.6f}"})
    rewrite_export(
        tmp_path / "rover001.csv", lambda row: row | {k: f"{float(row[k]) / SURVEY:.7f}" for k in ("sE", "sN", "sU")}
    )
    with_source(path, PLAN, "us-survey-foot")
    holds_truth(run_written(path), job)


def test_the_invented_geoid_slopes(tmp_path: Path) -> None:
    """So that a height that took another way would show."""
    at = pyproj.Transformer.from_pipeline(
        "+proj=pipeline +step +proj=unitconvert +xy_in=deg +xy_out=rad "
        f"+step +proj=vgridshift +grids={geoid(tmp_path)} +multiplier=1"
    )
    assert_allclose([at.transform(-88.2, lat, 0.0)[2] for lat in (40.0, 40.2)], [-32.99, -32.91], rtol=0, atol=1e-4)


#: NAD83(2011) / Texas Central in metres and in US survey feet: northings of 3,000 km, 6 m between the two feet.
TEXAS, TEXAS_FEET = "EPSG:6577", "EPSG:6578"
#: The same of the zone to its north: northings of 2,100 km, 4 m between the two feet.
NORTH, NORTH_FEET = "EPSG:6583", "EPSG:6584"


def texas(
    folder: Path,
    foot: float,
    up: float,
    raw_up: float = 1.0,
    shifts: Sequence[tuple[float, float]] = ((1.2, -0.9),),
    zone: tuple[str, str, float] = (TEXAS, TEXAS_FEET, 30.3),
) -> dict[str, Any]:
    """Run a job in Texas whose register counts in so many metres, and whose raw heights do; return its record.

    Each day has a base of its own, whose readings need so many metres east and north to be right.
    """
    grid, grid_feet, north = zone
    to_grid = pyproj.Transformer.from_crs("EPSG:6318", grid, always_xy=True)
    steps = {"T1": (0.0, 0.0, 180.0), "C1": (0.01, 0.01, 184.0), "P1": (-0.01, -0.01, 182.0)}
    places = {name: (east - 97.70, north + up_north, height) for name, (east, up_north, height) in steps.items()}
    folder.mkdir(parents=True, exist_ok=True)
    raw, marks = ["Point,Time,Lon,Lat,H"], ["mark,easting,northing,ellipsoid_height"]
    for minute, (name, place) in enumerate(places.items()):
        for day, shift in enumerate(shifts):
            off = -turn_enu(place[0], place[1], np.array([*shift, 1.1]))
            lon, lat, height = (float(part[0]) for part in move(*np.array(place)[:, None], off, GRS80))
            raw.append(f"{name},2026-03-{day + 2:02d}T08:{minute:02d}:00Z,{lon:.11f},{lat:.11f},{height / raw_up:.5f}")
        east, north = to_grid.transform(*place[:2])
        marks.append(f"M{name},{east / foot:.5f},{north / foot:.5f},{place[2] / up:.5f}")
    (folder / "rover.csv").write_text("\n".join(raw) + "\n")
    (folder / "register.csv").write_text("\n".join(marks[:3]) + "\n")
    (folder / "job.toml").write_text(f"""
[job]
name = "texas"
folder = "out"
[target]
grid = "{grid}"
height = "ellipsoid"
[source]
crs = "{GEOGRAPHIC}"
[[points]]
files = ["rover.csv"]
columns = {{ name = "Point", time = "Time", longitude = "Lon", latitude = "Lat", height = "H" }}
[control]
file = "register.csv"
crs = "{grid_feet}"
height = "ellipsoid"
units = "us-survey-foot"
""" + "".join(f"""
[[session]]
name = "day-{day}"
start = 2026-03-{day:02d}T07:00:00Z
end = 2026-03-{day:02d}T17:00:00Z
ties = [{{ point = "T1", mark = "MT1" }}]
checks = [{{ point = "C1", mark = "MC1" }}]
""" for day in range(2, len(shifts) + 2)))  # fmt: skip
    return run_job(folder / "job.toml", dry_run=True).record


@pytest.mark.parametrize(
    ("foot", "up", "raw_up", "said"),
    [
        pytest.param(SURVEY, SURVEY, 1.0, None, id="right"),
        pytest.param(FOOT, FOOT, 1.0, "eastings and northings are in international feet", id="other-foot"),
        pytest.param(SURVEY, 1.0, 1.0, "register's heights are in metres", id="register-heights-in-metres"),
        pytest.param(SURVEY, SURVEY, FOOT, "export's heights are in international feet", id="export-heights-in-feet"),
    ],
)
def test_units_that_are_not_the_stated_ones_are_in_doubt(
    foot: float, up: float, raw_up: float, said: str | None, tmp_path: Path
) -> None:
    """The other foot puts every point 6 m off while all checks agree, well within the limit of a shift."""
    doubts = [doubt["what"] for doubt in texas(tmp_path, foot, up, raw_up)["doubts"] if doubt["kind"] == "units"]
    assert any(said in what for what in doubts) if said else not doubts


def test_a_base_that_may_be_the_other_foot_is_told(tmp_path: Path) -> None:
    """A base 2.8 m off and more or less along the 4.4 m between the feet: its proof stands, and the foot is told."""
    zone = (NORTH, NORTH_FEET, 32.8)
    record = texas(tmp_path / "base", SURVEY, SURVEY, 1.0, [(0.9, 2.65)], zone)
    assert record["doubts"] == []
    assert any("international feet" in note and "A base that averaged" in note for note in record["notes"])
    other = texas(tmp_path / "foot", FOOT, SURVEY, 1.0, [(0.4, -0.3)], zone)
    assert [doubt["kind"] for doubt in other["doubts"]] == ["units"]


def test_a_foot_that_one_session_hides_is_told_of_all(tmp_path: Path) -> None:
    """Three bases off by a metre or two, one by three: the register is one for all, and so is its foot."""
    shifts = [(0.6, -0.9), (-0.8, 0.3), (0.2, 0.7), (2.6, -2.2)]
    record = texas(tmp_path, FOOT, SURVEY, 1.0, shifts)
    (doubt,) = [one for one in record["doubts"] if one["kind"] == "units"]
    assert len(doubt["sessions"]) == len(shifts)
    assert {one["verdict"] for one in record["sessions"]} == {"unchecked"}


def test_bases_of_several_sessions_are_no_foot(tmp_path: Path) -> None:
    """One of four is off just as the other foot would have it: what the register says is one for all."""
    shifts = [(0.6, -0.9), (-0.8, 0.3), (0.2, 0.7), (1.3, 6.2)]
    record = texas(tmp_path, SURVEY, SURVEY, 1.0, shifts)
    assert (record["doubts"], record["verdict"]) == ([], "unclosed")


@pytest.mark.parametrize(("foot", "crs"), [(1.0, TEXAS_FEET), (SURVEY, TEXAS)])
def test_a_register_that_lies_elsewhere_in_another_unit_is_told_with_it(foot: float, crs: str, tmp_path: Path) -> None:
    texas(tmp_path, foot, SURVEY, 1.0)
    units = "us-survey-foot" if crs == TEXAS_FEET else "metre"
    changes = {f'crs = "{TEXAS_FEET}"': f'crs = "{crs}"', 'units = "us-survey-foot"': f'units = "{units}"'}
    replace_in(tmp_path / "job.toml", changes)
    says = "read in metres, not in feet," if crs == TEXAS_FEET else "read in feet, not in metres,"
    told = check_job(tmp_path / "job.toml").warnings
    assert any(f"{says} the marks would be among the readings" in text for text in told)


@pytest.mark.parametrize(
    ("grid", "height", "plan", "up", "told"),
    [
        pytest.param(FEET, NAVD88, (FEET, SURVEY), (NAVD88_SURVEY, SURVEY), "US survey feet, heights in metres"),
        pytest.param(METRES, NAVD88_SURVEY, (METRES, 1.0), (NAVD88, 1.0), "metres, heights in US survey feet"),
        pytest.param(FEET, NAVD88, (FEET, SURVEY), (NAVD88, 1.0), None, id="as the register"),
        pytest.param(FEET, NAVD88_SURVEY, (METRES, 1.0), (NAVD88, 1.0), None, id="both in feet"),
        pytest.param(FEET, NAVD88_FOOT, (METRES, 1.0), (NAVD88, 1.0), None, id="two feet"),
        pytest.param(METRES, NAVD88, (FEET, SURVEY), (NAVD88_SURVEY, SURVEY), None, id="both in metres"),
    ],
)
def test_plan_and_heights_issued_in_different_units_are_told(
    grid: str,
    height: str,
    plan: tuple[str, float],
    up: tuple[str, float],
    told: str | None,
    job: Simulation,
    tmp_path: Path,
) -> None:
    """Each code has its unit, by the EPSG registry; a register of both units says that the site works with both."""
    path = job.write(tmp_path)
    with_register(path, job, plan[0], up[0], plan[1], up[1])
    replace_in(
        path, {f'[target]\ngrid = "{METRES}"\nheight = "{NAVD88}"': f'[target]\ngrid = "{grid}"\nheight = "{height}"'}
    )
    outcome = run_job(path, dry_run=True)
    notes = [note for note in outcome.record["notes"] if "are issued in" in note]
    assert outcome.exit_code == 0 and len(notes) == (told is not None)
    assert all(note.startswith("job.toml:") and f"are issued in {told}" in note for note in notes)
