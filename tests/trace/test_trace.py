"""A traced point adds up by hand: with the closed forms alone, from the text of the raw file to the issued row."""

import datetime as dt
import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from altered import change
from circles import circle
from every import every
from first_issue import first_issue
from issued import current_issue, everything_below
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from running import append_rows, csv_rows, rewrite_export
from simulate import CANTERBURY, Plan, Simulation, simulate
from simulate_plan import to_geocentric, to_geographic, turn_enu
from typer.testing import CliRunner

from pipeline import run_job
from pipeline.cli.main import app
from pipeline.problems import JobError
from pipeline.trace import Reading, trace

run = CliRunner().invoke

ELLIPSOID, GRID = CANTERBURY.ellipsoid, CANTERBURY.projection
POINT = "S02-00017"
#: A hundredth of a millimetre; the closed forms and PROJ agree far below it.
CLOSE = dict(rtol=0, atol=1e-5)


def raw_xyz(folder: Path, name: str) -> NDArray[np.float64]:
    """Geocentric X, Y, Z of a row of the export, read from its text."""
    (row,) = [row for row in csv_rows(folder / "rover001.csv") if row["Point"] == name]
    place = [np.array([float(row[column])]) for column in ("Lon", "Lat", "EllHt")]
    return np.asarray(to_geocentric(*place, ELLIPSOID)[0])


def issued_by_hand(xyz: NDArray[np.float64]) -> NDArray[np.float64]:
    """Easting, northing and height of X, Y, Z by the closed forms of the projection and the geoid file."""
    longitude, latitude, height = to_geographic(xyz[None], ELLIPSOID)
    easting, northing = GRID.forward(longitude, latitude)
    return np.array([easting[0], northing[0], (height - CANTERBURY.separation(longitude, latitude))[0]])


def only(readings: Iterable[Reading]) -> Reading:
    (reading,) = readings
    return reading


def traced(path: Path, name: str = POINT) -> Reading:
    """The one reading of a name, which the newest issue must agree with."""
    found = trace(path, name)
    assert found.agreement.differences == () and found.agreement.changed == ()
    return only(found.readings)


def make(job: Simulation, folder: Path) -> Path:
    path = job.write(folder)
    first_issue(path)
    return path


@pytest.fixture
def network() -> Simulation:
    """Noisy, with two ties in each of two sessions, a temporary mark that joins them, and a third that hangs on it."""
    return simulate(Plan(sessions=3, tied_sessions=2, ties=2, points=40, temporary=True, seed=7))


def test_the_chain_adds_up_by_hand_from_the_text_to_the_issue(network: Simulation, tmp_path: Path) -> None:
    """Text to X Y Z, plus the shift, through the closed forms to the issued row and its columns."""
    path = make(network, tmp_path)
    reading = traced(path)
    raw = raw_xyz(tmp_path, POINT)
    assert_allclose(reading.raw_xyz, raw, **CLOSE)
    assert reading.shift is not None
    corrected = raw + np.array(reading.shift.xyz)
    (step,) = reading.steps
    assert step.frame == "X Y Z"
    assert_allclose(np.array(step.before) + step.added, step.after, rtol=0, atol=1e-9)
    assert_allclose(step.after, corrected, **CLOSE)
    row = current_issue(tmp_path / "out").points.one(name=POINT)
    expected = issued_by_hand(corrected)
    assert_allclose(reading.issued, expected, **CLOSE)
    assert_allclose([row[name] for name in ("easting", "northing", "height")], expected, **CLOSE)
    assert reading.geographic is not None and reading.separation is not None
    assert_allclose(reading.geographic, np.ravel(to_geographic(corrected[None], ELLIPSOID)), **CLOSE)
    assert_allclose(reading.geographic[2] - reading.separation, row["height"], **CLOSE)
    assert (reading.session, reading.proof, reading.outcome) == (row["session"], row["proof"], "point")
    assert (reading.file, reading.row) == (row["source_file"], row["source_row"])
    assert reading.difference is not None and max(map(abs, reading.difference)) < 1e-5


