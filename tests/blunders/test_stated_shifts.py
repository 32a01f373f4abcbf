"""What is told where a session states its shift, and states it wrongly: that, first, and what to write.

Simulated truth without noise (`tests/support/simulate.py`): the shift that is to be written is the simulator's own.
"""

import re
import tomllib
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from closed_forms import WGS84
from every import every
from numpy.typing import NDArray
from running import record_of
from simulate import Place, Plan, Simulation, simulate
from simulate_plan import turn_enu
from whole_earth import Stereographic

from pipeline.check import check_job

DAY = Plan(sessions=1, points=8, ties=1, checks=3, marks=3, noise=False)
#: Beside McMurdo grid north and north are 167 degrees apart.
POLAR = Place(166.7, -77.85, 120.0, WGS84, Stereographic(-71.0, 0.0), "EPSG:3031", "EPSG:4979", "ellipsoid", None)


def true_shift(job: Simulation, session: int = 0) -> NDArray[np.float64]:
    """Return (3,) east, north, up among the marks."""
    longitude, latitude, _ = job.marks.geographic("CM1")
    return np.asarray(turn_enu(longitude, latitude, np.eye(3)) @ job.shifts[session])


def state(job: Simulation, shift: NDArray[np.float64], session: int = 0) -> None:
    """Let a session state a shift; what tied it becomes a check."""
    table = job.job["session"][session]
    table["checks"] = [*table.pop("ties"), *table["checks"]]
    table["shift"] = dict(zip(("east", "north", "up"), map(float, np.round(shift, 4)), strict=True))


def told(path: Path) -> dict[str, object]:
    (diagnosis,) = record_of(path, 3)["diagnoses"]
    assert diagnosis["field_shift"] is None  # no line records a correction that never was
    return diagnosis["explanations"][0]


def written(text: str) -> NDArray[np.float64]:
    found = tomllib.loads(re.search(r"shift = \{.*?\}", text)[0])["shift"]
    return np.array([found["east"], found["north"], found["up"]])


CASES = {
    "has its sign reversed": np.array([[-1, 0, 0], [0, -1, 0], [0, 0, -1]]),
    "has its east and north swapped": np.array([[0, 1, 0], [1, 0, 0], [0, 0, 1]]),
    "has its east and north swapped and its sign reversed": -np.array([[0, 1, 0], [1, 0, 0], [0, 0, 1]]),
    "has the wrong sign of its up": np.diag([1, 1, -1]),
    "has the wrong sign of its east": np.diag([-1, 1, 1]),
    "has the wrong sign of its north": np.diag([1, -1, 1]),
    # metres as feet of 0.3048 m, read as metres
    "is in feet but was read as metres": np.eye(3) / 0.3048,
}


@pytest.mark.parametrize("says", CASES)
@pytest.mark.parametrize("place", [DAY.place, POLAR], ids=["New Zealand", "beside the pole"])
def test_how_a_stated_shift_was_mistyped_is_told_first(says: str, place: Place, tmp_path: Path) -> None:
    job = simulate(replace(DAY, place=place))
    true = true_shift(job)
    state(job, CASES[says] @ true)
    path = job.write(tmp_path)
    first = told(path)
    assert first["kind"] == "stated shift" and not first["chance"]
    assert f"the stated shift of session session-01 {says}: write shift = " in first["text"]
    assert written(first["text"]) == pytest.approx(true, abs=2e-3)
    assert [text for text in check_job(path).warnings if says in text]
    # and with it everything passes
    job.job["session"][0]["shift"] = dict(zip(("east", "north", "up"), map(float, written(first["text"])), strict=True))
    assert all(check["passed"] for check in every(record_of(job.write(tmp_path))["checks"]))


@pytest.mark.parametrize(
    ("place", "off"),
    [
        *(
            (place, off)
            for place in (DAY.place, POLAR)
            for off in ((0.4, -0.25, 0.3), (0.0, 0.0, -1.7), (0.4, 0.2, 0.0))
        ),
        (DAY.place, (3.0, 40.0, 0.0)),
    ],
)
def test_by_how_much_a_stated_shift_is_off(place: Place, off: tuple[float, float, float], tmp_path: Path) -> None:
    job = simulate(replace(DAY, place=place))
    true = true_shift(job)
    state(job, true + np.array(off))
    first = told(job.write(tmp_path))
    assert "the stated shift of session session-01 is off by (" in first["text"]
    numbers = re.search(r"off by \((\S+), (\S+), (\S+)\) m east, north, up", first["text"])
    assert numbers is not None
    assert np.array([float(number) for number in numbers.groups()]) == pytest.approx(np.array(off), abs=5e-3)
    assert written(first["text"]) == pytest.approx(true, abs=5e-3)


def test_of_two_sessions_the_one_is_named(tmp_path: Path) -> None:
    job = simulate(replace(DAY, sessions=2))
    state(job, true_shift(job), 0)
    state(job, -true_shift(job, 1), 1)
    first = told(job.write(tmp_path))
    assert "the stated shift of session session-02 has its sign reversed" in str(first["text"])


def test_a_table_of_sessions_is_told_its_cells(tmp_path: Path) -> None:
    job = simulate(DAY)
    true = true_shift(job)
    table = job.job["session"][0]
    table["checks"], table["ties"] = [*table["ties"], *table["checks"]], []
    path = job.write(tmp_path, session_file=True)
    (rows,) = [file for file in tmp_path.glob("*.csv") if file.read_text().startswith("name,start,end")]
    header, row = rows.read_text().splitlines()
    numbers = ",".join(f"{value:.4f}" for value in -true)
    rows.write_text(f"{header},shift_east,shift_north,shift_up\n{row},{numbers}\n")
    text = str(told(path)["text"])
    east, north, up = (round(float(value), 4) for value in true)
    assert f"shift_east {east}, shift_north {north} and shift_up {up} in its row of {rows.name}" in text


@pytest.mark.parametrize("place", [DAY.place, POLAR], ids=["New Zealand", "beside the pole"])
@pytest.mark.parametrize("ties", [0, 1, 3])
def test_readings_said_to_need_no_shift_that_need_one(ties: int, place: Place, tmp_path: Path) -> None:
    """A tie takes part of it up, and so do three: what is off is the same."""
    job = simulate(replace(DAY, place=place, ties=max(ties, 1), checks=4, marks=5))
    if ties == 0:
        state(job, true_shift(job))
    job.job["session"][0]["shift"] = "none"
    text = str(told(job.write(tmp_path))["text"])
    numbers = re.search(
        r'has shift = "none", but its \d occupations of marks are all off by \((\S+), (\S+), (\S+)\) m', text
    )
    assert "the position that its base broadcast seems to be off by so much" in text
    assert numbers is not None
    assert -np.array([float(number) for number in numbers.groups()]) == pytest.approx(true_shift(job), abs=5e-3)


def test_a_right_shift_is_not_blamed_for_a_mark(tmp_path: Path) -> None:
    """A digit of one mark's northing, wrong by a metre, read twice; the other marks agree."""
    job = simulate(replace(DAY, checks=4))
    state(job, true_shift(job))
    job.mistype("CM2", "northing", 1.0)
    (diagnosis,) = record_of(job.write(tmp_path), 3)["diagnoses"]
    texts = [one["text"] for one in diagnosis["explanations"] if one["close"]]
    assert texts[0].startswith("CM2's ") and not [text for text in texts if "stated shift" in text], texts
