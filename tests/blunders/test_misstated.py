"""What is told where a job states a field shift and the field did something else, or where a set-up is off.

Simulated truth without noise (`tests/support/simulate.py`), the shift planted here: what is told is what was planted.
"""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from network_jobs import Network
from running import record_of
from simulate import Plan, Simulation, simulate

from pipeline.check import check_job
from pipeline.issue.record_types import Record

FIELD = np.array([1.4, -0.9, 3.1])


def day() -> Simulation:
    """One session, tied once, with a check after its tie and one in the evening."""
    return simulate(Plan(sessions=1, points=12, noise=False))


def occupied(job: Simulation) -> list[tuple[str, dt.datetime]]:
    """Return the occupations by time."""
    rows = job.rows
    at = np.flatnonzero(rows["kind"] != "point")
    at = at[np.argsort(rows["time"][at], kind="stable")]
    times = rows["time"][at].astype("datetime64[us]").tolist()
    return [(str(name), time.replace(tzinfo=dt.UTC)) for name, time in zip(rows["name"][at], times, strict=True)]


def told(job: Simulation, folder: Path, start: dt.datetime, **more: object) -> tuple[Record, list[str]]:
    """State the shift from a time on and return the record of a run, which needs attention, and what `check` warns."""
    east, north, up = map(float, FIELD)
    job.job["session"][0]["field_shift"] = {"from": start, "east": east, "north": north, "up": up, **more}
    path = job.write(folder)
    return record_of(path, 3), [text for text in check_job(path).warnings if "field shift" in text]


SECOND = dt.timedelta(seconds=1)


@pytest.mark.parametrize("case", ["never", "later", "earlier", "off before", "off after", "more"])
def test_what_the_field_did_instead_is_told_first(case: str, tmp_path: Path) -> None:
    job = day()
    names, times = zip(*occupied(job), strict=True)
    start, late = times[1] - SECOND, times[-1] - SECOND
    more: dict[str, object] = {}
    match case:
        case "never":
            says = "the export does not carry the field shift"
        case "later":
            job.correct_in_field(0, late, *FIELD)
            says = f"{names[1]} does not carry the field shift: it was switched on between"
        case "earlier":
            job.correct_in_field(0, start, *FIELD)
            start = late
            says = f"{names[1]} carries the field shift already: it was switched on between"
        case "off before":
            job.correct_in_field(0, start, *FIELD)
            job.correct_in_field(0, late, *-FIELD)
            says = f"{names[-1]} does not carry the field shift: it was switched off between"
        case "off after":
            job.correct_in_field(0, start, *FIELD)
            more["until"] = late
            says = f"{names[-1]} still carries the field shift: it was switched off later"
        case _:
            job.correct_in_field(0, start, *(FIELD + np.array([0.0, 0.25, 0.0])))
            says = "is not what the field applied: that was more in position by"
    record, warned = told(job, tmp_path, start, **more)
    (diagnosis,) = record["diagnoses"]
    texts = [one["text"] for one in diagnosis["explanations"] if one["close"]]
    assert any(says in text for text in (texts[:1] if case != "more" else texts)), texts
    # no lines are told that would state the same shift once more, the other way round
    assert diagnosis["field_shift"] is None
    assert case == "more" or [text for text in warned if says in text]


def test_a_set_up_that_is_off_is_told_with_its_size(tmp_path: Path) -> None:
    """A base over a peg of the day before, with a position 87 mm too high: a number that no usual mistake gives."""
    work = Network()
    work.mark("CM1", 0, 0)
    work.mark("CM2", 700, -500)
    work.mark("TM1", 300, 500, known=False)
    work.session("one", ties=["CM1", "TM1"], checks=["CM2"], points=[(100, 100)], closing=["CM2"])
    work.session("two", over="TM1", antenna=1.6, checks=["CM2"], points=[(100, 200)], closing=["CM2"])
    setup = work.setup(1)
    work.job["session"][1]["setup"] = setup | {"ellipsoid_height": setup["ellipsoid_height"] + 0.087}
    (diagnosis,) = record_of(work.write(tmp_path), 3)["diagnoses"]
    first = diagnosis["explanations"][0]
    assert first["kind"] == "set-up unexplained"
    assert "the set-up over TM1 is off in height by (+0.000, +0.000, +0.087) m east, north, up" in first["text"]
