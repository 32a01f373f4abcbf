"""Rows that are held back because others stand for them are not lost: a controller exports its whole job every day."""

from collections.abc import Callable
from pathlib import Path

import pytest
from repeated_days import days
from running import Row, csv_rows, published_record, write_csv
from simulate import Plan, Simulation, simulate


def two_days(folder: Path, change: Callable[[Row], Row], kept: Callable[[Row], bool] = lambda row: True) -> Path:
    """Write a job of two days whose second export has the first day too, beside the first day's own, changed."""
    return exported_again(simulate(Plan(sessions=2, points=20, noise=False)), folder, change, kept)


def exported_again(
    job: Simulation, folder: Path, change: Callable[[Row], Row], kept: Callable[[Row], bool] = lambda row: True
) -> Path:
    path = job.write(folder, files=2)
    first, second = (csv_rows(folder / f"rover00{number}.csv") for number in (1, 2))
    write_csv(folder / "rover000.csv", first + second)  # read before the first day's own: this copy stands
    write_csv(folder / "rover001.csv", [change(row) for row in first if kept(row)])
    (folder / "rover002.csv").unlink()
    return path


def wholly(path: Path, code: int = 0) -> list[tuple[str, str]]:
    return [(one["kind"], one["name"]) for one in published_record(path, code=code)["wholly_held_back"]]


@pytest.mark.parametrize(
    "change", [lambda row: row, lambda row: row | {"Code": "X" + row["Code"]}], ids=["the same", "codes edited"]
)
def test_yesterdays_export_beside_one_of_the_whole_job(change: Callable[[Row], Row], tmp_path: Path) -> None:
    path = two_days(tmp_path, change)
    record = published_record(path)
    assert record["wholly_held_back"] == [] and record["verdict"] == "proven"
    assert record["rows"]["points"] == 40 and set(record["rows"]["by_reason"]) == {"duplicate"}
    assert [note for note in record["notes"] if note.startswith("rover001.csv repeats rover000.csv")]


def test_a_reading_that_is_held_back_in_both_loses_nothing_more(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=20, noise=False))
    job.rows["solution"] = job.rows["solution"].astype(object)
    job.rows["solution"][4] = "float"
    assert wholly(exported_again(job, tmp_path, lambda row: row)) == []


def test_the_points_alone_exported_again_are_no_other_rovers(tmp_path: Path) -> None:
    """The marks are in the other export: it is the same rover's, which stood on them."""
    path = two_days(tmp_path, lambda row: row, lambda row: row["Code"] not in ("CM", "CHK"))
    record = published_record(path)
    assert record["wholly_held_back"] == [] and not [note for note in record["notes"] if "another rover" in note]


def test_copies_of_what_is_held_back_itself_are_lost(tmp_path: Path) -> None:
    """The first day's points are suspect in the export that stands, so nothing of them is issued anywhere."""
    job = simulate(Plan(sessions=2, points=20, noise=False))
    job.raise_pole(0, 0.5)
    job.mistype("CM2", "easting", 3.0)
    path = exported_again(job, tmp_path, lambda row: row)
    record = published_record(path, code=3)
    assert "suspect" in record["rows"]["by_reason"]
    assert ("file", "rover001.csv") in [(one["kind"], one["name"]) for one in record["wholly_held_back"]]


def test_a_copy_that_is_the_same_row_by_row_is_told(tmp_path: Path) -> None:
    """One of the two has another's name: what it should hold may be missing."""
    path = simulate(Plan(sessions=1, points=20, noise=False)).write(tmp_path)
    (tmp_path / "rover002.csv").write_bytes((tmp_path / "rover001.csv").read_bytes())
    assert wholly(path, code=3) == [("file", "rover002.csv")]


@pytest.mark.parametrize("repeats", ["last", "mean"])
def test_all_points_measured_again_are_issued_once_as_asked(repeats: str, tmp_path: Path) -> None:
    work = days()
    work.job["issue"] = {"repeats": repeats}
    record = published_record(work.write(tmp_path))
    assert record["wholly_held_back"] == [] and record["rows"]["by_reason"] == {"duplicate": 8}
    assert [session["points"] for session in record["sessions"]] == [0, 8]
