"""Points on marks of the register that no list names: told with the lines that name them, never drawn in silence.

The truth of every reading is the simulator's, so that how far it lies from a mark is what was planted.
"""

from datetime import UTC
from pathlib import Path

import numpy as np
import pytest
from closed_forms import turn_enu
from issued import newest_issue, read_layer
from running import replace_in, run_written
from simulate import Plan, Simulation, simulate
from simulate_plan import to_geocentric, to_geographic

from pipeline import check_job

#: A tie and a check at the opening, twenty points, a check on CM3 at the close.
DAY = Plan(sessions=2, points=20, ties=1, checks=2, marks=4, noise=False)


def stand(
    job: Simulation, number: int, mark: str, off: tuple[float, float, float], name: str = "", code: str = "P"
) -> None:
    """Put the point ``number`` of the job so far east, north and up of a mark; by name and code it is what is said."""
    row, ellipsoid = np.flatnonzero(job.rows["kind"] == "point")[number], job.plan.place.ellipsoid
    longitude, latitude, height = job.marks.geographic(mark)
    true = np.ravel(to_geocentric(longitude, latitude, height, ellipsoid)) + turn_enu(
        longitude, latitude, np.array(off)
    )
    raw = to_geographic(true - job.shifts[job.rows["session"][row]], ellipsoid)
    for column, value in zip(("longitude", "latitude", "height"), raw, strict=True):
        job.rows[column] = job.rows[column].copy()
        job.rows[column][row] = float(np.ravel(value)[0])
    for column, text in (("name", name), ("code", code)):
        job.rows[column] = job.rows[column].astype("U24")
        job.rows[column][row] = text or job.rows[column][row]


def told(path: Path) -> list[str]:
    """What `check` says of points on marks, which is what the run says; of what is untied or switched it says more."""
    warnings = [one for one in check_job(path).warnings if "mark" in one]
    return [one for one in warnings if not one.startswith("untied in ") and "field shift was switched on" not in one]


def test_the_story_of_a_day_on_which_nobody_listed_what_was_read(tmp_path: Path) -> None:
    """A kerb beside CM3, a reading on CM4 by a running number, one with a wrong pole; their lines, pasted, check."""
    job = simulate(DAY)
    stand(job, 3, "CM3", (0.31, 0.10, 0.02), code="KERB")
    stand(job, 9, "CM4", (0.004, 0.003, 0.002), name="1043")
    stand(job, 12, "CM4", (0.002, 0.0, 1.8), name="1044")
    stand(job, 15, "CM4", (0.0, 0.58, 0.0), name="1045")
    path = job.write(tmp_path)
    (note,) = told(path)
    # hypot(0.31, 0.10) = 0.326, hypot(0.004, 0.003) = 0.005; 0.58 m is beyond the radius of 0.5 m
    assert note.startswith(
        "1043 (rover001.csv:13): code P, 0.01 m from the mark CM4 (east +0.004, north +0.003, height"
    )
    assert "code KERB, 0.33 m from the mark CM3" in note and "height +1.800" in note and "1045" not in note
    line = '{ point = "1043", mark = "CM4" }, { point = "1044", mark = "CM4" }'
    assert 'add { point = "1043", mark = "CM4" }, ' in note and "to the checks of session session-01" in note
    issue = run_written(path)
    assert note in issue.record["notes"] and issue.points.one(name="1043")["proof"] == "bracketed"

    replace_in(path, {'checks = [{ point = "S01-C1"': f'checks = [{line}, {{ point = "S01-C1"'})
    assert "1043" not in told(path)[0]
    run_written(path, 3)
    again = newest_issue(path.parent / "out")  # the wrong pole takes points away: it waits to be released
    passed = {row["point"]: row["passed"] for row in again.check_marks.rows}
    assert passed["1043"] == 1 and passed["1044"] == 0


def test_names_of_marks_and_a_session_without_ties(tmp_path: Path) -> None:
    job = simulate(DAY)
    stand(job, 3, "CM4", (0.0, 0.0, 0.0), name="cm 4")
    stand(job, 5, "CM4", (60.0, 0.0, 0.0), name="CM4")
    stand(job, 30, "CM1", (0.0, 0.0, 0.0), name="CM1-2")
    job.job["session"][1]["ties"] = []
    first, untied = told(job.write(tmp_path))
    assert first.startswith("cm 4 (rover001.csv:7): named after the mark CM4 and on it")
    assert 'add { point = "cm 4", mark = "CM4" } to the checks of session session-01' in first
    assert "CM4 (rover001.csv:9): it has the name of the mark CM4, which is 59.9" in first  # 60 m by the grid's scale
    assert 'write ties = [{ point = "CM1-2", mark = "CM1" }] in session session-02' in untied
    # sessions kept in a table have cells instead of lines
    first, untied = told(job.write(tmp_path / "table", session_file=True))
    assert "add cm 4=CM4 in the column checks of session session-01" in first
    assert "write CM1-2=CM1 in the column ties of session session-02" in untied


def test_near_only_by_the_shift_and_many_of_them(tmp_path: Path) -> None:
    """Raw readings lie metres off, and after a time they carry the shift already; what lies there is told, in brief."""
    job = simulate(DAY)
    for number in range(15):
        stand(job, number, "CM3", (0.01 * number, 0.0, 0.0))
    start = job.rows["time"][np.flatnonzero(job.rows["kind"] == "point")[8]].item()
    job.correct_in_field(0, start.replace(tzinfo=UTC), *job.shift_enu(0))
    enu = [round(float(value), 6) for value in job.shift_enu(0)]
    job.job["session"][0]["field_shift"] = {
        "from": start.replace(tzinfo=UTC),
        **dict(zip(("east", "north", "up"), enu, strict=True)),
    }
    (note,) = told(job.write(tmp_path))
    assert "and 12 more in session session-01" in note and len(note) < 1000
    assert '{ point = "S01-00001", mark = "CM3" }, { point = "S01-00002", mark = "CM3" }' in note


def test_a_reading_without_a_name_and_one_that_is_held_back(tmp_path: Path) -> None:
    job = simulate(DAY)
    stand(job, 3, "CM3", (0.0, 0.0, 0.0))
    job.rows["name"][np.flatnonzero(job.rows["kind"] == "point")[3]] = ""
    job.job["issue"] = {"hold_back": ["unclosed"]}
    last = job.rows["name"] == "S01-C2"
    job.keep(~last)
    job.job["session"][0]["checks"] = job.job["session"][0]["checks"][:1]
    path = job.write(tmp_path)
    (note,) = told(path)
    assert note.startswith("a reading (rover001.csv:7)") and "give the reading a name of its own" in note
    issue = run_written(path, 3)  # no point of the session is issued
    assert note in issue.record["notes"] and not issue.record["doubts"]
    assert len(read_layer(issue.package, "held_back").rows) == 20


@pytest.mark.parametrize("seed", range(4))
def test_clean_days_are_silent(seed: int, tmp_path: Path) -> None:
    path = simulate(Plan(sessions=3, points=120, ties=2, checks=2, marks=6, seed=seed)).write(tmp_path)
    assert not told(path)