def test_each_ties_own_shift_and_residual_give_the_sessions_shift(network: Simulation, tmp_path: Path) -> None:
    """Mark less raw, plus the residual turned by the closed form, is the shift: for every tie, temporary marks too."""
    path = make(network, tmp_path)
    for name, use in (("S01-00003", 3), ("S02-00003", 3), ("S03-00003", 1)):
        shift = traced(path, name).shift
        assert shift is not None and len(shift.ties) == use
        for tie in every(shift.ties):
            assert tie.point is not None and tie.mark_xyz is not None
            longitude, latitude, _ = network.truth.geographic(tie.point)
            raw = raw_xyz(tmp_path, tie.point)
            assert_allclose(tie.raw_xyz, raw, **CLOSE)
            assert_allclose(tie.own_shift, np.array(tie.mark_xyz) - raw, **CLOSE)
            turned = turn_enu(longitude, latitude, np.array(tie.residual))
            assert_allclose(tie.own_shift + turned, shift.xyz, **CLOSE)
            if tie.mark == "TM1":
                assert tie.register == (None, None, None) == tie.correction
                assert set(tie.sessions) == {"session-01", "session-02", "session-03"} - {f"session-{name[1:3]}"}
            else:
                assert_allclose(tie.register, network.marks.of(tie.mark), rtol=0, atol=2e-5)
                known = to_geocentric(*(np.array([v]) for v in network.marks.geographic(tie.mark)), ELLIPSOID)[0]
                moved = turn_enu(longitude, latitude, np.array(tie.correction, float))
                assert_allclose(tie.mark_xyz, known + moved, rtol=0, atol=2e-5)


def test_the_uncertainty_is_the_root_of_its_parts(network: Simulation, tmp_path: Path) -> None:
    path = make(network, tmp_path)
    parts = traced(path).uncertainty
    assert parts is not None
    sigmas = [network.rows[name][network.truth.row(POINT)] for name in ("sigma_east", "sigma_north", "sigma_up")]
    assert_allclose(parts.observed, sigmas, rtol=0, atol=1e-9)
    assert parts.by_default == (False, False, False) and parts.distance is None
    assert_allclose(parts.together, np.hypot(parts.observed, parts.shift), rtol=0, atol=1e-9)
    assert_allclose(parts.vu95, 1.959964 * parts.together[2], rtol=0, atol=1e-7)
    assert_allclose(parts.hu95, circle(*parts.semi_axes), rtol=2e-7, atol=0)
    row = current_issue(tmp_path / "out").points.one(name=POINT)
    assert_allclose([row["hu95"], row["vu95"]], [parts.hu95, parts.vu95], rtol=0, atol=1e-9)


def test_the_occupations_before_and_after_stand_with_the_proof(network: Simulation, tmp_path: Path) -> None:
    path = make(network, tmp_path)
    reading = traced(path)
    assert reading.proof == "bracketed"
    assert reading.before is not None and reading.after is not None and reading.observed is not None
    assert (reading.before.point, reading.after.point) == ("S02-C1", "S02-C2")
    assert reading.before.observed < reading.observed < reading.after.observed
    assert reading.before.passed and reading.after.passed


def test_a_field_shift_is_a_sum_of_its_own(tmp_path: Path) -> None:
    """Geocentric: raw less the stated correction, turned at the first tie's mark, plus the shift."""
    job = simulate(Plan(sessions=1, points=30, noise=False))
    start = job.job["session"][0]["start"] + dt.timedelta(hours=3)
    job.correct_in_field(0, start, 0.30, -0.20, 1.10)
    job.job["session"][0]["field_shift"] = {"from": start, "east": 0.30, "north": -0.20, "up": 1.10}
    path = make(job, tmp_path)
    early, late = traced(path, "S01-00001"), traced(path, "S01-00030")
    assert len(early.steps) == 1
    first, second = late.steps
    assert first.name == "field shift taken out"
    longitude, latitude, _ = job.marks.geographic("CM1")
    assert_allclose(first.added, -turn_enu(longitude, latitude, np.array([0.30, -0.20, 1.10])), **CLOSE)
    assert_allclose(first.before, raw_xyz(tmp_path, "S01-00030"), **CLOSE)
    assert_allclose(second.before, first.after, rtol=0, atol=1e-9)
    assert_allclose(issued_by_hand(np.array(second.after)), late.issued, **CLOSE)
    assert_allclose(late.issued, job.truth.of("S01-00030"), rtol=0, atol=1e-3)


def test_in_the_grid_model_the_sums_are_in_the_grid(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=20, noise=False))
    start = job.job["session"][0]["start"] + dt.timedelta(hours=3)
    job.job["shift"] = {"model": "grid"}
    field = {"from": start, "east": 0.1, "north": 0.2, "up": 0.3, "model": "grid"}
    job.job["session"][0]["field_shift"] = field
    path = make(job, tmp_path)
    first, second = traced(path, "S01-00020").steps
    assert (first.frame, second.frame) == ("easting northing height",) * 2
    assert_allclose(first.before, issued_by_hand(raw_xyz(tmp_path, "S01-00020")), **CLOSE)
    assert_allclose(first.added, [-0.1, -0.2, -0.3], rtol=0, atol=1e-12)
    assert_allclose(second.before, first.after, **CLOSE)
    assert_allclose(traced(path, "S01-00020").issued, np.array(second.before) + second.added, rtol=0, atol=1e-9)


