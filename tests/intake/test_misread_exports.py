"""One of two exports is misread as a whole: the register says which, and how it was meant is told of it alone."""

import csv
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.intake.by_session import Placed
from pipeline.intake.ledger import PLACED
from pipeline.intake.misread_exports import find_misread
from pipeline.plausible import Look, on_sphere


def mirrored(folder: Path) -> Path:
    """Write a job of one session in two exports, of which the longer lost the minus; the shorter has all marks."""
    path = simulate(Plan(sessions=1, points=40, noise=False, reach=500.0)).write(folder)
    with (folder / "rover001.csv").open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    on_marks = [row for row in rows if "-T" in row["Point"] or "-C" in row["Point"]]
    points = [row for row in rows if row not in on_marks]
    first, second = on_marks + points[:15], [row | {"Lat": row["Lat"].lstrip("-")} for row in points[15:]]
    for name, some in (("rover001.csv", first), ("rover002.csv", second)):
        with (folder / name).open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(some)
    return path


def test_the_export_that_is_misread_is_told_and_no_other(tmp_path: Path) -> None:
    """More than half of the readings are in the export that is wrong, so the middle of all is no place of the job's."""
    record = run_job(mirrored(tmp_path), dry_run=True).record
    assert record["rows"]["by_reason"] == {"implausible": 25} and record["rows"]["points"] == 15
    assert [one["name"] for one in record["wholly_held_back"] if one["kind"] == "file"] == ["rover002.csv"]
    (note,) = [note for note in record["notes"] if "cannot be where they state" in note]
    assert "rover001.csv" not in note and "with the other sign of its latitude" in note


def readings(first: float, second: float, start: int) -> Placed:
    """Return twenty readings about a longitude and a latitude."""
    steps = np.linspace(0.0, 0.002, 20)
    longitude, latitude = np.full(20, first) + steps, np.full(20, second) - steps
    flags = np.full(20, PLACED, np.uint16)
    return Placed(np.arange(start, start + 20), flags, longitude, latitude, on_sphere(longitude, latitude), longitude)


def export(numbers: NDArray[np.int64]) -> NDArray[np.int32]:
    return (numbers // 20).astype(np.int32)


@pytest.mark.parametrize(
    ("other", "look"),
    [((52.1, 5.4), Look.SWAPPED), ((-5.4, 52.1), Look.LONGITUDE_SIGN), ((15.4, 52.1), None)],
)
def test_how_a_whole_export_was_meant(other: tuple[float, float], look: Look | None) -> None:
    """What lies elsewhere and is no misreading, as another site's export, is none of its business."""
    pieces = [readings(5.4, 52.1, 0), readings(*other, 20)]
    marks = on_sphere(np.array([5.401]), np.array([52.102]))
    found = find_misread(pieces, export, marks, 50_000.0)
    assert (found is None) == (look is None)
    if found is not None:
        assert found.looks == {1: look} and len(found.places) == 20


def test_without_an_export_by_the_marks_nothing_is_known() -> None:
    pieces = [readings(5.4, 52.1, 0), readings(52.1, 5.4, 20)]
    marks = on_sphere(np.array([25.4]), np.array([40.0]))
    assert find_misread(pieces, export, marks, 50_000.0) is None
