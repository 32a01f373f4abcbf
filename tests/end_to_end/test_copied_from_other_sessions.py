"""Readings that were copied into another session, whose base stood elsewhere: they are off by what the shifts differ.

The simulator gives every session a shift of its own, of a metre and more in plan and several in height: what one has
raw is another place in the other. So a reading copied from one into the other lies off its truth by the difference.
"""

import datetime as dt
import re
from pathlib import Path

import numpy as np
import pytest
from issued import Issue
from repeated_days import days
from running import published_record, run_simulated
from simulate import Plan, Simulation, simulate

POSITION = ("longitude", "latitude", "height")


def job(sessions: int = 2, degrees: int = 9, metres: int = 4, **plan: object) -> Simulation:
    """Sessions with their own bases, written with so many decimals."""
    made = simulate(Plan(sessions=sessions, points=20, ties=1, checks=3, marks=4, reach=400.0, **plan))  # type: ignore[arg-type]
    for name, decimals in zip(POSITION, (degrees, degrees, metres), strict=True):
        made.rows[name] = np.round(made.rows[name], decimals)
    return made


def copied(
    made: Simulation, many: int, hours: int | None = None, *, source: int = 0, to: int = 1, name: str = ""
) -> np.ndarray:
    """Append copies of a session's first points to another, so many hours later or else between its own; their rows."""
    rows = made.rows
    points = np.flatnonzero((rows["session"] == source) & (rows["kind"] == "point"))[:many]
    there = np.flatnonzero((rows["session"] == to) & (rows["kind"] == "point"))[3 : 3 + many]
    made.keep(np.append(np.arange(len(rows["name"])), points))
    rows, new = made.rows, len(rows["name"]) + np.arange(many)
    if hours is None:
        rows["time"][new] = rows["time"][there] + np.timedelta64(2500, "ms")
    else:
        rows["time"][new] += np.timedelta64(hours, "h")
    rows["base"][new], rows["session"][new] = rows["base"][there[0]], to
    if name:
        rows["name"][new] = [f"{name}{number}" for number in range(many)]
    return new


def told(issue: Issue) -> list[str]:
    """Return what the doubts say of copies, which takes the proof of both sessions."""
    found = [one for one in issue.record["doubts"] if one["kind"] == "base" and "to the last digit" in one["what"]]
    return [f"{', '.join(one['sessions'])}: {one['what']}" for one in found]


@pytest.mark.parametrize(
    ("form", "many", "name"),
    [("csv", 7, ""), ("csv", 7, "K"), ("csv", 1, ""), ("csv", 1, "K"), ("geojson", 7, ""), ("gpkg", 7, "")],
)
def test_points_of_another_session_are_doubted(form: str, many: int, name: str, tmp_path: Path) -> None:
    made = job()
    copied(made, many, name=name)
    issue = run_simulated(made, tmp_path, form, code=3)
    (what,) = told(issue)
    assert what.startswith("session-01, session-02: ") and f"session-02: {many} reading" in what
    assert {row["proof"] for row in issue.points.rows} == {"unchecked"}


@pytest.mark.parametrize(("name", "code"), [("BASE", "EDGE"), ("{}", "EDGE"), ("ref", "EDGE"), ("BS", "BASE")])
def test_the_base_itself_may_be_listed_every_day(name: str, code: str, tmp_path: Path) -> None:
    """Controllers write a row of the base, with the position that it broadcasts, wherever it stands in truth."""
    made = job()
    row = copied(made, 1, name="K")[0]
    made.rows["name"][row] = name.format(made.rows["base"][row])
    (twin,) = np.flatnonzero(made.rows["longitude"] == made.rows["longitude"][row])[:1]
    made.rows["name"][twin] = made.rows["name"][row]
    made.rows["code"][[row, twin]] = code
    assert not told(run_simulated(made, tmp_path))


@pytest.mark.parametrize("repeats", ["all", "last", "mean"])
def test_whatever_is_issued_of_points_measured_twice(repeats: str, tmp_path: Path) -> None:
    made = job(base_horizontal=0.3, base_vertical=0.3)
    made.job["issue"] = {"repeats": repeats}
    copied(made, 7)
    assert len(told(run_simulated(made, tmp_path, code=3))) == 1


