"""Corrections that the field applied, taken out first: the office gives what it would have given without them.

The field's correction is made here by closed forms: as one X, Y, Z vector, its east, north, up taken at the mark of the
session's first tie, or as a constant added to easting, northing and height of the grid. Control is revised in between.
"""

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from every import every
from issued import Issue, off_truth
from network_jobs import START, STEP, Network
from numpy.testing import assert_allclose
from numpy.typing import NDArray
from running import record_of, run_written
from simulate import CANTERBURY, CENTRAL_JAVA, ELLIPSOIDAL, Place
from simulate_plan import Floats, move, turn_enu

from pipeline.issue.record_types import Record

TENTH_MM = 1e-4
MANY = [(300 * k, 250 * k - 900) for k in range(8)] + [(9_000, -12_000), (20_000, 0)]
FIELD = np.array([1.413, -2.207, 7.519])
#: 2.8 degrees off the central meridian: grid north is 1.9 degrees off north, and 2.6 m turned by that are 90 mm off.
EDGE = replace(CANTERBURY, longitude=170.2, geoid=None, height_datum="ellipsoid")
WHEN = {"whole": -1, "from-the-first-point": 4, "half": 9, "last-point": 12}
#: Of the ten points, at steps 4 to 13, those before a switch among them and after it.
BETWEEN = {"half": "5 points lie before that time and 5", "last-point": "8 points lie before that time and 2"}


def job(place: Place = CANTERBURY) -> Network:
    """CM1 ties and CM2 checks at both ends; a second session hangs on a peg of the first."""
    work = Network(place)
    work.mark("CM1", 0, 0)
    work.mark("CM2", 700, -500)
    work.mark("TM1", 300, 500, known=False)
    work.session("one", ties=["CM1", "TM1"], checks=["CM2"], points=MANY, closing=["CM2", "CM1"])
    work.session("two", over="TM1", antenna=1.6, checks=["CM2"], points=MANY, closing=["CM2"])
    return work


def moment(step: int, session: int = 0) -> dt.datetime:
    """The time of a session's row: its first is number 1."""
    return START + session * dt.timedelta(days=1) + step * STEP


def since(work: Network, start: dt.datetime, session: int) -> NDArray[np.bool_]:
    begins = np.datetime64(start.replace(tzinfo=None), "ms")
    return np.asarray((work.rows["session"] == session) & (work.rows["time"] >= begins))


def carry(work: Network, chosen: NDArray[np.bool_], model: str, mark: str, times: float = 1.0) -> None:
    """Let the field add `FIELD` to the chosen rows, geocentric at a mark, or in the grid."""
    rows, place = work.rows, work.plan.place
    names = ("longitude", "latitude", "height")
    lon, lat, up = (rows[name][chosen] for name in names)
    if model == "geocentric":
        xyz = turn_enu(*work.marks.geographic(mark)[:2], times * FIELD)
        there = move(lon, lat, up, xyz, place.ellipsoid)
    else:
        east, north = place.projection.forward(lon, lat)
        new = place.projection.inverse(east + times * FIELD[0], north + times * FIELD[1])
        there = (*new, up - place.separation(lon, lat) + times * FIELD[2] + place.separation(*new))
    for name, values in zip(names, there, strict=True):
        rows[name] = rows[name].copy()
        rows[name][chosen] = values


def stated(start: dt.datetime, model: str) -> dict[str, Any]:
    east, north, up = (float(value) for value in FIELD)
    return {"from": start, "east": east, "north": north, "up": up, "model": model}


def revise(work: Network, by: tuple[float, float, float]) -> None:
    """Publish other coordinates of CM1."""
    for column, change in zip(list(work.register)[1:4], by, strict=True):
        work.register[column] = work.register[column].copy()
        work.register[column][0] += change


def positions(issue: Issue) -> Floats:
    return np.vstack([issue.points.xyz(), issue.check_marks.xyz()])


