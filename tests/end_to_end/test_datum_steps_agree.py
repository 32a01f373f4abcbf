"""Exports, registers and grids of different datums: what varies over a job is refused or told, what cancels is quiet.

The grid is RD New with its real grid file, which bends against PROJ's seven parameters between "WGS 84" and Amersfoort
by centimetres over kilometres. Truth is PROJ's own way from ETRS89, compared with the service's points in `published`.
"""

from pathlib import Path

import numpy as np
import pytest
from issued import current_issue
from least_job import write_job
from pyproj import Transformer
from simulate_plan import GRS80, move

from pipeline import run_job
from pipeline.geodesy import grids
from pipeline.problems import JobError

#: Name, longitude, latitude, ellipsoidal height in ETRS89: a mark, one 3 km and a point 8 km away.
PLACES = {"CM1": (5.38, 52.10, 60.0), "CM2": (5.40, 52.125, 61.0), "P1": (5.46, 52.155, 62.0)}
ETRS89, AMERSFOORT = "EPSG:4937", "EPSG:28992"


def truth() -> dict[str, tuple[float, float, float]]:
    grids.prepare_proj()
    way = Transformer.from_crs(ETRS89, "EPSG:7415", always_xy=True, only_best=True)
    return {name: way.transform(*place) for name, place in PLACES.items()}


def write(
    folder: Path,
    source: str,
    control: str,
    *,
    degrees: bool,
    grid: str = AMERSFOORT,
    height: str = "ellipsoid",
    register_height: str = "ellipsoid",
    **target: float,
) -> Path:
    """Lay down a job: T1 on CM1, C1 on CM2, the point P1; exports all off by one vector, the base's error."""
    known = truth()
    names = {"T1": "CM1", "C1": "CM2", "P1": "P1"}
    rows = ["Point,Time,Lon,Lat,H"]
    for minute, (name, at) in enumerate(names.items()):
        lon, lat, up = (part[0] for part in move(*np.array(PLACES[at])[:, None], np.array([1.2, -0.9, 4.1]), GRS80))
        rows.append(f"{name},2026-03-02T08:{minute:02d}:00Z,{lon:.11f},{lat:.11f},{up:.5f}")
    (folder / "rover.csv").write_text("\n".join(rows) + "\n")
    third = "ellipsoid_height" if register_height == "ellipsoid" else "height"
    marks = [f"mark,longitude,latitude,{third}" if degrees else f"mark,easting,northing,{third}"]
    for name in ("CM1", "CM2"):
        lon, lat, up = PLACES[name]
        east, north, level = known[name]
        high = level if register_height != "ellipsoid" else up
        marks.append(f"{name},{lon:.10f},{lat:.10f},{high}" if degrees else f"{name},{east:.5f},{north:.5f},{high:.5f}")
    (folder / "register.csv").write_text("\n".join(marks) + "\n")
    control_table = {"file": "register.csv", "crs": control, "height": register_height}
    frame = {"grid": grid, "height": height, **target}
    return write_job(
        folder, source, frame, file="rover.csv", control=control_table, ties=[("T1", "CM1")], checks=[("C1", "CM2")]
    )


@pytest.fixture(autouse=True)
def _grids(real_grids: Path) -> None:
    """Each test needs the real grids."""


@pytest.mark.parametrize("source", ["EPSG:4979", "EPSG:4326"])
def test_seven_parameters_against_the_grid_file_are_refused(source: str, tmp_path: Path) -> None:
    """Marks in RD New, positions called WGS 84: the two ways part by centimetres over the job."""
    with pytest.raises(JobError) as caught:
        run_job(write(tmp_path, source, AMERSFOORT, degrees=False))
    (problem,) = caught.value.problems
    assert "ETRS89" in problem.what and "mm" in problem.what and ETRS89 in problem.fix
    assert not (tmp_path / "out").exists()


def test_the_fix_gives_the_published_coordinates(tmp_path: Path) -> None:
    path = write(tmp_path, ETRS89, AMERSFOORT, degrees=False, height="EPSG:5709", register_height="EPSG:5709")
    assert run_job(path).exit_code == 0
    issue = current_issue(tmp_path / "out")
    assert issue.record["doubts"] == []
    point, (east, north, level) = issue.points.one(name="P1"), truth()["P1"]
    for found, known in ((point["easting"], east), (point["northing"], north), (point["height"], level)):
        assert found == pytest.approx(known, rel=0, abs=1e-3)


def test_a_register_that_goes_by_another_way_is_refused(tmp_path: Path) -> None:
    """Positions called WGS 84, marks in ETRS89: the marks go by the grid file, the positions by seven parameters."""
    with pytest.raises(JobError) as caught:
        run_job(write(tmp_path, "EPSG:4979", "EPSG:4258", degrees=True))
    assert any("ETRS89" in problem.what for problem in caught.value.problems)


