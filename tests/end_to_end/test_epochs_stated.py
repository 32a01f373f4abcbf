"""Epochs of coordinates that move with time: of a base's position, of a register, of a grid.

The plate's motion is the rotation by hand of `moving_datum`: GDA2020 technical manual, 3.3.1.
"""

import datetime as dt
import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from closed_forms import GRS80, to_geocentric, to_geographic
from issued import off_truth
from moving_datum import MGA55, SOME, TENTH_MM, on, to_gda2020, to_itrf, years
from network_jobs import Network
from numpy.testing import assert_allclose
from running import record_of, replace_in, run_written

from pipeline import run_job
from pipeline.check import check_job
from pipeline.problems import JobError

HELD = 2026.0


def at_one_epoch(work: Network) -> None:
    """Let the export say ITRF2014 at `HELD`, whenever it was observed: its base held one position."""
    names = ("longitude", "latitude", "height")
    xyz = to_geocentric(*(work.rows[name] for name in names), GRS80)
    there = to_geographic(to_gda2020(xyz, np.full(len(xyz), HELD), back=True), GRS80)
    for name, values in zip(names, there, strict=True):
        work.rows[name] = values


def months(days: int, **more: Any) -> Network:
    """One session of so many days: a tie at its start, thirteen points spread over it."""
    work = Network(MGA55)
    work.mark("CM1", 0, 0)
    work.session("long", ties=["CM1"], points=[(50 * k, 10 * k) for k in range(13)], start=on(2026, 1), **more)
    session = work.job["session"][0]
    session["end"] = session["start"] + dt.timedelta(days=days + 1)
    kinds = np.arange(len(work.rows["name"]))
    work.rows["time"] = work.rows["time"] + (kinds * days * 24 // kinds.max()) * np.timedelta64(1, "h")
    return work


@pytest.mark.parametrize("place", ["session", "source", "points"])
@pytest.mark.parametrize("days", [60, 365])
def test_points_move_from_the_epoch_of_the_base(place: str, days: int, tmp_path: Path) -> None:
    work = months(days, **({"epoch": HELD} if place == "session" else {}))
    if place == "source":
        work.job["source"]["epoch"] = HELD
    at_one_epoch(work)
    path = work.write(tmp_path)
    if place == "points":
        replace_in(path, {"[[points]]": f"[[points]]\nepoch = {HELD}"})
    issue = run_written(path)
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)
    assert issue.record["doubts"] == []


@pytest.mark.parametrize(("days", "told", "doubted"), [(2, False, False), (60, True, False), (365, False, True)])
def test_an_epoch_that_is_lacking_is_told(days: int, told: bool, doubted: bool, tmp_path: Path) -> None:
    """9 mm in 60 days, 57 mm in a year, as the rotation gives; nothing in two days."""
    work = months(days)
    at_one_epoch(work)
    path = work.write(tmp_path)
    said = " ".join(check_job(path).warnings)
    assert ("state the epoch of the base position" in said) == (told or doubted)
    record = run_job(path, dry_run=True).record
    assert [doubt["kind"] for doubt in record["doubts"]] == (["epoch"] if doubted else [])
    if told:
        moved = work.rows["time"].max() - work.rows["time"].min()
        speed = np.linalg.norm(np.diff(to_gda2020(at_place(), np.array([2026.0, 2027.0])), axis=0))
        assert f"moves by {speed * (moved / np.timedelta64(1, 'D')) / 365 * 1000:.0f} mm" in said


def test_another_epoch_moves_the_points_of_a_session_without_a_shift(tmp_path: Path) -> None:
    """First the wrong epoch, then the right one: the shift stays zero, and every point moves all the same."""
    work = Network(MGA55)
    work.session("net", points=SOME, start=on(2026, 5), shift=(0, 0, 0), stated="none", epoch=2020.5)
    work.mark("CM1", 0, 0)
    work.session("checked", ties=["CM1"], points=SOME, start=on(2026, 6), epoch=HELD)
    at_one_epoch(work)
    path = work.write(tmp_path)
    assert np.abs(off_truth(run_written(path).points.where(session="net"), work.truth)).max() > 0.2
    replace_in(path, {"epoch = 2020.5": f"epoch = {HELD}"})
    issue = run_written(path)
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)
    assert issue.record["changes"]["moved"] == 3


