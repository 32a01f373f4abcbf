"""A closing check that was forgotten in the list, after the base was knocked: told by its name, its code or its kin."""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
from closed_forms import turn_enu
from running import record_of
from simulate import Plan, Simulation, simulate

#: A tie on CM1 and a check at the opening, twenty points, a check on CM3 at the close.
DAY = Plan(sessions=1, points=20, ties=1, checks=2, marks=4, noise=False)
KNOCK = (0.61, -0.52, 0.02)


def day(
    name: str, code: str, apart: Sequence[float], knocked: bool, like: str = "{mark}-1-AM", own: str = "CTL"
) -> Simulation:
    """The closing occupation is called and coded as said and lies ``apart`` from CM3; no list names it.

    The opening ones are called ``like`` and coded ``own``. If the base was knocked, the late points are off as well.
    """
    job = simulate(DAY)
    for column in ("name", "code"):
        job.rows[column] = job.rows[column].astype("U24")
    session = job.job["session"][0]
    session["checks"] = [one for one in session["checks"] if one["point"] != "S01-C2"]
    for number, one in enumerate([*session["ties"], *session["checks"]], 1):
        called = like.format(mark=one["mark"], number=number)
        row = job.rows["name"] == one["point"]
        one["point"], job.rows["name"][row], job.rows["code"][row] = called, called, own
    closing = job.rows["name"] == "S01-C2"
    moved = (job.rows["time"] >= np.sort(job.rows["time"])[12]) if knocked else closing
    enu = np.tile(apart, (int(moved.sum()), 1))
    job.displace(moved, turn_enu(job.rows["longitude"][moved], job.rows["latitude"][moved], enu))
    job.rows["name"][closing], job.rows["code"][closing] = name, code
    return job


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ("CM3-1-PM", "CTL"), ("CM3-1-PM", "DP"), ("CM3-1-PM", ""), ("CM3-EVE", "CTL"), ("CM3-LAST", "CTL"),
        ("CM3-FINAL", ""), ("CM3-MID", "CTL"), ("CM3_1710", "CTL"), ("CM3 abend", "CTL"), ("CM-03 zuletzt", "CTL"),
        ("CM3EVE", "CTL"), ("EVE-CM3", "CTL"), ("CM3 wie vorher", "CTL"), ("last one", "CTL"), ("77", "CTL"),
    ],
)  # fmt: skip
def test_a_forgotten_closing_check_takes_the_proof_away(name: str, code: str, tmp_path: Path) -> None:
    """The knock itself is what is told: the root of the sum of its squares in plan, 0.80 m."""
    record = record_of(day(name, code, KNOCK, True).write(tmp_path), 3)
    (doubt,) = record["doubts"]
    assert doubt["kind"] == "unanswered-check" and record["verdict"] == "unchecked"
    assert f"{name} (rover001.csv:24)" in doubt["what"] and "CM3" in doubt["what"] and "0.80 m away" in doubt["what"]
    assert record["rows"]["by_reason"] == {"suspect": 1} and record["rows"]["points"] == 20


@pytest.mark.parametrize(("name", "like"), [("C9", "C{number}"), ("J7.last", "J{number}.first")])
def test_a_name_made_like_those_of_the_listed_ones(name: str, like: str, tmp_path: Path) -> None:
    record = record_of(day(name, "DP", KNOCK, True, like, "GPS").write(tmp_path), 3)
    (doubt,) = record["doubts"]
    assert "its name follows the pattern of the ties and checks in the job file" in doubt["what"]
    assert "0.80 m away" in doubt["what"]


def test_a_code_that_the_listed_ones_alone_have(tmp_path: Path) -> None:
    """No code that is known to be one of checks, and a name that says nothing."""
    record = record_of(day("x1", "PP", KNOCK, True, own="PP").write(tmp_path), 3)
    (doubt,) = record["doubts"]
    assert "its code PP is used almost only for ties and checks" in doubt["what"] and "0.80 m away" in doubt["what"]


@pytest.mark.parametrize("name", ["TBM1", "101"])
def test_a_new_mark_beside_one_whose_day_is_closed_is_told(name: str, tmp_path: Path) -> None:
    """It has the occupations' code, and a check comes after it: that tells whether the base stood still."""
    job = day(name, "CTL", KNOCK, False)
    new, last = job.rows["name"] == name, job.rows["name"] == job.job["session"][0]["checks"][-1]["point"]
    job.rows["time"][[*np.flatnonzero(new), *np.flatnonzero(last)]] = job.rows["time"][
        [*np.flatnonzero(last), *np.flatnonzero(new)]
    ]
    record = record_of(job.write(tmp_path))
    assert record["doubts"] == [] and record["rows"]["held_back"] == 0
    assert any(name in note and "its code CTL is used almost only" in note for note in record["notes"])


