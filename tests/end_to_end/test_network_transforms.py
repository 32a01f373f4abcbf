"""Sessions whose shift is stated, and raw frames that need a true datum operation, each point at its own time.

ITRF2014 to GDA2020 is written by hand: a coordinate frame rotation by 1.50379, 1.18346 and 1.20716 mas a year about X,
Y and Z since 2020.0 (GDA2020 technical manual, 3.3.1).
"""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from closed_forms import GRS80, move, to_geocentric, turn_enu
from every import every
from issued import off_truth
from moving_datum import MGA55, SOME, TENTH_MM, on, to_gda2020, to_itrf
from network_jobs import OCCUPATION, POINT, Network
from numpy.testing import assert_allclose
from running import published_record, record_of, replace_in, run_written
from simulate import CANTERBURY
from simulate_files import EXPORTED, write_csv

from pipeline import run_job
from pipeline.problems import JobError

INTERVAL, CIRCLE = 1.959963984540054, np.sqrt(-2 * np.log(0.05))


def test_the_rotation_by_hand_is_the_published_one() -> None:
    """ALIC at 2018.0, GDA2020 technical manual 3.3.1 (as carried by PROJ's and GeodePy's tests)."""
    given = np.array([-4_052_052.6588, 4_212_835.9938, -2_545_104.6946])
    published = [-4_052_052.7373, 4_212_835.9835, -2_545_104.5867]
    assert_allclose(to_gda2020(given, np.array(2018.0)), published, rtol=0, atol=TENTH_MM)


def at_place(work: Network, session: int) -> list[float]:
    """The session's shift as east, north, up at the place of the job."""
    east = turn_enu(work.plan.place.longitude, work.plan.place.latitude, np.eye(3))
    return [float(value) for value in east @ work.shifts[session]]


def given(values: Sequence[float], horizontal: float, vertical: float) -> dict[str, float]:
    axes = dict(zip(("east", "north", "up"), values, strict=True))
    return axes | {"sigma_horizontal": horizontal, "sigma_vertical": vertical}


def test_network_corrections_in_a_moving_datum(tmp_path: Path) -> None:
    """Three days over eight years: 0.46 m between the first and the last if the points' own times were left out."""
    work = Network(MGA55)
    work.mark("CM1", 0, 0)
    for year in (2018, 2022, 2026):
        work.session(f"y{year}", checks=["CM1"], points=SOME, start=on(year, 5), shift=(0, 0, 0), stated="none")
    to_itrf(work)
    issue = run_written(work.write(tmp_path))
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)
    (step,) = [one for one in issue.record["operations"] if one["step"] == "field datum to computation"]
    assert step["accuracy"] == 0.03  # as EPSG states it


def test_ties_and_set_ups_in_a_moving_datum(tmp_path: Path) -> None:
    """A peg coordinated in 2021 carries a base in 2026: set-up, ties and points each at their own time."""
    work = Network(MGA55)
    work.mark("CM1", 0, 0)
    work.mark("TM1", 500, -300, known=False)
    work.session("then", ties=["CM1", "TM1"], points=SOME, start=on(2021, 3))
    work.session("now", over="TM1", antenna=1.712, points=SOME, checks=["CM1"], start=on(2026, 9))
    to_itrf(work)
    issue = run_written(work.write(tmp_path))
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)
    assert issue.check_marks.one(session="now")["d_horizontal"] < TENTH_MM


def test_a_stated_shift_in_a_moving_datum(tmp_path: Path) -> None:
    work = Network(MGA55)
    work.session("s", points=[(0, 0), *SOME], start=on(2026, 5), shift=(1.4, -2.2, 5.5))
    work.mark("CM1", 900, 0)
    work.job["session"][0]["shift"] = given(at_place(work, 0), 0.01, 0.02)
    to_itrf(work)
    issue = run_written(work.write(tmp_path))
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)


def test_the_uncertainty_of_a_stated_shift_is_in_every_point(tmp_path: Path) -> None:
    work = Network()
    work.mark("CM1", 0, 0)
    for name, horizontal, vertical in (("sure", 0.0, 0.0), ("good", 0.012, 0.031), ("poor", 0.2, 0.5)):
        number = work.session(name, points=[(0, 0), *SOME])
        work.job["session"][number]["shift"] = given(at_place(work, number), horizontal, vertical)
    issue = run_written(work.write(tmp_path))
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)
    for name, horizontal, vertical in (("sure", 0.0, 0.0), ("good", 0.012, 0.031), ("poor", 0.2, 0.5)):
        for row in every(issue.points.where(session=name), 1 + len(SOME)):
            # up at the place and at a point 19 km off differ by 0.003 rad, hence a little of one in the other
            assert row["hu95"] == pytest.approx(CIRCLE * np.hypot(POINT[0], horizontal), rel=1e-4)
            assert row["vu95"] == pytest.approx(INTERVAL * np.hypot(POINT[1], vertical), rel=1e-4)
        sigma = [issue.sessions.one(session=name)[f"sigma_{axis}"] for axis in ("east", "north", "up")]
        assert_allclose(sigma, [horizontal, horizontal, vertical], rtol=1e-6, atol=2e-4)