def at_place() -> np.ndarray:
    one = to_geocentric(np.full(2, MGA55.longitude), np.full(2, MGA55.latitude), np.zeros(2), GRS80)
    return np.asarray(one)


def refused(path: Path) -> str:
    with pytest.raises(JobError) as caught:
        run_job(path)
    assert not (path.parent / "out").exists()
    return "; ".join(f"{problem.line}: {problem.what} {problem.fix}" for problem in caught.value.problems)


@pytest.mark.parametrize("where", ["session", "source"])
def test_an_epoch_that_changes_nothing_is_refused(where: str, tmp_path: Path) -> None:
    """Exports in the grid's own datum, which does not move."""
    work = Network()
    work.mark("CM1", 0, 0)
    work.session("s", ties=["CM1"], points=SOME, **({"epoch": 2020.0} if where == "session" else {}))
    if where == "source":
        work.job["source"]["epoch"] = 2020.0
    assert "changes nothing" in refused(work.write(tmp_path))


def test_two_epochs_of_one_base_are_refused(tmp_path: Path) -> None:
    work = Network(MGA55)
    work.mark("CM1", 0, 0)
    work.session("s", over="CM1", points=SOME, start=on(2026, 3), epoch=2020.0)
    to_itrf(work)
    work.job["session"][0]["setup"] = work.job["session"][0].get("setup", work.setup(0)) | {"epoch": 2021.0}
    assert "two epochs" in refused(work.write(tmp_path))


def test_a_target_epoch_on_a_grid_at_rest_is_told(tmp_path: Path) -> None:
    work = Network()
    work.job["target"]["epoch"] = 2026.2
    work.mark("CM1", 0, 0)
    work.session("s", ties=["CM1"], points=SOME)
    assert any("target.epoch changes nothing" in note for note in record_of(work.write(tmp_path))["notes"])


def itrf_register(work: Network, epoch: float) -> None:
    """Give the register in ITRF2014 at an epoch, as longitude, latitude and ellipsoidal height."""
    xyz = np.array([work.xyz(name) for name in work.register["mark"]])
    xyz = to_gda2020(xyz, np.full(len(xyz), epoch), back=True)
    values = to_geographic(xyz, GRS80)
    rest = {name: work.register[name] for name in ("hu95", "vu95", "holds")}
    named = dict(zip(("longitude", "latitude", "ellipsoid_height"), values, strict=True))
    work.register = {"mark": work.register["mark"], **named, **rest}
    work.job["control"] |= {"crs": "EPSG:7912", "height": "ellipsoid"}


@pytest.mark.parametrize("epoch", [2010.0, 2024.5])
def test_a_register_in_a_moving_frame(epoch: float, tmp_path: Path) -> None:
    work = Network(MGA55)
    work.mark("CM1", 0, 0)
    work.mark("CM2", 2000, 900)
    work.session("s", ties=["CM1"], checks=["CM2"], points=SOME, closing=["CM2"], start=on(2026, 5))
    to_itrf(work)
    itrf_register(work, epoch)
    path = work.write(tmp_path)
    assert "control.epoch" in refused(path)
    replace_in(path, {"[control]": f"[control]\nepoch = {epoch}"})
    issue = run_written(path)
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)
    assert issue.record["verdict"] == "proven"


MOVING_GRID = "+proj=utm +zone=55 +south +ellps=GRS80 +units=m +no_defs on EPSG:7912"


def on_moving_grid(dated: str, **control: float) -> Network:
    """A job in ITRF2014 at 2026.2, exports in GDA2020; the register has dates, and an epoch only where one is given."""
    work = Network(MGA55)
    work.mark("CM1", 0, 0)
    work.mark("CM2", 2000, 900)
    work.session("s", ties=["CM1"], checks=["CM2"], points=SOME, closing=["CM2"], start=on(2026, 3))
    itrf_register(work, 2026.2)
    work.register["dated"] = np.array([dated] * 2, object)
    work.job["target"] |= {"grid": MOVING_GRID, "height": "ellipsoid", "epoch": 2026.2}
    work.job["source"]["crs"] = "EPSG:7843"
    work.job["control"] |= control
    return work


