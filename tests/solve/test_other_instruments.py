"""Points that no rover measured, in corrected coordinates beside raw readings of one export, are told.

A total station on control marks, or a list that is typed in, has no base whose error the shift would take away: what is
told is how many there are and the first row. The simulated base is off by metres, so that the shift moves them. Days on
which nothing is wrong are invented beside: every reading is a rover's there, or a passing check is of the same kind.
"""

from collections.abc import Callable, Mapping
from pathlib import Path

import numpy as np
import pytest
from running import Row, record_of, rewrite_numbered
from simulate import Plan, Simulation, simulate

TOLD = "is added to"
#: Rows of points in the middle of the day.
POINTS = range(12, 22)
#: Rows of points among others.
AMONG = range(8, 36, 3)
QUALITY = {"Sats": "14", "PDOP": "1.6"}
SIGMAS = {"sE": "", "sN": "", "sU": ""}


def day() -> Simulation:
    return simulate(Plan(sessions=1, points=40, ties=1, checks=3, seed=5))


def notes(folder: Path, change: Callable[[int, Row], Row], job: Simulation | None = None) -> list[str]:
    """Return what is told of readings of no rover on a day whose export is changed so."""
    path = (job or day()).write(folder)
    rewrite_numbered(folder / "rover001.csv", change)
    return [note for note in record_of(path)["notes"] if TOLD in note]


def level(seed: int, scatter: float = 0.05) -> Simulation:
    """A day on level ground, whose readings scatter."""
    job = simulate(Plan(sessions=1, points=40, ties=1, checks=3, seed=seed, reach=200.0))
    points = np.flatnonzero(job.rows["kind"] == "point")
    heights = np.random.default_rng(seed).normal(0.0, scatter, len(points))
    job.rows["height"][points] = job.rows["height"][points[0]] + heights
    return job


def in_corrected_coordinates(job: Simulation) -> None:
    chosen = np.isin(np.arange(len(job.rows["kind"])), AMONG)
    job.displace(chosen, job.shifts[0])


KINDS = [({"Method": "GNSS"}, {"Method": "TPS"}), (QUALITY, {"Sats": "", "PDOP": ""})]


@pytest.mark.parametrize(("usual", "other"), KINDS)
@pytest.mark.parametrize("seed", [5, 6, 7])
def test_heights_that_are_off_by_the_shift_are_a_doubt(
    seed: int, usual: Mapping[str, str], other: Mapping[str, str], tmp_path: Path
) -> None:
    job = level(seed)
    assert abs(job.shift_enu(0)[2]) > 1.0
    in_corrected_coordinates(job)
    path = job.write(tmp_path)
    rewrite_numbered(tmp_path / "rover001.csv", columns(job, AMONG, usual, other))
    record = record_of(path, code=3)
    (doubt,) = record["doubts"]
    assert (doubt["kind"], doubt["sessions"]) == ("shift", ["session-01"]) and record["verdict"] == "unchecked"
    assert doubt["what"].startswith(f"rover001.csv:{AMONG[0] + 2}: ") and f"{len(AMONG)} points" in doubt["what"]


@pytest.mark.parametrize(("usual", "other"), KINDS)
@pytest.mark.parametrize("seed", range(5, 11))
def test_a_total_station_that_hangs_on_points_of_the_base_is_let_be(
    seed: int, usual: Mapping[str, str], other: Mapping[str, str], tmp_path: Path
) -> None:
    job = level(seed)
    told = notes(tmp_path, columns(job, AMONG, usual, other), job)
    assert told == [] or abs(job.shift_enu(0)[2]) < 1.0


def test_few_readings_and_rough_ground_tell_nothing(tmp_path: Path) -> None:
    few, rough = level(5), level(5, scatter=3.0)
    in_corrected_coordinates(rough)
    (note,) = notes(tmp_path / "few", columns(few, AMONG[:3], *KINDS[0]), few)
    assert "confirmed" not in note
    (note,) = notes(tmp_path / "rough", columns(rough, AMONG, *KINDS[0]), rough)
    assert "confirmed" not in note


def columns(
    job: Simulation, at: range, usual: Mapping[str, str], other: Mapping[str, str]
) -> Callable[[int, Row], Row]:
    assert {job.rows["kind"][row] for row in at} == {"point"}
    return lambda row, cells: cells | (dict(other) if row in at else dict(usual))