@pytest.mark.parametrize("model", ["geocentric", "grid"])
@pytest.mark.parametrize(
    ("place", "when"),
    [(CANTERBURY, when) for when in WHEN] + [(CENTRAL_JAVA, "half"), (ELLIPSOIDAL, "half"), (EDGE, "half")],
    ids=[*WHEN, "central-java", "ellipsoidal", "zone's-edge"],
)
def test_it_is_as_if_the_field_had_never_corrected(place: Place, when: str, model: str, tmp_path: Path) -> None:
    start = moment(WHEN[when])
    work = job(place)
    carry(work, since(work, start, 0), model, "CM1")
    work.job["session"][0]["field_shift"] = stated(start, model)
    issue = run_written(work.write(tmp_path))
    assert len(issue.points.rows) == 20
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)
    assert all(row["passed"] in (1, None) for row in every(issue.check_marks.rows))
    told = [note for note in issue.record["notes"] if "field" in note]
    assert len(told) == (when in BETWEEN)  # no mark beside the switch: the time stated alone says who carries it
    assert all(f"where {BETWEEN[when]} after it" in note for note in told)


@pytest.mark.parametrize("model", ["geocentric", "grid"])
@pytest.mark.parametrize(("when", "shift_model"), [("whole", "geocentric"), ("half", "geocentric"), ("half", "grid")])
def test_another_control_coordinate_gives_what_it_would_have_given(
    when: str, model: str, shift_model: str, tmp_path: Path
) -> None:
    """CM1 is published anew: corrected in the field or not, every coordinate comes out the same."""
    issues = []
    for corrected in (False, True):
        work = job()
        work.job["shift"] = {"model": shift_model}
        revise(work, (0.213, -0.345, 1.122))
        work.job["checks"] = {"horizontal": 2.0, "vertical": 3.0, "confirmed": ["tolerance"]}
        if corrected:
            start = moment(WHEN[when])
            carry(work, since(work, start, 0), model, "CM1")
            work.job["session"][0]["field_shift"] = stated(start, model)
        issues.append(run_written(work.write(tmp_path / str(corrected))))
    plain, again = issues
    assert plain.points.column("name") == again.points.column("name")
    assert_allclose(positions(again), positions(plain), rtol=0, atol=TENTH_MM)
    for name in ("hu95", "vu95"):
        assert_allclose(again.points.column(name), plain.points.column(name), rtol=0, atol=1e-6)
    assert again.points.column("proof") == plain.points.column("proof")


def test_the_field_stood_on_the_wrong_coordinate(tmp_path: Path) -> None:
    """The field corrected itself onto a coordinate 20 m off; its shift is what it says, which somebody confirms."""
    work = job()
    work.job.setdefault("checks", {})["confirmed"] = ["shift"]
    start = moment(-1)
    carry(work, since(work, start, 0), "geocentric", "CM1", times=3.0)
    work.job["session"][0]["field_shift"] = stated(start, "geocentric") | {
        axis: float(3 * value) for axis, value in zip(("east", "north", "up"), FIELD, strict=True)
    }
    issue = run_written(work.write(tmp_path))
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)


def test_both_sessions_each_from_its_own_time_on(tmp_path: Path) -> None:
    """The second has no tie: its geocentric shift is meant at the mark under its base."""
    work = job()
    for session, model, mark in ((0, "grid", "CM1"), (1, "geocentric", "TM1")):
        start = moment(7, session)
        carry(work, since(work, start, session), model, mark)
        work.job["session"][session]["field_shift"] = stated(start, model)
    issue = run_written(work.write(tmp_path))
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)


def test_the_first_tie_is_a_temporary_mark(tmp_path: Path) -> None:
    """Its place is known to metres before the adjustment: a millionth of a radian, 10 micrometres of the shift."""
    work = job()
    work.job["session"][0]["ties"].reverse()
    start = moment(-1)
    carry(work, since(work, start, 0), "geocentric", "TM1")
    work.job["session"][0]["field_shift"] = stated(start, "geocentric")
    issue = run_written(work.write(tmp_path))
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)


def test_without_taking_it_out_the_job_would_be_wrong(tmp_path: Path) -> None:
    """Half of the export has the correction and nobody says so: metres in the points, and the closing checks fail."""
    work = job()
    carry(work, since(work, moment(9), 0), "geocentric", "CM1")
    work.job["issue"] = {"hold_back": []}
    issue = run_written(work.write(tmp_path), 3)
    assert np.abs(off_truth(issue.points.rows, work.truth)).max() > 7
    failed = [row["point"] for row in issue.check_marks.rows if row["passed"] == 0]
    assert failed == ["one-CM2-2", "one-CM1-2"]


def doubts(record: Record) -> list[str]:
    """The notes about field shifts."""
    return [note for note in record["notes"] if "field shift" in note]