@pytest.mark.parametrize(
    ("dated", "doubted"),
    [("2020-01-01", True), ("2024", True), ("2026-02-10", False), ("2025", False), ("2030-01-01", False), ("", False)],
)
def test_marks_that_are_older_than_the_grid_s_epoch(dated: str, doubted: bool, tmp_path: Path) -> None:
    """The note is there in any case, with the plate's speed; years before the epoch it is a doubt, never later ones."""
    record = run_job(on_moving_grid(dated).write(tmp_path), dry_run=True).record
    assert [doubt["kind"] for doubt in record["doubts"]] == (["epoch"] if doubted else [])
    assert record["verdict"] == ("unchecked" if doubted else "proven")
    (said,) = [note for note in record["notes"] if "no control.epoch is stated" in note]
    speed = np.linalg.norm(np.diff(to_gda2020(at_place(), np.array([2026.0, 2027.0])), axis=0)) * 1000
    assert f"by {speed:.0f} mm a year" in said
    if dated == "2020-01-01":
        millimetres = int(re.findall(r"moves by (\d+) mm in that time", record["doubts"][0]["what"])[0])
        assert millimetres == pytest.approx(6.2 * speed, abs=1.0)


def test_marks_with_an_epoch_are_at_that_whatever_their_dates(tmp_path: Path) -> None:
    record = run_job(on_moving_grid("2020-01-01", epoch=2026.2).write(tmp_path), dry_run=True).record
    assert record["doubts"] == [] and record["verdict"] == "proven"
    assert not [note for note in record["notes"] if "control.epoch" in note]


def test_years_are_decimal() -> None:
    assert years(np.datetime64("2026-07-02T12:00", "ms")) == pytest.approx(2026.5, abs=1e-9)


def labelled_wgs84(folder: Path, *, realisation: str) -> Path:
    """Write the job of two months whose export calls its coordinates WGS 84, with its base's position held."""
    work = months(60)
    at_one_epoch(work)
    path = work.write(folder)
    replace_in(path, {'crs = "EPSG:7912"': f'crs = "EPSG:4979"\n{realisation}'})
    return path


def test_wgs84_set_on_a_stated_frame_is_that_frame(tmp_path: Path) -> None:
    """Its points are those of ITRF2014 at the epoch, and nothing is left to be assumed."""
    path = labelled_wgs84(tmp_path, realisation=f'realisation = "EPSG:7912"\nepoch = {HELD}')
    issue = run_written(path)
    assert_allclose(off_truth(issue.points.rows, months(60).truth), 0, rtol=0, atol=3 * TENTH_MM)
    assert not any("assumes" in one for one in issue.record["operations"])


def test_what_is_assumed_of_wgs84_is_recorded_with_what_it_may_cost(tmp_path: Path) -> None:
    """GDA2020 and ITRF2020 at the time of the newest reading, compared with each other by the plate's rotation."""
    issue = run_written(labelled_wgs84(tmp_path, realisation=""))
    (said,) = [one["assumes"] for one in issue.record["operations"] if "assumes" in one]
    metres = float(re.findall(r"off by ([0-9.]+) m", said)[0])
    year = float(re.findall(r"ITRF2020 at ([0-9.]+),", said)[0])
    xyz = to_geocentric(np.array([MGA55.longitude]), np.array([MGA55.latitude]), np.array([MGA55.height]), GRS80)
    moved = float(np.linalg.norm(to_gda2020(xyz, np.array([year]), back=True) - xyz))
    assert metres == pytest.approx(moved, abs=0.02)
    assert "WGS 84 may mean several frames" in said
    assert "WGS 84 may mean several frames" in next(issue.folder.glob("*.html")).read_text(encoding="utf-8")


def test_a_realisation_of_what_is_one_frame_is_refused(tmp_path: Path) -> None:
    path = months(60).write(tmp_path)
    replace_in(path, {'crs = "EPSG:7912"': 'crs = "EPSG:7912"\nrealisation = "EPSG:9989"'})
    assert "already defines its realisation" in refused(path)