def test_a_stated_shift_and_a_set_up_are_told(tmp_path: Path) -> None:
    """One session's shift is stated in the job file, the other's base stands over a mark."""
    job = simulate(Plan(sessions=2, points=20, noise=False, marks=4))
    stated, over = job.job["session"]
    east, north, up = job.shift_enu(0)
    stated["shift"] = {"east": east, "north": north, "up": up, "sigma_horizontal": 0.01, "sigma_vertical": 0.02}
    stated["ties"] = []
    base = job.bases.row("BASE-02")
    # the base's own place becomes a mark of the register, with an antenna 1.612 m above it
    place = [float(values[base]) for values in (job.broadcast.longitude, job.broadcast.latitude)]
    over["setup"] = {
        "mark": "BM", "longitude": place[0], "latitude": place[1],
        "ellipsoid_height": float(job.broadcast.ellipsoid_height[base]) + 1.612, "antenna_height": 1.612,
    }  # fmt: skip
    over["ties"] = []
    truth = {"mark": "BM", "easting": job.bases.easting[base], "northing": job.bases.northing[base],
             "height": job.bases.height[base], "hu95": 0.01, "vu95": 0.02}  # fmt: skip
    for name, values in job.register.items():
        job.register[name] = np.append(values, np.array([truth[name]], values.dtype))
    path = make(job, tmp_path)
    one, two = traced(path, "S01-00005"), traced(path, "S02-00005")
    assert one.shift is not None and two.shift is not None
    (tie,) = one.shift.ties
    assert tie.use == "stated" and tie.mark is None
    assert_allclose(tie.own_shift, one.shift.xyz, rtol=0, atol=1e-6)
    (tie,) = two.shift.ties
    assert (tie.use, tie.mark, tie.point) == ("set-up", "BM", None)
    assert_allclose(tie.own_shift, job.shifts[1], rtol=0, atol=2e-3)
    assert two.uncertainty is not None and two.uncertainty.distance is not None
    parts = np.hypot([job.rows[f"sigma_{axis}"][job.truth.row("S02-00005")] for axis in ("east", "north", "up")],
                     two.uncertainty.distance * 1e-6)  # fmt: skip
    assert_allclose(two.uncertainty.observed, parts, rtol=0, atol=1e-9)
    for name in ("S01-00005", "S02-00005"):
        assert run(app, ["trace", str(path), name]).exit_code == 0


def test_every_reading_of_a_name_is_followed_held_back_or_not(tmp_path: Path) -> None:
    """A point, the same again, a float one, without position, without time, outside the sessions, unreadable."""
    job = simulate(Plan(sessions=1, points=20, noise=False))
    path = job.write(tmp_path)
    (given,) = [row for row in csv_rows(tmp_path / "rover001.csv") if row["Point"] == "S01-00004"]
    changes: list[dict[str, Any]] = [
        {},
        {"Sol": "float", "EllHt": "300.0"},
        {"Lat": ""},
        {"Observed": ""},
        {"Observed": "2026-07-01T00:00:00Z"},
        {"Lat": "north"},
    ]
    append_rows(tmp_path / "rover001.csv", [{**given, **changed} for changed in changes])
    run_job(path)
    found = trace(path, "S01-00004")
    assert found.agreement.differences == () and found.gone == ()
    outcomes = [(reading.outcome, reading.reason) for reading in found.readings]
    assert outcomes == [
        ("point", None),
        ("held back", "duplicate"),
        ("held back", "not_fixed"),
        ("held back", "no_position"),
        ("held back", "no_time"),
        ("held back", "outside_sessions"),
        ("held back", "unreadable"),
    ]
    assert all(len(reading.found) == 1 for reading in every(found.readings))
    assert all(reading.detail for reading in every(found.readings[1:]))
    assert "2026-07-01 00:00:00 UTC" in found.readings[5].session_why
    said = run(app, ["trace", str(path), "S01-00004"])
    assert said.exit_code == 0 and "7 readings" in said.output and "HELD BACK as not_fixed" in said.output
    assert json.loads(run(app, ["trace", str(path), "S01-00004", "--json"]).output)["readings"][0]["outcome"] == "point"


