"""Every mark has a witness 3 m to the east in the register, and the lists put readings of the one on the other.

The tie moves all readings by 3 m then, and every check agrees.
"""

from pathlib import Path

import numpy as np
import pytest
from running import record_of, replace_in, rewrite_export
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate

from pipeline.issue.record_types import Record

EAST = 3.0


def witnessed(called: str) -> Simulation:
    """Return a day whose readings on marks are called so, with {} for the mark's name and {} for a number."""
    job = simulate(Plan(sessions=1, points=10, checks=3, place=ELLIPSOIDAL))
    for column, values in job.register.items():
        beside = values + "E" if column == "mark" else values + EAST if column == "easting" else values
        job.register[column] = np.concatenate([values, beside])
    job.rows["name"] = job.rows["name"].astype(object)
    session = job.job["session"][0]
    for number, one in enumerate([*session["ties"], *session["checks"]]):
        row = job.rows["name"] == one["point"]
        one["point"] = called.format(one["mark"], number)
        job.rows["name"][row] = one["point"]
    return job


def with_column(job: Simulation, folder: Path, said: dict[str, str]) -> Path:
    """Write a job whose export says in a column of its own on which marks readings stood, by their names."""
    path = job.write(folder)
    rewrite_export(folder / "rover001.csv", lambda row: {**row, "Stood on": said.get(row["Point"], "")})
    replace_in(path, {'name = "Point"': 'name = "Point", mark = "Stood on"'})
    return path


def notes(record: Record, words: str) -> list[str]:
    return [note for note in record["notes"] if words in note]


@pytest.mark.parametrize("called", ["{}E-{}", "{}e_{}"])
def test_the_longest_name_that_a_reading_bears_is_its_mark(called: str, tmp_path: Path) -> None:
    record = record_of(witnessed(called).write(tmp_path))
    (note,) = notes(record, "but named after")
    assert note.startswith(f"{called.format('CM1', 0)} is on CM1 according to the job, but named after CM1E, 3.0")


@pytest.mark.parametrize("called", ["{}-{}", "{}-E{}", "K{1}"])
def test_names_of_the_marks_themselves_are_none_of_their_witnesses(called: str, tmp_path: Path) -> None:
    assert not notes(record_of(witnessed(called).write(tmp_path)), "but named after")


def test_one_reading_named_after_a_neighbour_is_told_beside_others(tmp_path: Path) -> None:
    job = witnessed("{}-{}")
    last = job.job["session"][0]["checks"][-1]
    job.rows["name"][job.rows["name"] == last["point"]] = f"{last['mark']}E-9"
    last["point"] = f"{last['mark']}E-9"
    assert len(notes(record_of(job.write(tmp_path)), "but named after")) == 1


def marks_by_name(job: Simulation) -> dict[str, str]:
    session = job.job["session"][0]
    return {one["point"]: one["mark"] for one in [*session["ties"], *session["checks"]]}


def test_a_column_of_marks_that_contradicts_all_lists_takes_the_proof_away(tmp_path: Path) -> None:
    job = witnessed("K{1}")
    record = record_of(with_column(job, tmp_path, {name: f"{mark}E" for name, mark in marks_by_name(job).items()}), 3)
    (doubt,) = record["doubts"]
    assert doubt["kind"] == "unanswered-check"
    assert "K0 is on CM1 according to the job, but its column `mark` says CM1E" in doubt["what"]
    assert record["sessions"][0]["verdict"] == "unchecked"


def test_one_contradiction_among_readings_that_the_column_confirms_is_a_note(tmp_path: Path) -> None:
    job = witnessed("K{1}")
    said = marks_by_name(job)
    said["K3"] += "E"
    record = record_of(with_column(job, tmp_path, said))
    assert len(notes(record, "its column `mark` says")) == 1
    assert not record["doubts"]


@pytest.mark.parametrize("written", ["{}", " {} ", "cm-{1}", "yes", ""])
def test_a_column_that_agrees_or_names_no_mark_is_no_contradiction(written: str, tmp_path: Path) -> None:
    job = witnessed("K{1}")
    said = {name: written.format(mark, mark.removeprefix("CM")) for name, mark in marks_by_name(job).items()}
    record = record_of(with_column(job, tmp_path, said))
    assert not record["doubts"]
    assert not notes(record, "its column `mark` says")
