"""`[shift] model = "grid"`: a constant in easting, northing and height, as the work was done by hand.

Known minus raw at the tie, added to every raw coordinate in the grid; the record says how far the geocentric shift lies
from it. For a height shift dh that is dh / R a metre in plan: 1.25 mm a kilometre for 8 m.
"""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from every import every
from issued import Issue
from network_jobs import Network
from numpy.testing import assert_allclose
from running import published_record, run_written
from simulate import CANTERBURY, CENTRAL_JAVA, ELLIPSOIDAL, Place
from simulate_plan import Floats

TENTH_MM = 1e-4
EARTH = 6_371_000.0
SOME = [(300, 200), (-6_000, 8_000), (0, 20_000), (15_000, -9_000)]
#: Away from the central meridian, where the convergence is two degrees and the scale a millimetre in a metre's shift.
EDGE = replace(CANTERBURY, longitude=170.2, geoid=None, height_datum="ellipsoid")
PLACES = [
    pytest.param(CANTERBURY, id="canterbury"),
    pytest.param(CENTRAL_JAVA, id="central-java"),
    pytest.param(ELLIPSOIDAL, id="ellipsoidal"),
    pytest.param(EDGE, id="zone's-edge"),
]


def raw_grid(work: Network, folder: Path) -> dict[str, Floats]:
    """The printed export in grid and height datum, by closed forms."""
    place, found = work.plan.place, {}
    with (folder / "rover001.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            lon, lat, up = (float(row[name]) for name in ("Lon", "Lat", "EllHt"))
            east, north = place.projection.forward(lon, lat)
            found[row["Point"]] = np.array([float(east), float(north), up - float(place.separation(lon, lat))])
    return found


def job(place: Place = CANTERBURY, shift: tuple[float, float, float] | None = None) -> Network:
    work = Network(place)
    work.job["shift"] = {"model": "grid"}
    work.mark("CM1", 0, 0)
    work.mark("CM2", 700, -500)
    work.session("s", ties=["CM1"], points=SOME, closing=["CM2"], shift=shift)
    return work


def issued(issue: Issue) -> dict[str, Floats]:
    names = issue.points.column("name") + issue.check_marks.column("point")
    return dict(zip(names, np.vstack([issue.points.xyz(), issue.check_marks.xyz()]), strict=True))


@pytest.mark.parametrize("place", PLACES)
def test_known_minus_raw_at_the_tie_is_added_everywhere(place: Place, tmp_path: Path) -> None:
    """Also with a register that disagrees with the truth: it is the register's coordinate that counts."""
    work = job(place)
    for column, change in zip(list(work.register)[1:4], (0.31, -0.22, 0.17), strict=True):
        work.register[column][0] += change
    work.job["checks"] = {"horizontal": 1.0, "vertical": 1.0}
    found, raw = issued(run_written(work.write(tmp_path))), raw_grid(work, tmp_path)
    known = np.array([float(column[0]) for column in list(work.register.values())[1:4]])
    added = known - raw["s-CM1-1"]
    assert set(found) == set(raw)
    for name, xyz in every(found.items()):
        assert_allclose(xyz, raw[name] + added, rtol=0, atol=TENTH_MM)


@pytest.mark.parametrize("height", [8.0, -3.0])
def test_how_far_the_models_differ_at_the_farthest_point(height: float, tmp_path: Path) -> None:
    """8 m at 20 km: 25 mm in plan; in height 0.03 mm (dh d²/2R², the curvature of the ground)."""
    work = job(ELLIPSOIDAL, (0.0, 0.0, height))
    record = published_record(work.write(tmp_path))
    told = record["shift_model"]
    assert told["model"] == "grid"
    (farthest,) = told["farthest"]
    assert (farthest["session"], farthest["point"]) == ("s", "s-3")
    tie, at = np.array(work.marks.of("CM1")), np.array(work.truth.of("s-3"))
    metres = np.hypot(*(at - tie)[:2])
    assert farthest["horizontal"] == pytest.approx(abs(height) * metres / EARTH, rel=3e-3)
    if height == 8.0:
        assert farthest["horizontal"] * 1e3 / (metres / 1e3) == pytest.approx(1.25, abs=0.01)
    assert abs(farthest["vertical"]) < abs(height) * metres**2 / (2 * EARTH**2) + 1e-4


def test_it_is_the_difference_of_the_two_issues(tmp_path: Path) -> None:
    """Against the same job run with the geocentric model, point by point."""
    work = job(shift=(1.1, -2.0, 6.3))
    grid = run_written(work.write(tmp_path / "grid"))
    work.job["shift"] = {"model": "geocentric"}
    geocentric = run_written(work.write(tmp_path / "geocentric"))
    assert geocentric.record["shift_model"] == {"model": "geocentric", "farthest": []}
    apart = grid.points.xyz() - geocentric.points.xyz()
    plan = np.hypot(apart[:, 0], apart[:, 1])
    (farthest,) = grid.record["shift_model"]["farthest"]
    assert farthest["point"] == grid.points.column("name")[int(np.argmax(plan))]
    assert farthest["horizontal"] == pytest.approx(plan.max(), rel=0, abs=2e-6)
    assert farthest["vertical"] == pytest.approx(apart[int(np.argmax(plan)), 2], rel=0, abs=2e-6)
    assert_allclose(grid.points.column("hu95"), geocentric.points.column("hu95"), rtol=1e-6, atol=0)


def test_each_session_has_its_own_and_says_so(tmp_path: Path) -> None:
    work = job(shift=(0.2, 0.1, 8.0))
    work.mark("TM1", 5_000, 0, known=False)
    work.session("t", ties=["CM1", "TM1"], points=SOME[:2], shift=(-1.0, 0.4, -4.0))
    work.session("u", over="TM1", antenna=1.3, points=SOME, shift=(0.7, 0.3, 2.0))
    issue = run_written(work.write(tmp_path))
    raw, found = raw_grid(work, tmp_path), issued(issue)
    for name in ("s", "t", "u"):
        added = [found[point] - raw[point] for point in found if point.startswith(f"{name}-")]
        assert_allclose(added, np.tile(added[0], (len(added), 1)), rtol=0, atol=TENTH_MM)
    told = {row["session"]: row for row in issue.record["shift_model"]["farthest"]}
    assert {name: row["point"] for name, row in told.items()} == {"s": "s-3", "t": "t-2", "u": "u-3"}
    tm1 = found["t-TM1-1"]
    metres = np.hypot(*(found["u-3"] - tm1)[:2])
    # the base over TM1 is where the third session's models agree: up to the horizontal shift's own bend
    assert told["u"]["horizontal"] == pytest.approx(2.0 * metres / EARTH, rel=0.2)


def test_two_ties_share_the_constant(tmp_path: Path) -> None:
    """With two ties it is the mean of what the geocentric shift adds at both, so that neither is preferred."""
    work = Network(ELLIPSOIDAL)
    work.job["shift"] = {"model": "grid"}
    work.mark("CM1", -4_000, 0)
    work.mark("CM2", 4_000, 0)
    work.session("s", ties=["CM1", "CM2"], points=[(0, 0), (8_000, 0)], shift=(0.0, 0.0, 8.0))
    issue = run_written(work.write(tmp_path))
    east = {row["point"]: row["d_east"] for row in issue.check_marks.rows}
    bend = 8.0 * 4_000 / EARTH
    assert east["s-CM1-1"] == pytest.approx(-bend, rel=0, abs=2e-4)
    assert east["s-CM2-1"] == pytest.approx(bend, rel=0, abs=2e-4)
    (farthest,) = issue.record["shift_model"]["farthest"]
    assert farthest["point"] == "s-2" and farthest["horizontal"] == pytest.approx(2 * bend, rel=0.01)


def test_an_untied_session_has_no_model(tmp_path: Path) -> None:
    work = job()
    work.session("loose", points=SOME)
    issue = run_written(work.write(tmp_path), 3)
    assert [row["session"] for row in issue.record["shift_model"]["farthest"]] == ["s"]
    assert len(issue.held_back.rows) == 4


@pytest.mark.parametrize(
    ("height", "away", "verdict", "notes"),
    [
        (8.0, 2_000, "proven", 0),
        (-8.0, 16_000, "proven", 1),
        (8.0, 30_000, "unchecked", 0),
        (-0.5, 30_000, "proven", 0),
    ],
)
def test_a_bend_beyond_the_tolerance_takes_the_proof_away(
    height: float, away: float, verdict: str, notes: int, tmp_path: Path
) -> None:
    """Height times distance through the radius of the earth: 2.5, 20, 38 and 2 mm; 30 mm are the tolerance."""
    work = Network(ELLIPSOIDAL)
    work.job["shift"] = {"model": "grid"}
    work.mark("CM1", 0, 0)
    work.mark("CM2", 700, -500)
    work.session("s", ties=["CM1"], points=[(50, 50), (away, 0)], closing=["CM2"], shift=(0.0, 0.0, height))
    record = published_record(work.write(tmp_path), code=0 if verdict == "proven" else 3)
    told = [note for note in record["notes"] if "less accurate away from the tie" in note]
    assert record["verdict"] == verdict and len(record["doubts"]) == (verdict != "proven")
    assert len(told) == (notes if verdict == "proven" else 1), record["notes"]
    (farthest,) = record["shift_model"]["farthest"]
    assert farthest["horizontal"] == pytest.approx(abs(height) * away / EARTH, rel=0.02)
    assert not told or f"by {1000 * farthest['horizontal']:.0f} mm in plan" in told[0]


def test_a_stated_shift_bends_away_from_the_first_reading(tmp_path: Path) -> None:
    """No tie gives it: the base is checked where work begins, and 30 km off 8 m of height are 38 mm."""
    work = Network(ELLIPSOIDAL)
    work.job["shift"] = {"model": "grid"}
    for number, (east, north) in enumerate([(0, 0), (700, -500), (300, 400)], start=1):
        work.mark(f"CM{number}", east, north)
    stated = {"east": 0.0, "north": 0.0, "up": 8.0}
    points, shift = [(50, 50), (30_000, 0)], (0.0, 0.0, 8.0)
    work.session("s", checks=["CM1", "CM2"], points=points, closing=["CM3"], shift=shift, stated=stated)
    (doubt,) = published_record(work.write(tmp_path), code=3)["doubts"]
    assert doubt["kind"] == "shift" and "by 38 mm in plan" in doubt["what"]


def test_sites_with_their_own_ties_are_not_bent(tmp_path: Path) -> None:
    """Two sessions 40 km apart, each with its tie at hand: nothing is far from what gave its shift."""
    work = Network(ELLIPSOIDAL)
    work.job["shift"] = {"model": "grid"}
    for number, (at, shift) in enumerate([(0, (0.5, 0.2, 8.0)), (40_000, (-0.7, 0.6, 5.0))], start=1):
        work.mark(f"CM{number}", at, 0)
        work.mark(f"CK{number}", at + 300, 200)
        work.session(f"s{number}", ties=[f"CM{number}"], points=[(at + 50, 50)], closing=[f"CK{number}"], shift=shift)
    record = published_record(work.write(tmp_path))
    assert record["verdict"] == "proven" and not [note for note in record["notes"] if "bends" in note]