@pytest.mark.parametrize(
    ("name", "code", "apart"),
    [
        ("CM3-N", "WIT", (0.0, 2.0, -0.1)), ("CM3-OFF1", "OFF", (2.0, 0.0, -0.1)), ("CM3-OFF1", "CTL", (2.0, 0.0, 0.1)),
        ("CM3 RM1", "CTL", (3.0, 0.0, 0.1)), ("WIT1", "CTL", (2.0, 0.0, 0.1)), ("CM3-ECC", "CTL", (3.0, 1.0, 0.0)),
        ("CM3-FENCE-1", "FENCE", (2.0, 0.5, 0.1)), ("CM3-FENCE-1", "FENCE", (60.0, 0.5, 0.1)),
        ("CM3-LAST", "FENCE", (30.0, 0.0, 0.0)), ("CM3 TREE", "TREE", (3.0, 0.0, 0.2)), ("TM1", "PEG", (3.0, 0.0, 0.2)),
        ("1001", "DP", (0.9, 0.0, 0.0)), ("S01-99999", "DP", (0.9, 0.0, 0.0)), ("CM31-2", "DP", (0.9, 0.0, 0.0)),
        ("CM3-1-PM", "CTL", (0.01, 0.0, 0.01)), ("x1", "CTL", (0.0, 0.01, 0.0)),
    ],
)  # fmt: skip
def test_what_lies_beside_a_mark_on_purpose_is_a_point(
    name: str, code: str, apart: tuple[float, float, float], tmp_path: Path
) -> None:
    record = record_of(day(name, code, apart, False).write(tmp_path))
    assert record["doubts"] == [] and record["rows"]["points"] == 21


@pytest.mark.parametrize("own", ["", "DP"])
def test_points_that_share_names_and_codes_with_the_listed_ones_are_points(own: str, tmp_path: Path) -> None:
    """All are numbered alike and have one code, and two lie by a mark."""
    job = day("P21", own, (1.2, 0.4, 0.0), False, "P{number}", own)
    points = np.flatnonzero(job.rows["kind"] == "point")
    job.rows["code"][points] = own
    job.rows["name"][points] = [f"P{number}" for number in range(101, 101 + len(points))]
    record = record_of(job.write(tmp_path))
    assert record["doubts"] == [] and record["rows"]["points"] == 21


def test_many_points_numbered_from_a_mark_are_points(tmp_path: Path) -> None:
    job = day("CM3-020", "DP", (1.2, 0.4, 0.0), False)
    points = np.flatnonzero(job.rows["kind"] == "point")
    job.rows["name"][points] = [f"CM3-{number:03d}" for number in range(len(points))]
    assert record_of(job.write(tmp_path))["doubts"] == []


ECCENTRIC = (3.0, 1.0, -0.1)


def eccentric(third: str | None) -> Simulation:
    """All occupations stand on CM marks; the job says that those of the list were on marks 3.2 m away from them.

    So all points are off by the same vector, and so is a third occupation that no list names.
    """
    job = day(third or "P9", "CTL" if third else "DP", (0.0, 0.0, 0.0), False, "{mark}-AM")
    if third is None:
        job.keep(job.rows["name"] != "P9")
    session = job.job["session"][0]
    at = list(job.register["mark"])
    listed = [*session["ties"], *session["checks"]]
    for one in listed:
        number, mark = at.index(one["mark"]), one["mark"].replace("CM", "CM0")
        one["mark"] = mark
        for column, values in job.register.items():
            job.register[column] = np.append(values, values[number : number + 1])
        job.register["mark"] = np.append(job.register["mark"][:-1].astype("U8"), mark)
        for column, by in zip(("easting", "northing", "height"), ECCENTRIC, strict=True):
            job.register[column][-1] += by
    return job


def test_readings_named_after_the_marks_beside_theirs_are_told(tmp_path: Path) -> None:
    """Nothing else speaks: 3.16 m is the length in plan of what lies between the marks."""
    record = record_of(eccentric(None).write(tmp_path))
    (note,) = [note for note in record["notes"] if "is on CM01 according to the job" in note]
    assert "CM1-AM is on CM01 according to the job, but named after CM1, 3.16 m away" in note and record["doubts"] == []


@pytest.mark.parametrize("third", ["CM3-MID", "CM3-REF", "CM3 stone"])
def test_a_third_reading_off_its_mark_by_the_same_vector_takes_the_proof_away(third: str, tmp_path: Path) -> None:
    record = record_of(eccentric(third).write(tmp_path), 3)
    (doubt,) = record["doubts"]
    assert doubt["kind"] == "unanswered-check" and "named after CM1, 3.16 m away" in doubt["what"]
    assert f"{third} (" in doubt["what"] and "is off it by the same vector, 3.16 m away" in doubt["what"]