@pytest.mark.parametrize("shift", ["none", {"east": 1.0, "north": -2.0, "up": 3.0}], ids=["none", "given"])
def test_a_stated_shift_without_any_reading_is_no_untied_session(shift: Any, tmp_path: Path) -> None:
    work = Network()
    work.mark("CM1", 0, 0)
    work.session("full", ties=["CM1"], points=SOME, closing=["CM1"])
    work.session("empty", stated=shift)
    issue = run_written(work.write(tmp_path))
    assert issue.record["untied"] == [] and issue.record["verdict"] == "unchecked"
    east = [issue.sessions.one(session="empty")[f"shift_{axis}"] for axis in ("east", "north", "up")]
    assert_allclose(east, [0, 0, 0] if shift == "none" else [1, -2, 3], rtol=0, atol=1e-9)


def test_no_shift_is_as_uncertain_as_one_observation(tmp_path: Path) -> None:
    """shift = "none": the job's sigma_horizontal and sigma_vertical."""
    work = Network()
    work.job["quality"] |= {"sigma_horizontal": 0.021, "sigma_vertical": 0.034}
    work.mark("CM1", 0, 0)
    work.session("net", points=SOME, shift=(0, 0, 0), stated="none")
    issue = run_written(work.write(tmp_path))
    for row in every(issue.points.rows, len(SOME)):
        assert row["hu95"] == pytest.approx(CIRCLE * np.hypot(POINT[0], 0.021), rel=1e-4)
        assert row["vu95"] == pytest.approx(INTERVAL * np.hypot(POINT[1], 0.034), rel=1e-4)


def test_a_stated_shift_and_a_tie_are_weighed(tmp_path: Path) -> None:
    """A shift stated 60 mm too high with 30 mm, and a tie that says otherwise: the mean by their weights."""
    work = Network()
    work.mark("CM1", 0, 0)
    work.session("s", ties=["CM1"], points=[(50, 50)])
    east, north, up = at_place(work, 0)
    work.job["session"][0]["shift"] = given((east, north, up + 0.060), 0.02, 0.03)
    work.job["checks"] = {"vertical": 0.1}
    issue = run_written(work.write(tmp_path))
    tie, shift = OCCUPATION[1] ** 2 + (0.020 / INTERVAL) ** 2, 0.03**2
    ((_, _, off),) = off_truth(issue.points.rows, work.truth)
    assert off == pytest.approx(0.060 * tie / (tie + shift), rel=0, abs=TENTH_MM)
    expected = INTERVAL * np.sqrt(POINT[1] ** 2 + tie * shift / (tie + shift))
    assert issue.points.rows[0]["vu95"] == pytest.approx(expected, rel=1e-4)


def wgs84(limit: float | None = None) -> Network:
    """WGS 84 exports on the NZGD2000 grid: EPSG's null transformation 1565, good to 1 m."""
    work = Network()
    work.job["source"]["crs"] = "EPSG:4979"
    if limit is not None:
        work.job["target"]["max_transform_error"] = limit
    work.mark("CM1", 0, 0)
    work.mark("T", 200, 100, known=False)
    return work


def refused(path: Path) -> str:
    with pytest.raises(JobError) as caught:
        run_job(path)
    (problem,) = caught.value.problems
    assert not (path.parent / "out").exists()
    assert path.read_text().splitlines()[problem.line - 1].startswith(("[[points]]", "crs"))
    return f"{problem.what}; {problem.fix}"


def test_a_poor_transformation_is_refused_where_no_control_absorbs_it(tmp_path: Path) -> None:
    work = wgs84(0.5)
    work.session("tied", ties=["CM1"], points=SOME)
    work.session("net", points=SOME, shift=(0, 0, 0), stated="none")
    said = refused(work.write(tmp_path))
    assert "net" in said and "tied" not in said.replace("ties", "") and "0.5" in said and "1 m" in said


def test_a_poor_transformation_is_accepted_where_control_absorbs_it(tmp_path: Path) -> None:
    work = wgs84(0.5)
    work.session("one", ties=["CM1", "T"], points=SOME)
    work.session("two", over="T", antenna=1.2, points=SOME)
    issue = run_written(work.write(tmp_path))
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)


def test_a_poor_transformation_is_accepted_within_the_limit(tmp_path: Path) -> None:
    work = wgs84(2.0)
    work.session("net", points=SOME, shift=(0, 0, 0), stated="none")
    assert len(run_written(work.write(tmp_path)).points.rows) == 3


def test_a_poor_transformation_without_a_limit_is_told(tmp_path: Path) -> None:
    """hu95 of 27 mm over an operation of a metre: a doubt, until the job says that it is right."""
    work = wgs84()
    work.session("net", points=SOME, shift=(0, 0, 0), stated="none")
    path = work.write(tmp_path)
    (doubt,) = record_of(path, 3)["doubts"]
    assert doubt["kind"] == "transformation" and "accuracy 1 m" in doubt["what"] and doubt["sessions"] == ["net"]
    with path.open("a") as file:
        file.write('\n[checks]\nconfirmed = ["transformation"]\n')
    (doubt,) = record_of(path)["doubts"]
    assert doubt["confirmed"]