def test_an_occupation_of_a_mark_is_found_among_the_check_marks(network: Simulation, tmp_path: Path) -> None:
    path = make(network, tmp_path)
    reading = traced(path, "S02-C1")
    assert reading.outcome == "on mark"
    assert [(row.layer, row.word) for row in reading.found] == [("check_marks", "check")]


def test_the_point_is_shown_in_every_issue_with_what_moved(tmp_path: Path) -> None:
    """A height of the only tie revised by 6 mm: the point rises by 6 mm in the second issue, and it is said why."""
    job = simulate(Plan(sessions=2, points=30, noise=False))
    path = make(job, tmp_path)
    job.mistype("CM2", "height", 0.006)
    assert run_job(job.write(tmp_path)).issued
    first, second = traced(path).found
    assert (first.issue, second.issue) == (1, 2)
    assert first.moved is None and second.moved is not None
    assert_allclose(second.moved, [0, 0, 0.006], rtol=0, atol=2e-5)
    assert any("CM2" in reason for reason in second.because) and first.because == ()
    untouched = traced(path, "S01-00017").found[1]
    assert untouched.moved == (0.0, 0.0, 0.0) and untouched.because == ()
    said = run(app, ["trace", str(path), POINT]).output
    assert "001 points (bracketed)" in said and "002 points (bracketed)" in said and "moved" in said
    assert "Recomputed from raw: agrees with issue 002 to 0.00001 m." in said


def test_inputs_changed_since_the_issue_are_named_and_no_fault(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=30, noise=False))
    path = make(job, tmp_path)
    job.mistype("CM2", "height", 0.006)
    job.write(tmp_path)
    found = trace(path, POINT)
    assert found.agreement.changed and "register" in found.agreement.changed[0]
    assert len(found.agreement.differences) == 1 and "height -0.0060" in found.agreement.differences[0]
    assert not found.agreement.is_fault
    assert run(app, ["trace", str(path), POINT]).exit_code == 0


@pytest.mark.parametrize(
    "sql",
    [
        "UPDATE points SET easting = easting + 0.00002 WHERE name = ?",
        "UPDATE points SET proof = 'unclosed' WHERE name = ?",
        "UPDATE points SET name = 'other' WHERE name = ?",
        "UPDATE points SET height = NULL WHERE name = ?",
    ],
)
def test_an_issue_that_says_otherwise_without_cause_is_a_fault(tmp_path: Path, sql: str) -> None:
    """A fiftieth of a millimetre is enough."""
    path = make(simulate(Plan(sessions=2, points=30, noise=False)), tmp_path)
    change(current_issue(tmp_path / "out").package, sql, (POINT,))
    assert trace(path, POINT).agreement.is_fault
    said = run(app, ["trace", str(path), POINT])
    assert said.exit_code == 1 and "tiedown verify" in said.output


def test_before_the_first_issue_the_chain_is_worked_out_all_the_same(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=30, noise=False))
    path = job.write(tmp_path)
    before = everything_below(tmp_path)
    found = trace(path, POINT)
    assert everything_below(tmp_path) == before
    assert found.agreement.issue == 0 and not found.agreement.is_fault
    assert only(found.readings).found == ()
    assert_allclose(only(found.readings).issued, job.truth.of(POINT), rtol=0, atol=1e-3)


def test_a_point_that_is_in_an_issue_only_is_shown_there(tmp_path: Path) -> None:
    """Taken out of the export: no reading is left, the issues still have it, and the export is said to have changed."""
    job = simulate(Plan(sessions=2, points=30, noise=False))
    path = make(job, tmp_path)
    rewrite_export(tmp_path / "rover001.csv", lambda row: row | {"Point": row["Point"].replace(POINT, "renamed")})
    found = trace(path, POINT)
    assert found.readings == () and [row.issue for row in found.gone] == [1]
    assert any("rover001.csv" in what for what in found.agreement.changed) and not found.agreement.is_fault


def test_an_unknown_name_is_told_with_the_nearest(tmp_path: Path) -> None:
    path = make(simulate(Plan(sessions=2, points=30, noise=False)), tmp_path)
    with pytest.raises(JobError, match="S02-00017"):
        trace(path, "s02-0017")
    said = run(app, ["trace", str(path), "s02-0017"])
    assert said.exit_code == 2 and "no point" in said.output.replace("has a point", "no point")


def test_tracing_writes_nothing(network: Simulation, tmp_path: Path) -> None:
    path = make(network, tmp_path)
    before = everything_below(tmp_path)
    assert run(app, ["trace", str(path), POINT]).exit_code == 0
    assert everything_below(tmp_path) == before
