"""Bases over marks, and sessions that hang on marks which no register has: truth to 0.1 mm without noise."""

import datetime as dt
from pathlib import Path

import numpy as np
import pytest
from every import every
from issued import Issue, off_truth, read_layer
from network_jobs import Network
from numpy.testing import assert_allclose
from running import record_of, replace_in, run_written
from simulate import CANTERBURY, CENTRAL_JAVA, ELLIPSOIDAL, Place

TENTH_MM = 1e-4
FAR = [(300, 200), (-6_000, 8_000), (20_000, 0)]
PLACES = [
    pytest.param(CANTERBURY, id="canterbury"),
    pytest.param(CENTRAL_JAVA, id="central-java"),
    pytest.param(ELLIPSOIDAL, id="ellipsoidal"),
]


def marked(place: Place = CANTERBURY) -> Network:
    work = Network(place)
    work.mark("CM1", 0, 0)
    work.mark("CM2", 700, -500)
    work.mark("TM1", 400, -300, known=False)
    work.mark("TM2", -250, 350, known=False)
    return work


def holds_truth(issue: Issue, work: Network, count: int) -> None:
    """All points are issued, at their true places; so are the marks of the adjustment."""
    assert len(issue.points.rows) == count
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)
    marks = read_layer(issue.package, "marks")
    known = np.array([work.marks.of(name) for name in marks.column("mark")])
    assert_allclose(marks.xyz(), known, rtol=0, atol=TENTH_MM)
    assert_allclose(marks.places, known, rtol=0, atol=TENTH_MM)
    shifts = np.array([[row[f"shift_{axis}"] for axis in "xyz"] for row in issue.sessions.rows])
    assert_allclose(shifts, work.shifts, rtol=0, atol=TENTH_MM)


@pytest.mark.parametrize("place", PLACES)
def test_yesterdays_temporary_mark_carries_todays_base(place: Place, tmp_path: Path) -> None:
    """Day 1 ties CM1 and leaves TM1; day 2 stands over TM1, broadcasts another wrong position, and ties nothing."""
    work = marked(place)
    work.session("day-1", ties=["CM1", "TM1"], points=FAR, checks=["CM2"], closing=["CM2"])
    work.session("day-2", over="TM1", antenna=1.612, points=FAR, checks=["CM2"], closing=["CM2"])
    issue = run_written(work.write(tmp_path))
    holds_truth(issue, work, 6)
    assert [row["verdict"] for row in issue.sessions.rows] == ["proven", "proven"]
    assert issue.sessions.rows[1]["ties"] == 0
    marks = read_layer(issue.package, "marks")
    assert [(row["mark"], row["status"], row["holds"], row["occupations"]) for row in marks.rows] == [
        ("CM1", "constrained", "3d", 1),
        ("TM1", "adjusted", None, 2),
    ]
    assert_allclose(issue.sessions.places[1], work.marks.of("TM1"), rtol=0, atol=TENTH_MM)
    assert issue.record["untied"] == []
    for said, row in every(zip(issue.record["marks"], marks.rows, strict=True)):
        numbers = {key: value for key, value in row.items() if isinstance(value, float)}
        assert said == row | {key: pytest.approx(value, rel=0, abs=1e-6) for key, value in numbers.items()}


def test_the_base_stands_over_the_temporary_mark_both_days(tmp_path: Path) -> None:
    """Day 1 stands over TM1 and ties on CM1; day 2 stands over it again, its antenna elsewhere, its broadcast too."""
    work = marked()
    work.session("day-1", ties=["CM1"], over="TM1", antenna=1.204, points=FAR)
    work.session("day-2", over="TM1", antenna=1.997, points=FAR)
    holds_truth(run_written(work.write(tmp_path)), work, 6)


def test_a_temporary_mark_before_the_day_that_coordinates_it(tmp_path: Path) -> None:
    """All sessions are adjusted at once: yesterday's points come right by what is tied today."""
    work = marked()
    work.session("day-1", over="TM1", antenna=1.204, points=FAR)
    work.session("day-2", ties=["TM1", "CM1"], points=FAR)
    holds_truth(run_written(work.write(tmp_path)), work, 6)


def test_rovers_on_one_unknown_point_tie_their_sessions(tmp_path: Path) -> None:
    """A chain of four sessions, the last three tied to the one before by a peg that nobody coordinated."""
    work = marked()
    work.mark("TM3", 5_000, 4_000, known=False)
    work.session("day-1", ties=["CM1", "TM1"], points=FAR)
    work.session("day-2", ties=["TM1", "TM2"], points=FAR)
    work.session("day-3", ties=["TM2", "TM3"], points=FAR)
    work.session("day-4", over="TM3", antenna=2.0, points=FAR)
    holds_truth(run_written(work.write(tmp_path)), work, 12)


