"""Points that stand in two exports under other names, as measured and as corrected: which is right, no check says.

A simulated day by one rover; its copy has the same times, and places that are off by what an office added to all.
"""

import re
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from running import csv_rows, write_csv
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.issue.record_types import Record

#: Metres of a degree of latitude, on a sphere: what is told of the vector is held to a centimetre and a half only.
_DEGREE = 111_195.0
_SAID = "issued twice"
Row = dict[str, str]


def beside(
    folder: Path,
    job: Simulation,
    change: Callable[[Row, int], Row],
    *,
    one_file: bool = False,
    next_to: bool = False,
    code: Callable[[int], str] | None = None,
) -> Record:
    """Run the job with a second export, or more rows of the first: its points, each changed.

    ``next_to`` puts each behind its own, in that file; ``code`` gives the points their codes.
    """
    path = job.write(folder)
    rows = csv_rows(folder / "rover001.csv")
    points = [row for row in rows if "-T" not in row["Point"] and "-C" not in row["Point"]]
    for number, row in enumerate(points):
        row["Code"] = row["Code"] if code is None else code(number)
    changed = [change(dict(row), number) for number, row in enumerate(points)]
    files = {"rover001.csv": rows + changed} if one_file else {"rover001.csv": rows, "rover002.csv": changed}
    if next_to:
        behind = {row["Point"]: other for row, other in zip(points, changed, strict=True)}
        pairs = [[row, *([behind[row["Point"]]] if row["Point"] in behind else [])] for row in rows]
        files = {"rover001.csv": [row for pair in pairs for row in pair]}
    for name, those in files.items():
        write_csv(folder / name, those)
    return run_job(path, dry_run=True).record


def off(row: Row, east: float, north: float, up: float) -> Row:
    latitude = float(row["Lat"])
    return row | {
        "Lat": f"{latitude + north / _DEGREE:.10f}",
        "Lon": f"{float(row['Lon']) + east / _DEGREE / np.cos(np.radians(latitude)):.10f}",
        "EllHt": f"{float(row['EllHt']) + up:.4f}",
    }


def renumbered(row: Row, number: int) -> Row:
    return row | {"Point": f"{5000 + number}"}


def with_suffix(row: Row, _: int) -> Row:
    return row | {"Point": row["Point"] + "K"}


def nameless(row: Row, _: int) -> Row:
    return row | {"Point": ""}


@pytest.fixture
def job() -> Simulation:
    return simulate(Plan(sessions=2, points=12, seed=8))


def told(record: Record) -> list[str]:
    return [doubt["what"] for doubt in record["doubts"] if doubt["kind"] == "base" and _SAID in doubt["what"]]


@pytest.mark.parametrize("named", [renumbered, with_suffix, nameless])
def test_a_copy_under_other_names_that_was_corrected_is_doubted(
    tmp_path: Path, job: Simulation, named: Callable[[Row, int], Row]
) -> None:
    record = beside(tmp_path, job, lambda row, number: named(off(row, 1.3, -0.9, 5.7), number))
    (what,) = told(record)
    assert "rover002.csv:2: has at least 24 readings of rover001.csv's times, under other names" in what
    vector = [float(number) for number in re.findall(r"([+-]\d+\.\d+) m (?:east|north|up)", what)]
    assert vector == pytest.approx(2 * [1.3, -0.9, 5.7], abs=0.015) and "give one of the files" in what
    assert {session["verdict"] for session in record["sessions"]}.isdisjoint({"proven"})


def test_a_pole_height_that_was_put_right_in_one_copy_is_doubted(tmp_path: Path, job: Simulation) -> None:
    assert told(beside(tmp_path, job, lambda row, number: renumbered(off(row, 0.0, 0.0, 0.35), number)))


def test_a_copy_in_the_same_file_is_doubted(tmp_path: Path, job: Simulation) -> None:
    (what,) = told(beside(tmp_path, job, lambda row, n: renumbered(off(row, 1.3, -0.9, 5.7), n), one_file=True))
    assert "twice, at one time, under two names" in what and "export each reading once" in what


def test_a_copy_of_which_some_were_edited_is_doubted(tmp_path: Path, job: Simulation) -> None:
    def change(row: Row, number: int) -> Row:
        return renumbered(off(row, 1.3, -0.9, 5.7 + (0.1 * number if number % 4 == 0 else 0.0)), number)

    assert told(beside(tmp_path, job, change))


def test_two_rovers_at_the_same_seconds_are_left_in_peace(tmp_path: Path, job: Simulation) -> None:
    """One walks beside the other, within a metre of two metres to the east: as two who measure both edges of a road."""
    random = np.random.default_rng(1)
    assert not told(beside(tmp_path, job, lambda row, n: renumbered(off(row, *random.normal([2, 0, 0], 1.0)), n)))


def test_two_antennas_of_one_vehicle_on_a_straight_road_are_left_in_peace(tmp_path: Path, job: Simulation) -> None:
    """A bar of two metres that always points to the east, and the noise of two receivers, 8 mm in plan and 15 mm up."""
    random = np.random.default_rng(2)

    def change(row: Row, number: int) -> Row:
        return renumbered(off(row, *random.normal([2.0, 0.0, 0.0], [0.008, 0.008, 0.015])), number)

    assert not told(beside(tmp_path, job, change))