def cause_of(record: Record, point: str) -> str:
    """What the check at a point says of its cause."""
    (check,) = [check for check in record["checks"] if check["point"] == point]
    return str(check["cause"])


Plant = Callable[[Network, dt.datetime, str], None]


def missing(work: Network, start: dt.datetime, model: str) -> None:
    """The closing occupation of CM2 was not corrected in the field."""
    carry(work, since(work, start, 0) & ~work.row("one-CM2-2"), model, "CM1")


def twice(work: Network, start: dt.datetime, model: str) -> None:
    """The closing occupation of CM2 was corrected twice."""
    carry(work, since(work, start, 0), model, "CM1")
    carry(work, work.row("one-CM2-2"), model, "CM1")


def early(work: Network, start: dt.datetime, model: str) -> None:
    """The field corrected from the session's start on, earlier than the job file says."""
    carry(work, work.rows["session"] == 0, model, "CM1")


@pytest.mark.parametrize("model", ["geocentric", "grid"])
@pytest.mark.parametrize("place", [pytest.param(CANTERBURY, id="canterbury"), pytest.param(EDGE, id="zone's-edge")])
@pytest.mark.parametrize(("plant", "said"), [(missing, "does not carry"), (twice, "twice"), (early, "already")])
def test_a_field_shift_missing_or_carried_twice_is_told(
    plant: Plant, said: str, place: Place, model: str, tmp_path: Path
) -> None:
    """By two occupations of CM2, before and after the field shift's start, 7.5 m high and 2.6 m in plan."""
    work, start = job(place), moment(9)
    plant(work, start, model)
    work.job["session"][0]["field_shift"] = stated(start, model)
    record = record_of(work.write(tmp_path), 3)
    told = [note for note in doubts(record) if "CM2" in note]
    assert len(told) == 1
    assert "session one" in told[0] and "one-CM2-2" in told[0] and said in told[0]
    if plant is not early:
        how = "does not carry" if plant is missing else "carries"
        assert f"one-CM2-2 {how} the field shift" in cause_of(record, "one-CM2-2")


@pytest.mark.parametrize("plant", [missing, twice])
def test_a_temporary_mark_tells_it_as_well(plant: Plant, tmp_path: Path) -> None:
    """TM1, which no register has, is occupied before and after: nothing else can judge its second occupation."""
    work = job()
    work.occupy_later(0, "TM1")
    start = moment(9)
    carry(work, since(work, start, 0), "geocentric", "CM1")
    late = work.row("one-TM1-2")
    carry(work, late, "geocentric", "CM1", times=-1.0 if plant is missing else 1.0)
    work.job["session"][0]["field_shift"] = stated(start, "geocentric")
    told = doubts(record_of(work.write(tmp_path), 3))
    assert any("one-TM1-2" in note and "TM1" in note for note in told)


def test_a_mark_that_disagrees_by_something_else_is_no_field_shift(tmp_path: Path) -> None:
    work = job()
    start = moment(9)
    carry(work, since(work, start, 0), "geocentric", "CM1")
    work.displace(work.row("one-CM2-2"), FIELD * [1, 1, 0.5])
    work.job["session"][0]["field_shift"] = stated(start, "geocentric")
    assert [note for note in doubts(record_of(work.write(tmp_path), 3)) if "CM2" in note] == []


@pytest.mark.parametrize("place", [pytest.param(CANTERBURY, id="canterbury"), pytest.param(EDGE, id="zone's-edge")])
def test_an_occupation_against_the_other_base_is_read_as_such(place: Place, tmp_path: Path) -> None:
    """Two bases at the same hours; one closing check was observed against the other's."""
    work = Network(place)
    work.mark("CM1", 0, 0)
    work.mark("CM2", 700, -500)
    for name, shift in (("one", (1.9, -0.7, 3.1)), ("two", (-1.4, 1.2, -2.2))):
        work.session(name, ties=["CM1"], checks=["CM2"], points=MANY, closing=["CM2"], shift=shift, start=START)
    xyz = work.shifts[0] - work.shifts[1]
    east = turn_enu(*work.marks.geographic("CM2")[:2], np.eye(3))
    work.displace(work.row("one-CM2-2"), east @ xyz)
    cause = cause_of(record_of(work.write(tmp_path), 3), "one-CM2-2")
    assert "one-CM2-2 was observed against the base of session two" in cause
