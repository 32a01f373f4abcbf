"""Points of one day that were edited on the next and got its time, in a file per day that is sorted by time."""

from pathlib import Path

import numpy as np
import pytest
from running import record_of
from simulate import ELLIPSOIDAL, Plan, Simulation, simulate

ASKED = "observed at that time, or edited then?"


def two_days() -> Simulation:
    """Two sessions on two days, in whose exports nothing says which base was used."""
    job = simulate(Plan(sessions=2, points=40, checks=3, place=ELLIPSOIDAL))
    job.rows["base"][:] = "BASE"
    for session in job.job["session"]:
        session["base"] = "BASE"
    return job


def asked(job: Simulation, folder: Path) -> list[str]:
    return [note for note in record_of(job.write(folder, files=2))["notes"] if ASKED in note]


@pytest.mark.parametrize("count", [1, 3])
def test_a_few_points_edited_next_day_are_asked_about(count: int, tmp_path: Path) -> None:
    job = two_days()
    first = np.flatnonzero((job.rows["kind"] == "point") & (job.rows["session"] == 0))[10 : 10 + count]
    then = np.flatnonzero((job.rows["kind"] == "point") & (job.rows["session"] == 1))[20]
    job.rows["time"][first] = job.rows["time"][then]
    own = np.flatnonzero(job.rows["session"] == 0)
    order = np.concatenate([np.setdiff1d(own, first), first, np.flatnonzero(job.rows["session"] == 1)])
    job.rows = {name: values[order] for name, values in job.rows.items()}
    (note,) = asked(job, tmp_path)
    assert note.startswith(f"rover001.csv:{len(own) - count + 2}: {count} row")


def test_days_in_files_of_their_own_are_not_asked_about(tmp_path: Path) -> None:
    assert asked(two_days(), tmp_path) == []
