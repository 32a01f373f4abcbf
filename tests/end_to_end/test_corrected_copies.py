"""A day as measured and as corrected beside each other: every point twice, and no check that says which is right.

The corrected rows are made here from the simulated ones by a vector in space, with the simulator's own closed forms.
"""

from pathlib import Path

import numpy as np
import pytest
from every import every
from repeated_days import days
from running import Row, csv_rows, published_record, record_of, run_written, write_csv
from simulate import Plan, Simulation, simulate
from simulate_plan import to_geocentric, to_geographic, turn_enu
from typer.testing import CliRunner

from pipeline.cli.main import app


def day(points: int = 12) -> Simulation:
    return simulate(Plan(sessions=1, points=points, reach=500.0))


def copied(job: Simulation, rows: list[Row], enu: np.ndarray) -> list[Row]:
    """Return rows moved by (3,) or (n, 3) metres east, north, up, turned as at the first of them."""
    ellipsoid = job.plan.place.ellipsoid
    place = [np.array([float(row[name]) for row in rows]) for name in ("Lon", "Lat", "EllHt")]
    one = np.full(len(rows), place[0][0]), np.full(len(rows), place[1][0])
    off = turn_enu(*one, np.broadcast_to(enu, (len(rows), 3)).astype(float))
    moved = to_geographic(to_geocentric(*place, ellipsoid) + off, ellipsoid)
    return [
        row | {"Lon": f"{lon:.9f}", "Lat": f"{lat:.9f}", "EllHt": f"{up:.4f}"}
        for row, lon, lat, up in zip(rows, *moved, strict=True)
    ]


def points_of(folder: Path) -> list[Row]:
    return [row for row in csv_rows(folder / "rover001.csv") if row["Code"] not in ("CM", "CHK")]


@pytest.mark.parametrize("enu", [(0.5, -1.2, 5.7), (-0.4, 0.3, -0.2), (0.0, 0.0, 2.0), (12.0, 7.0, -40.0)])
@pytest.mark.parametrize("name", ["rover002.csv", "rover000.csv"])  # read after the other, and before it
def test_a_corrected_copy_takes_the_proof_away(name: str, enu: tuple[float, float, float], tmp_path: Path) -> None:
    job = day()
    path = job.write(tmp_path)
    rows = points_of(tmp_path)
    write_csv(tmp_path / name, copied(job, rows, np.array(enu)))
    record = published_record(path, code=3)
    assert record["verdict"] == "unchecked"
    (doubt,) = record["doubts"]
    assert doubt["kind"] == "base" and f"{len(rows)} readings of rover00" in doubt["what"]
    assert "one copy is already corrected" in doubt["what"] and "give one of the files" in doubt["what"]
    sign = 1.0 if name == "rover002.csv" else -1.0
    said = [float(word) for word in doubt["what"].split(" off by ")[1].replace(" m", "").split()[:5:2]]
    np.testing.assert_allclose(said, sign * np.array(enu), rtol=0, atol=0.008)  # it turns over the site
    notes = " ".join(record["notes"])
    assert "scale =" not in notes and "at different places" not in notes


def test_each_session_has_its_own_difference(tmp_path: Path) -> None:
    """Every base is off by a vector of its own, and half a day is enough."""
    job = simulate(Plan(sessions=2, points=24, reach=500.0))
    path = job.write(tmp_path)
    rows = points_of(tmp_path)
    first = [row for row in rows if row["Point"].startswith("S01")][6:]
    second = [row for row in rows if row["Point"].startswith("S02")]
    assert first and second
    write_csv(
        tmp_path / "rover002.csv",
        copied(job, first, np.array([1.0, 2.0, 3.0])) + copied(job, second, np.array([-2.0, 0.5, -4.0])),
    )
    (doubt,) = published_record(path, code=3)["doubts"]
    assert doubt["sessions"] == ["session-01", "session-02"]
    assert "in session session-01; by " in doubt["what"] and "in session session-02:" in doubt["what"]