@pytest.mark.parametrize("place", PLACES)
def test_the_antenna_height_is_taken_down_along_the_ellipsoid_normal(place: Place, tmp_path: Path) -> None:
    """A mast of 40 m: towards the earth's centre the mark would be off by 0.13 m at 44 degrees, by 0.03 m at 7."""
    work = marked(place)
    work.session("day-1", over="CM1", antenna=40.0, points=FAR, closing=["CM2"])
    issue = run_written(work.write(tmp_path))
    holds_truth(issue, work, 3)
    assert issue.check_marks.rows[0]["passed"] == 1


def test_no_antenna_height_means_the_position_is_the_marks(tmp_path: Path) -> None:
    work = marked()
    number = work.session("day-1", over="CM1", points=FAR)
    work.job["session"][number]["setup"] = {
        key: value for key, value in work.setup(number).items() if key != "antenna_height"
    }
    holds_truth(run_written(work.write(tmp_path)), work, 3)


def test_the_set_up_is_geographic_whatever_the_export_is_in(tmp_path: Path) -> None:
    """The export says easting and northing; the set-up says longitude and latitude in the same datum."""
    work = marked()
    work.session("day-1", over="CM1", antenna=1.5, points=FAR)
    rows, place = work.rows, work.plan.place
    rows["longitude"], rows["latitude"] = place.projection.forward(rows["longitude"], rows["latitude"])
    work.job["source"]["crs"] = place.grid
    path = work.write(tmp_path)
    replace_in(path, {'longitude = "Lon"': 'easting = "Lon"', 'latitude = "Lat"': 'northing = "Lat"'})
    holds_truth(run_written(path), work, 3)


def test_set_up_and_tie_share_the_error_by_their_weights(tmp_path: Path) -> None:
    """A base over CM1 and a rover on CM2 that disagree by 20 mm in height: the mean by their stated uncertainties.

    Set-up: 3 mm each way; rover: 7 mm; register: 5.1 mm from vu95 = 10 mm. (Centring is horizontal for a pole.)
    """
    work = Network()
    work.mark("CM1", 0, 0, vu95=0.010)
    work.mark("CM2", 700, -500, vu95=0.010)
    work.session("day-1", over="CM1", antenna=1.5, ties=["CM2"], points=[(350, -250)])
    work.displace(work.row("day-1-CM2-1"), [0.0, 0.0, 0.020])
    issue = run_written(work.write(tmp_path))
    register = (0.010 / 1.959963984540054) ** 2
    setup, rover = 0.003**2 + register, 0.007**2 + register
    (row,) = issue.points.rows
    off = row["height"] - work.truth.of("day-1-1")[2]
    assert off == pytest.approx(-0.020 * setup / (setup + rover), rel=0, abs=TENTH_MM)


def test_a_base_alone_on_a_mark_that_nothing_else_occupies_stays_untied(tmp_path: Path) -> None:
    work = marked()
    work.session("day-1", ties=["CM1"], points=FAR, checks=["CM2"], closing=["CM2"])
    work.session("day-2", over="TM1", antenna=1.2, points=FAR)
    record = record_of(work.write(tmp_path), 3)
    assert [one["verdict"] for one in record["sessions"]] == ["proven", "untied"]
    assert record["rows"]["by_reason"] == {"untied": len(FAR)}
    assert any("is TM1 meant to be CM1?" in note for note in record["notes"])


def test_sessions_may_be_told_in_any_order_and_overlap(tmp_path: Path) -> None:
    """Three bases at the same hours, one over the mark that another one ties."""
    work = marked()
    begins = dt.datetime(2026, 3, 1, 19, 30, tzinfo=dt.UTC)
    work.session("c", over="TM2", antenna=1.7, points=FAR, start=begins)
    work.session("b", ties=["TM1", "TM2"], points=FAR, start=begins)
    work.session("a", ties=["CM1"], over="TM1", antenna=1.1, points=FAR, start=begins)
    issue = run_written(work.write(tmp_path))
    assert len(issue.points.rows) == 9
    assert_allclose(off_truth(issue.points.rows, work.truth), 0, rtol=0, atol=TENTH_MM)


@pytest.mark.parametrize("place", [PLACES[0], PLACES[1]])
def test_a_mark_of_height_alone_is_reduced_for_the_geoid_where_it_stands(place: Place, tmp_path: Path) -> None:
    """Canterbury's geoid rises 42 mm a kilometre northwards: 0.4 mm over the 9 m that the raw position is off.

    That is a shift beyond the limits, and so in doubt.
    """
    work = Network(place)
    work.mark("PO1", 0, 0, holds="position")
    work.mark("HE1", 900, 400, holds="height")
    work.session("day-1", ties=["PO1", "HE1"], points=FAR, shift=(-9, -9, 3))
    holds_truth(run_written(work.write(tmp_path), code=3), work, 3)
