"""Control points that came back with the export: they equal the register, whatever the base was off by."""

from pathlib import Path

import numpy as np
import pytest
from running import record_of, rewrite_export
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate

from pipeline.issue.record_types import Record

EQUAL = "in the register to the last digit"


def day(*, noise: bool = True, zero: bool = False) -> Simulation:
    """Return a day with a tie and three checks; with ``zero`` the base stood where it said."""
    job = simulate(Plan(sessions=1, points=20, checks=3, place=ELLIPSOIDAL, noise=noise))
    if zero:
        job.displace(np.ones(len(job.rows["name"]), bool), job.shifts[0])
    return job


def key_in(job: Simulation, points: list[str]) -> None:
    """Give readings the coordinates of the marks that the job lists them on."""
    session, marks = job.job["session"][0], list(job.register["mark"])
    on = {one["point"]: one["mark"] for one in [*session["ties"], *session["checks"]]}
    truth = {"longitude": job.marks.longitude, "latitude": job.marks.latitude, "height": job.marks.ellipsoid_height}
    for point in points:
        for column, values in truth.items():
            job.rows[column][job.rows["name"] == point] = values[marks.index(on[point])]


def listed(job: Simulation) -> list[str]:
    session = job.job["session"][0]
    return [one["point"] for one in [*session["ties"], *session["checks"]]]


def told(record: Record) -> list[str]:
    return [doubt["what"] for doubt in record["doubts"] if EQUAL in doubt["what"]]


def noted(record: Record) -> list[str]:
    return [note for note in record["notes"] if EQUAL in note and "DOUBT" not in note and note not in told(record)]


def test_rows_of_the_register_without_sigmas_tie_and_prove_nothing(tmp_path: Path) -> None:
    job = day()
    key_in(job, listed(job))
    for column in ("sigma_east", "sigma_north", "sigma_up"):
        job.rows[column][np.isin(job.rows["name"], listed(job))] = np.nan
    path = job.write(tmp_path)
    rewrite_export(tmp_path / "rover001.csv", lambda row: {k: "" if v == "nan" else v for k, v in row.items()})
    record = record_of(path, 3)
    (doubt,) = [one["what"] for one in record["doubts"]]
    assert "rows of the register" in doubt
    assert "a standard uncertainty" in doubt
    assert record["sessions"][0]["verdict"] == "unchecked"


def test_means_that_lie_near_the_register_without_what_single_readings_have_are_measured(tmp_path: Path) -> None:
    """A base on a known mark, and averages that have no sigmas: a millimetre and a half is no copy."""
    job = day()
    key_in(job, listed(job))
    for sign, point in zip((1, -1, 1, -1), listed(job), strict=True):
        job.rows["height"][job.rows["name"] == point] += sign * 0.0015
    for column in ("sigma_east", "sigma_north", "sigma_up"):
        job.rows[column][np.isin(job.rows["name"], listed(job))] = np.nan
    path = job.write(tmp_path)
    rewrite_export(tmp_path / "rover001.csv", lambda row: {k: "" if v == "nan" else v for k, v in row.items()})
    assert not record_of(path)["doubts"]


def test_rows_of_the_register_that_nobody_could_have_measured_in_their_times(tmp_path: Path) -> None:
    job = day()
    key_in(job, listed(job))
    first = np.flatnonzero(np.isin(job.rows["name"], listed(job)[:3]))
    job.rows["time"][first] = job.rows["time"][first[0]] + np.arange(3) * np.timedelta64(12, "s")
    (doubt,) = told(record_of(job.write(tmp_path), 3))
    assert "nobody gets from the one to the next" in doubt


def test_a_closing_check_of_the_register_among_others_that_scatter(tmp_path: Path) -> None:
    job = day(zero=True)
    session = job.job["session"][0]
    session["checks"], session["ties"], session["shift"] = session["ties"] + session["checks"], [], "none"
    key_in(job, listed(job)[-1:])
    (doubt,) = told(record_of(job.write(tmp_path), 3))
    assert "the other ties and checks of the session scatter" in doubt


@pytest.mark.parametrize("shift", ["tied", "none"])
def test_computed_readings_of_a_day_without_a_shift_are_only_noted(shift: str, tmp_path: Path) -> None:
    job = day(noise=False, zero=True)
    session = job.job["session"][0]
    if shift == "none":
        session["checks"], session["ties"], session["shift"] = session["ties"] + session["checks"], [], "none"
    record = record_of(job.write(tmp_path))
    assert not record["doubts"]
    assert len(noted(record)) == 1


@pytest.mark.parametrize(("noise", "zero"), [(True, True), (False, False), (True, False)])
def test_other_honest_days_are_not_told_of(noise: bool, zero: bool, tmp_path: Path) -> None:
    record = record_of(day(noise=noise, zero=zero).write(tmp_path))
    assert not told(record)
    assert not noted(record)


@pytest.mark.parametrize("codes", [[], ["CTRL"]])
def test_rows_of_the_register_in_no_list_are_no_forgotten_checks(codes: list[str], tmp_path: Path) -> None:
    job = day()
    job.job["checks"] = {"codes": codes}
    path = job.write(tmp_path)
    marks = zip(job.register["mark"], job.marks.longitude, job.marks.latitude, job.marks.ellipsoid_height, strict=True)
    lines = (tmp_path / "rover001.csv").read_text(encoding="utf-8").splitlines()
    time = lines[1].split(",")[1]
    keyed = [f"{name},{time},{lat:.11f},{lon:.11f},{up:.5f},,,,fix,CTRL,BASE-01" for name, lon, lat, up in marks]
    (tmp_path / "rover001.csv").write_text("\n".join([lines[0], *keyed, *lines[1:]]) + "\n", encoding="utf-8")
    record = record_of(path, 3)  # rows are held back as suspect until somebody takes them out
    assert not record["doubts"]
    assert record["sessions"][0]["verdict"] == "proven"
    assert record["rows"]["held_back"] == len(keyed)
    (note,) = noted(record)
    assert "control points that came back with the export" in note


def test_designs_of_marks_that_were_staked_out_prove_nothing(tmp_path: Path) -> None:
    """The plain columns of a report of stakes are the design, of marks the register's; the others were measured."""
    job = day()
    measured = {word: job.rows[word].copy() for word in ("longitude", "latitude", "height")}
    key_in(job, listed(job))
    path = job.write(tmp_path)
    off = np.random.default_rng(2).normal(0.0, 0.03, (len(job.rows["name"]), 2)) / 1e5
    off[np.isin(job.rows["name"], listed(job))] = 0.0
    second = iter(np.column_stack([measured["longitude"], measured["latitude"]]) + off)

    def with_measured(row: dict[str, str]) -> dict[str, str]:
        longitude, latitude = next(second)
        return row | {"Longitude observed": f"{longitude:.9f}", "Latitude observed": f"{latitude:.9f}"}

    rewrite_export(tmp_path / "rover001.csv", with_measured)
    text = path.read_text()
    aside = 'not_measured = ["Longitude observed", "Latitude observed"]'
    path.write_text(text.replace("[[points]]", f"[[points]]\n{aside}", 1))
    record = record_of(path, 3)
    (doubt,) = told(record)
    assert "a second position of its rows" in doubt
    assert record["sessions"][0]["verdict"] == "unchecked"