def test_confirmed_it_is_proven_and_check_tells_it_too(tmp_path: Path) -> None:
    job = day()
    job.job["checks"] = {"confirmed": ["base"]}
    path = job.write(tmp_path)
    write_csv(tmp_path / "rover002.csv", copied(job, points_of(tmp_path), np.array([0.5, 0.5, 3.0])))
    record = run_written(path).record
    assert record["verdict"] == "proven" and record["doubts"][0]["confirmed"]
    told = CliRunner().invoke(app, ["check", str(path)])
    assert "already corrected" in told.output


@pytest.mark.parametrize("what", ["other points", "noise", "held back"])
def test_what_is_no_corrected_copy(what: str, tmp_path: Path) -> None:
    """Two rovers with the same numbers, a day computed anew, and float solutions."""
    job = day()
    path = job.write(tmp_path)
    rows, random = points_of(tmp_path), np.random.default_rng(4)
    code = 0
    if what == "other points":
        rows = copied(job, rows, random.uniform(-300, 300, (len(rows), 3)) * [1, 1, 0.01])
    elif what == "noise":
        rows = copied(job, rows, random.normal(size=(len(rows), 3)) * [0.008, 0.008, 0.015])
    else:
        rows, code = [row | {"Sol": "float"} for row in copied(job, rows, np.array([0.5, 0.5, 3.0]))], 3
    write_csv(tmp_path / "rover002.csv", rows)
    assert published_record(path, code=code)["doubts"] == []


def test_a_file_whose_field_shift_is_stated_is_taken_for_what_it_is(tmp_path: Path) -> None:
    job = day()
    enu = (1.0, 2.0, 3.0)
    path = job.write(tmp_path)
    write_csv(tmp_path / "rover002.csv", copied(job, points_of(tmp_path), np.array(enu)))
    stated = dict(zip(("east", "north", "up"), enu, strict=True))
    job.job["session"][0]["field_shift"] = {
        "from": job.job["session"][0]["start"], **stated, "model": "geocentric", "files": ["rover002.csv"],
    }  # fmt: skip
    rows = (tmp_path / "rover002.csv").read_bytes()
    path = job.write(tmp_path)
    (tmp_path / "rover002.csv").write_bytes(rows)
    assert published_record(path)["doubts"] == []


def test_a_pole_that_is_off_all_day_is_no_noise(tmp_path: Path) -> None:
    """A second rover on the same points some seconds later, its pole 20 cm off: one vector, which no scale takes in."""
    work = days(1, 12, worse=1.0, seed=3)
    path = work.write(tmp_path)
    lines = (tmp_path / "rover001.csv").read_text(encoding="utf-8").splitlines()
    head = lines[0].split(",")
    random, again = np.random.default_rng(5), []
    for line in lines[1:]:
        row = dict(zip(head, line.split(","), strict=True))
        if row["Point"].startswith("P"):
            up = float(row["EllHt"]) + 0.2 + random.normal() * 0.015
            time = row["Observed"].replace("+00:00", "").replace("Z", "")
            again.append(
                row | {"EllHt": f"{up:.4f}", "Observed": str(np.datetime64(time) + np.timedelta64(7, "s")) + "Z"}
            )
    assert len(again) == 12
    write_csv(tmp_path / "rover002.csv", again)
    record = record_of(path)
    (said,) = [note for note in record["notes"] if "all differ by the same vector" in note]
    assert "12 pairs of readings of one point in rover001.csv and rover002.csv" in said
    up = float(said.split(" m north and ")[1].split(" m up")[0])
    assert up == pytest.approx(0.2, abs=0.02)  # the mean of twelve of 15 mm each, two of them in a pair
    assert all(not one["too_good"] for one in every(record["precision"])) and record["precision"][0]["left_out"] >= 12