def test_top_and_foot_of_a_kerb_from_one_reading_are_left_in_peace(tmp_path: Path, job: Simulation) -> None:
    assert not told(beside(tmp_path, job, lambda row, n: renumbered(off(row, 0.0, 0.0, -0.15), n), one_file=True))


#: Metres east, north and up: from the channel to the top of a kerb, and from one rail to the other.
_BY_OFFSET = [(0.12, 0.0, 0.125), (1.5, 0.05, 0.0)]


@pytest.mark.parametrize("newest_first", [False, True])
@pytest.mark.parametrize("vector", _BY_OFFSET)
def test_two_points_of_each_measurement_in_one_file_are_left_in_peace(
    tmp_path: Path, job: Simulation, vector: tuple[float, float, float], newest_first: bool
) -> None:
    if newest_first:
        job.rows = {key: values[::-1] for key, values in job.rows.items()}
    record = beside(tmp_path, job, lambda row, n: renumbered(off(row, *vector), n), next_to=True)
    assert not told(record)
    assert {session["verdict"] for session in record["sessions"]} == {"proven"}


@pytest.mark.parametrize("one_file", [False, True])
@pytest.mark.parametrize("vector", _BY_OFFSET)
def test_points_by_offset_that_were_exported_by_code_are_left_in_peace(
    tmp_path: Path, job: Simulation, vector: tuple[float, float, float], one_file: bool
) -> None:
    """Two lines of five strings: each has a number behind its code, and begins with a word."""

    def change(row: Row, number: int) -> Row:
        return renumbered(off(row, *vector), number) | {"Code": row["Code"].replace("CHANNEL", "TOP")}

    record = beside(tmp_path, job, change, one_file=one_file, code=_strings)
    assert not told(record)
    assert {session["verdict"] for session in record["sessions"]} == {"proven"}


def _strings(number: int) -> str:
    return f"CHANNEL{number // 5 + 1}" + (" ST" if number % 5 == 0 else "")


@pytest.mark.parametrize("one_file", [False, True])
@pytest.mark.parametrize("vector", _BY_OFFSET)
def test_a_copy_that_is_off_by_as_little_is_doubted_where_it_has_the_codes_of_its_original(
    tmp_path: Path, job: Simulation, vector: tuple[float, float, float], one_file: bool
) -> None:
    assert told(
        beside(tmp_path, job, lambda row, n: renumbered(off(row, *vector), n), one_file=one_file, code=_strings)
    )


def test_a_copy_of_channel_and_top_behind_both_is_doubted(tmp_path: Path, job: Simulation) -> None:
    """Each measurement has two points, of two codes, and both stand once more at the end of the file."""
    count = len(job.rows["time"])
    both = np.repeat(np.arange(count), np.where(job.rows["kind"] == "point", 2, 1))
    second = np.append(False, both[1:] == both[:-1])
    job.rows = {key: values[both] for key, values in job.rows.items()}
    job.rows["name"] = np.where(second, np.char.add("T", job.rows["name"].astype("U20")), job.rows["name"])
    job.rows["longitude"] = job.rows["longitude"] + second * 2e-6
    job.rows["height"] = job.rows["height"] + second * 0.125
    record = beside(
        tmp_path,
        job,
        lambda row, number: renumbered(off(row, 1.3, -0.9, 5.7), number),
        one_file=True,
        code=lambda number: ("CHANNEL", "TOP")[number % 2],
    )
    (what,) = told(record)
    assert [float(number) for number in re.findall(r"([+-]\d+\.\d+) m (?:east|north|up)", what)] == pytest.approx(
        [1.3, -0.9, 5.7] * 2, abs=0.015
    )


@pytest.mark.parametrize("change", ["layers", "none"])
def test_a_copy_of_a_survey_that_was_given_other_codes_or_none_is_doubted(
    tmp_path: Path, job: Simulation, change: str
) -> None:
    """Nobody measures trees, walls and fences by one and the same offset from kerbs, walls and fences."""

    def changed(row: Row, number: int) -> Row:
        return renumbered(off(row, 1.5, 0.05, 0.0), number) | {"Code": "V-" + row["Code"] if change == "layers" else ""}

    assert told(beside(tmp_path, job, changed, code=lambda number: ("TREE", "WALL", "FENCE")[number % 3]))


def test_a_copy_under_other_codes_that_is_off_by_more_than_an_offset_is_doubted(
    tmp_path: Path, job: Simulation
) -> None:
    def change(row: Row, number: int) -> Row:
        return renumbered(off(row, 8.0, 8.0, 5.7), number) | {"Code": "TOP"}

    assert told(beside(tmp_path, job, change, code=_strings))


def test_another_adjustment_of_the_same_readings_is_left_in_peace(tmp_path: Path, job: Simulation) -> None:
    assert not told(beside(tmp_path, job, lambda row, n: renumbered(off(row, 0.004, -0.003, 0.01), n)))