def test_a_poor_transformation_that_checks_prove_is_no_doubt(tmp_path: Path) -> None:
    """The mark is published in the grid's datum: were the step off, its check would be."""
    work = wgs84()
    work.session("net", points=SOME, checks=["CM1"], closing=["CM1"], shift=(0, 0, 0), stated="none")
    record = published_record(work.write(tmp_path))
    assert record["doubts"] == [] and record["verdict"] == "proven"


def test_what_hangs_on_a_stated_shift_is_refused_with_it(tmp_path: Path) -> None:
    work = wgs84(0.5)
    work.session("net", ties=["T"], points=SOME, shift=(0, 0, 0), stated="none")
    work.session("base", over="T", antenna=1.2, points=SOME)
    said = refused(work.write(tmp_path))
    assert "net" in said and "base" in said


def test_a_stated_shift_on_a_mark_of_control_is_accepted(tmp_path: Path) -> None:
    """The tie takes the transformation's error up, as well as the stated shift's uncertainty lets it."""
    work = wgs84(0.5)
    work.session("net", ties=["CM1"], points=SOME, shift=(0, 0, 0), stated="none")
    assert len(run_written(work.write(tmp_path)).points.rows) == 3


def two_blocks(folder: Path, poor: str) -> Path:
    """Session "tied" and session "net" in an export each; the one of ``poor`` says that it is in WGS 84."""
    work = wgs84(0.5)
    work.session("tied", ties=["CM1"], points=SOME)
    work.session("net", points=SOME, shift=(0, 0, 0), stated="none")
    path = work.write(folder)
    rows = work.rows
    for number, name in enumerate(("tied", "net")):
        some = {column: rows[column][rows["session"] == number] for column in EXPORTED}
        write_csv(some, folder / f"{name}.csv")
    (folder / "rover001.csv").unlink()
    before, block = path.read_text().split("[[points]]")  # the last table of the file
    for name in ("tied", "net"):
        crs = "EPSG:4979" if name == poor else "EPSG:4959"
        before += f'[[points]]\ncrs = "{crs}"' + block.replace("rover*.csv", f"{name}.csv")
    path.write_text(before)
    return path


def test_only_the_exports_of_sessions_without_control_count(tmp_path: Path) -> None:
    """The poor transformation brings the tied session's export alone; network corrections need none."""
    issue = run_written(two_blocks(tmp_path, "tied"))
    assert len(issue.points.rows) == 6


def test_the_export_of_the_session_without_control_counts(tmp_path: Path) -> None:
    with pytest.raises(JobError) as caught:
        run_job(two_blocks(tmp_path, "net"))
    (problem,) = caught.value.problems
    assert "net" in problem.what


@pytest.mark.parametrize(("limit", "said"), [(0.5, True), (2.0, False)], ids=["beyond", "within"])
@pytest.mark.parametrize("mark", ["CM1", "T"])
def test_a_base_that_comes_by_another_operation_than_its_rover_is_refused(
    mark: str, limit: float, said: bool, tmp_path: Path
) -> None:
    """Exports in NZGD2000, but source.crs, in which set-ups are given, is WGS 84: off by its metre, control or not."""
    work = Network(CANTERBURY)
    work.mark("CM1", 0, 0)
    work.mark("T", 200, 100, known=False)
    work.session("first", ties=["CM1", "T"][: 1 + (mark == "T")], points=SOME)
    work.session("base", over=mark, antenna=1.2, points=SOME)
    work.job["target"]["max_transform_error"] = limit
    work.job["source"]["crs"] = "EPSG:4979"
    path = work.write(tmp_path)
    replace_in(path, {"[[points]]": '[[points]]\ncrs = "EPSG:4959"'})
    if not said:
        assert len(run_written(path).points.rows) == 6
        return
    with pytest.raises(JobError) as caught:
        run_job(path)
    (problem,) = caught.value.problems
    assert "base" in problem.what and "first" not in problem.what and "source.crs" in problem.fix
    assert path.read_text().splitlines()[problem.line - 1].startswith("crs")


def test_the_position_of_a_moved_point_is_that_of_its_time(tmp_path: Path) -> None:
    """One session over a year: its points drift along, 58 mm in the year, and come out where they are."""
    work = Network(MGA55)
    work.mark("CM1", 0, 0)
    work.session("year", points=[(10 * k, 0) for k in range(13)], start=on(2025, 1), shift=(0, 0, 0), stated="none")
    work.job["session"][0]["end"] = on(2026, 2)
    work.rows["time"] = work.rows["time"] + np.arange(13) * np.timedelta64(30, "D")
    to_itrf(work)
    plain = move(work.truth.longitude, work.truth.latitude, work.truth.ellipsoid_height, np.zeros(3), GRS80)
    moved = to_geocentric(*(work.rows[name] for name in ("longitude", "latitude", "height")), GRS80)
    drift = np.linalg.norm(moved - to_geocentric(*plain, GRS80), axis=1)
    assert 0.055 < drift[-1] - drift[0] < 0.06
    issue = run_written(work.write(tmp_path))
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)