@pytest.mark.parametrize("hours", [24, 48])
def test_the_times_may_be_those_of_another_date(hours: int, tmp_path: Path) -> None:
    made = job(3)
    copied(made, 7, hours, to=hours // 24)
    (what,) = told(run_simulated(made, tmp_path, code=3))
    assert f", {hours} h later" in what and what.startswith(f"session-01, session-0{hours // 24 + 1}: ")


def test_of_three_sessions_the_two_are_named_that_have_them(tmp_path: Path) -> None:
    made = job(3)
    copied(made, 5, to=2)
    (what,) = told(run_simulated(made, tmp_path, code=3))
    assert what.startswith("session-01, session-03: ")


def test_digits_that_chance_may_give_say_nothing(tmp_path: Path) -> None:
    """A single position to the decimetre and more agrees by chance with one nearby."""
    made = job(degrees=6, metres=1)
    copied(made, 1, name="K")
    assert told(run_simulated(made, tmp_path, code=3)) == []


def test_a_base_that_was_set_as_before_measures_places_again(tmp_path: Path) -> None:
    """Without noise the same digits: both sessions have one shift, so that both readings are right."""
    made = job(noise=False)
    xyz = made.shifts[1] - made.shifts[0]
    made.displace(made.rows["session"] == 1, xyz)
    for name, decimals in zip(POSITION, (9, 9, 4), strict=True):
        made.rows[name] = np.round(made.rows[name], decimals)
    copied(made, 7)
    made.job["checks"] = {"confirmed": ["datum"]}  # that two bases have one shift is told
    assert told(run_simulated(made, tmp_path)) == []


def test_rows_of_an_earlier_day_at_their_own_times_are_duplicates(tmp_path: Path) -> None:
    made = job()
    first = np.flatnonzero(made.rows["session"] == 0)
    made.keep(np.append(np.arange(len(made.rows["name"])), first))
    issue = run_simulated(made, tmp_path)
    assert told(issue) == [] and len(issue.held_back.rows) == len(first)


def test_a_few_rows_by_another_clock_may_have_been_copied(tmp_path: Path) -> None:
    """All as much later, by whole hours: of which of them is right the numbers of rows of their files say nothing."""
    made, earlier = job(), dt.timedelta(hours=12)
    rows, session = made.rows, made.job["session"][1]
    rows["time"] = rows["time"] - np.where(rows["session"] == 1, np.timedelta64(12, "h"), np.timedelta64(0, "h"))
    session["start"], session["end"] = session["start"] - earlier, session["end"] - earlier
    copied(made, 7, 12)
    issue = run_simulated(made, tmp_path, code=3)
    assert len(told(issue)) == 1 and set(issue.reasons().values()) == {"duplicate"}


@pytest.mark.parametrize(("many", "code"), [(7, 3), (0, 0)])
def test_copies_with_other_digits_agree_raw_though_the_shifts_do_not(many: int, code: int, tmp_path: Path) -> None:
    made = job()
    if many:
        new, rng = copied(made, many), np.random.default_rng(1)
        for name, off in zip(POSITION, (4e-9, 4e-9, 4e-4), strict=True):
            made.rows[name][new] += rng.uniform(0.5 * off, off, many)
    issue = run_simulated(made, tmp_path, code=code)
    assert told(issue) == []
    doubts = [one for one in issue.record["doubts"] if one["kind"] == "base"]
    assert [one["sessions"] for one in doubts] == ([["session-01", "session-02"]] if many else [])


def test_points_measured_again_on_purpose_are_left_in_peace(tmp_path: Path) -> None:
    record = published_record(days(3, 12, worse=1.0).write(tmp_path))
    assert not record["doubts"] and not [note for note in record["notes"] if "same vector" in note]


def test_a_day_whose_points_are_all_off_by_one_vector_is_told(tmp_path: Path) -> None:
    """The pole was longer than the controller was told, but for the occupations: no check can tell."""
    made = days(2, 12, worse=1.0)
    rows = made.rows
    day = (rows["session"] == 1) & np.array([str(name).startswith("P") for name in rows["name"]])
    rows["height"] = rows["height"] + np.where(day, 0.2, 0.0)
    record = published_record(made.write(tmp_path))
    (note,) = [note for note in record["notes"] if "same vector" in note]
    up = float(re.search(r"([+-][\d.]+) m up", note)[1])  # type: ignore[index]
    assert note.startswith("sessions d1 and d2: 12 pairs") and up == pytest.approx(0.2, abs=0.03)
    assert not [note for note in record["notes"] if "set scale" in note]