def test_a_register_called_wgs_84_is_refused_where_a_better_way_differs(tmp_path: Path) -> None:
    with pytest.raises(JobError) as caught:
        run_job(write(tmp_path, ETRS89, "EPSG:4326", degrees=True))
    lines = (tmp_path / "job.toml").read_text().splitlines()
    assert any(lines[problem.line - 1].startswith('crs = "EPSG:4326"') for problem in caught.value.problems)


def test_a_larger_error_may_be_allowed(tmp_path: Path) -> None:
    """What is allowed is still told."""
    path = write(tmp_path, "EPSG:4979", AMERSFOORT, degrees=False, max_transform_error=1.0)
    record = run_job(path, dry_run=True).record
    assert any("ETRS89" in note and "mm" in note for note in record["notes"])


def test_a_limit_below_what_varies_refuses_a_tied_session(tmp_path: Path) -> None:
    with pytest.raises(JobError):
        run_job(write(tmp_path, "EPSG:4979", AMERSFOORT, degrees=False, max_transform_error=0.01))


@pytest.mark.parametrize("control", ["EPSG:4258", "EPSG:4326"])
def test_one_label_for_exports_and_register_on_the_grids_own_datum(control: str, tmp_path: Path) -> None:
    """ETRS89 / UTM: a register called WGS 84 there is known to a metre only, one in ETRS89 is the grid's own."""
    source = "EPSG:4979" if control == "EPSG:4326" else ETRS89
    outcome = run_job(write(tmp_path, source, control, degrees=True, grid="EPSG:25831"), dry_run=True)
    doubts = [doubt["kind"] for doubt in outcome.record["doubts"]]
    assert doubts == (["transformation"] if control == "EPSG:4326" else [])
    assert outcome.exit_code == (3 if doubts else 0)


def test_an_export_called_wgs_84_and_marks_of_the_grids_datum_stay_quiet(tmp_path: Path) -> None:
    """Common practice, no source: what "WGS 84" is off by is alike all over the job and goes into the shift."""
    outcome = run_job(write(tmp_path, "EPSG:4979", "EPSG:4258", degrees=True, grid="EPSG:25831"), dry_run=True)
    assert outcome.exit_code == 0 and outcome.record["doubts"] == []
    assert not any("differs from the route" in note for note in outcome.record["notes"])


def test_marks_in_an_older_datum_say_nothing_of_a_label(tmp_path: Path) -> None:
    """Common practice, no source: marks in RD New, exports called WGS 84, and the drawing on ETRS89 / UTM.

    PROJ's metre from WGS 84 to Amersfoort bends by centimetres, and no coordinate of the job goes that way.
    """
    path = write(tmp_path, "EPSG:4979", AMERSFOORT, degrees=False, grid="EPSG:25831")
    assert run_job(path).exit_code == 0
    point, east_north = current_issue(tmp_path / "out").points.one(name="P1"), PLACES["P1"]
    known = Transformer.from_crs("EPSG:4258", "EPSG:25831", always_xy=True).transform(*east_north[:2])
    assert (point["easting"], point["northing"]) == pytest.approx(known, rel=0, abs=1e-3)


def test_what_to_state_fits_eastings_and_degrees(tmp_path: Path) -> None:
    """Exports in degrees get the code of a CRS in degrees, whatever the register is in."""
    with pytest.raises(JobError) as caught:
        run_job(write(tmp_path, "EPSG:4979", "EPSG:4258", degrees=True))
    (problem,) = (problem for problem in caught.value.problems if "ETRS89" in problem.what)
    assert ETRS89 in problem.fix


@pytest.mark.parametrize(
    ("grid", "told"), [pytest.param("EPSG:25831", False, id="own"), pytest.param("EPSG:25829", True, id="far")]
)
def test_a_grid_of_another_part_of_the_earth_is_told(grid: str, told: bool, tmp_path: Path) -> None:
    """EPSG's areas of use: zone 31 from 0 to 6 degrees, zone 29 from -12 to -6; the job lies at 5.4."""
    record = run_job(write(tmp_path, ETRS89, "EPSG:4258", degrees=True, grid=grid), dry_run=True).record
    assert any("the right zone" in note for note in record["notes"]) is told


def test_a_recorded_doubt_names_the_job_file_wherever_it_lies(tmp_path: Path) -> None:
    record = run_job(write(tmp_path, "EPSG:4979", "EPSG:4326", degrees=True, grid="EPSG:25831"), dry_run=True).record
    (doubt,) = record["doubts"]
    assert doubt["what"].startswith("job.toml:")