@pytest.mark.parametrize(
    ("usual", "other", "lacks"),
    [
        (QUALITY, SIGMAS | {"Sats": "", "PDOP": ""}, "standard uncertainty, number of satellites, PDOP"),
        (QUALITY, {"Sats": "", "PDOP": ""}, "number of satellites, PDOP"),
        (QUALITY, {"Sats": "-", "PDOP": "0.0"}, "number of satellites, PDOP"),
        ({"PDOP": "1.6"}, SIGMAS | {"PDOP": ""}, "standard uncertainty, PDOP"),
        ({"Satellites": "9"}, {"Satellites": "0"}, "number of satellites"),
    ],
)
def test_points_that_lack_what_others_have_are_told(
    usual: Mapping[str, str], other: Mapping[str, str], lacks: str, tmp_path: Path
) -> None:
    job = day()
    (note,) = notes(tmp_path, columns(job, POINTS, usual, other), job)
    assert note.startswith(f"rover001.csv:{POINTS[0] + 2}: {len(POINTS)} points (first one here) lack what most")
    assert f"({lacks})" in note
    assert "the shift of session session-01 is added to them too" in note


def test_one_point_is_told(tmp_path: Path) -> None:
    job = day()
    (note,) = notes(tmp_path, columns(job, range(12, 13), QUALITY, {"Sats": "", "PDOP": ""}), job)
    assert "1 point (first one here) lacks what" in note


def test_more_than_half_are_told_where_they_lack_everything(tmp_path: Path) -> None:
    job = day()
    kinds = job.rows["kind"]
    few = [row for row, kind in enumerate(kinds) if kind == "point"][8:]
    blank = SIGMAS | {"Sats": "", "PDOP": ""}
    (note,) = notes(tmp_path, lambda row, cells: cells | (blank | {"Base": "BASE-01"} if row in few else QUALITY), job)
    assert f"{len(few)} points" in note


@pytest.mark.parametrize(
    ("column", "usual", "other"),
    [
        ("Method", "GNSS", "TPS"),
        ("Source", "RTK", "Total station"),
        ("Messart", "GNSS", "Tachymeter"),
        ("How", "GNSS fix", "Keyed in"),
        ("Type of point", "GPS", "Computed"),
    ],
)
def test_a_column_that_says_another_instrument_is_told(column: str, usual: str, other: str, tmp_path: Path) -> None:
    job = day()
    (note,) = notes(tmp_path, columns(job, POINTS, {column: usual}, {column: other}), job)
    assert note.startswith(f'rover001.csv:{POINTS[0] + 2}: column "{column}" says {other} of {len(POINTS)} points')


@pytest.mark.parametrize(
    ("usual", "other"),
    [
        (QUALITY, {"PDOP": ""}),  # one figure may be missing
        ({}, SIGMAS),
        ({"Sats": "", "PDOP": ""}, {}),
        ({"Sats": "0", "PDOP": "0"}, {}),
        ({"Method": "RTK"}, {"Method": "Averaged"}),
        ({"Remark": "kerb"}, {"Remark": "TPS"}),
        ({"Surveyor": "A"}, {"Surveyor": "B"}),
        ({"Lock": "automatic"}, {"Lock": "keyed in"}),
    ],
)
def test_what_rovers_write_is_let_be(usual: Mapping[str, str], other: Mapping[str, str], tmp_path: Path) -> None:
    job = day()
    assert notes(tmp_path, columns(job, POINTS, usual, usual | other), job) == []


def test_occupations_that_lack_as_much_are_means(tmp_path: Path) -> None:
    """Where a check that passes has the same blanks as some points, its kind carries the base's error."""
    job = day()
    kinds = job.rows["kind"]
    means = {row for row, kind in enumerate(kinds) if kind != "point"}
    blank = {"Sats": "", "PDOP": ""}
    assert notes(tmp_path / "marks", lambda row, cells: cells | (blank if row in means else QUALITY), day()) == []
    means |= set(POINTS)
    assert notes(tmp_path / "both", lambda row, cells: cells | (blank if row in means else QUALITY), job) == []


def test_a_session_that_nothing_moves_is_let_be(tmp_path: Path) -> None:
    """Where the base was right, corrected coordinates and raw ones are the same."""
    job = simulate(Plan(sessions=1, points=40, ties=1, checks=3, seed=5, base_horizontal=0.0, base_vertical=0.0))
    assert notes(tmp_path, columns(job, POINTS, {"Method": "GNSS"}, {"Method": "TPS"}), job) == []
