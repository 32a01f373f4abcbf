"""What hu95 and vu95 are made of, by formulas, and whether 95 % of simulated errors lie within them.

Bases over marks, distances from them, stated shifts and the geoid; single ties, many ties and rover chains stand in
`test_noise`. hu95 is the 95 % circle of the error ellipse, vu95 is 1.96 sigma.
"""

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from circles import circle
from every import every
from issued import Issue, off_truth, read_layer
from network_jobs import OCCUPATION, POINT, Network
from numpy.testing import assert_allclose
from running import run_written
from simulate_plan import Floats, to_geocentric, turn_enu

CIRCLE, INTERVAL = np.sqrt(-2 * np.log(0.05)), 1.959963984540054
CENTRING = 0.003
REGISTER = (0.010 / CIRCLE, 0.020 / INTERVAL)


def root(*parts: float) -> float:
    return float(np.sqrt(np.sum(np.square(parts))))


@pytest.mark.parametrize("ppm", [None, 0.0, 2.5])
def test_distance_from_a_base_over_a_mark(ppm: float | None, tmp_path: Path) -> None:
    """Observation and ppm of the distance (1 by default), the set-up's centring, and the register."""
    work = Network()
    work.job["quality"] = {} if ppm is None else {"ppm": ppm}
    work.mark("CM1", 0, 0)
    far = [10.0, 1_000.0, 10_000.0, 20_000.0]
    work.session("s", over="CM1", antenna=1.5, points=[(0, metres) for metres in far])
    issue = run_written(work.write(tmp_path))
    for row in every(issue.points.rows, len(far)):
        point = to_geocentric(*work.truth.geographic(row["name"]), work.plan.place.ellipsoid)
        grows = (1.0 if ppm is None else ppm) * 1e-6 * np.linalg.norm(point - work.xyz("CM1"))
        horizontal, vertical = (root(POINT[k], grows, CENTRING, REGISTER[k]) for k in (0, 1))
        assert row["hu95"] == pytest.approx(circle(horizontal, horizontal), rel=1e-3)
        assert row["vu95"] == pytest.approx(INTERVAL * vertical, rel=1e-3)


def test_without_a_set_up_the_distance_is_not_known(tmp_path: Path) -> None:
    work = Network()
    work.job["quality"] = {"ppm": 5.0}
    work.mark("CM1", 0, 0)
    work.session("s", ties=["CM1"], points=[(0, 100), (0, 20_000)])
    issue = run_written(work.write(tmp_path))
    sigma = [root(POINT[k], OCCUPATION[k], CENTRING * (k == 0), REGISTER[k]) for k in (0, 1)]
    for row in every(issue.points.rows, 2):
        assert row["hu95"] == pytest.approx(circle(sigma[0], sigma[0]), rel=1e-3)
        assert row["vu95"] == pytest.approx(INTERVAL * sigma[1], rel=1e-3)


def test_the_distance_of_the_tie_counts_as_well(tmp_path: Path) -> None:
    """A base over a peg, tied by a rover 12 km off: the tie's own ppm is in the shift."""
    work = Network()
    work.job["quality"] = {"ppm": 2.0}
    work.mark("CM1", 0, 12_000)
    work.mark("TM1", 0, 0, known=False)
    work.session("s", ties=["CM1"], over="TM1", antenna=1.5, points=[(0, 0), (0, 6_000)])
    work.session("t", over="TM1", antenna=1.2, points=[(100, 0)])
    issue = run_written(work.write(tmp_path))
    tie = [root(OCCUPATION[k], 0.024, CENTRING * (k == 0), REGISTER[k]) for k in (0, 1)]
    for name, grows, over in (("s-1", 0.0, 0.0), ("s-2", 0.012, 0.0), ("t-1", 0.0002, np.sqrt(2) * CENTRING)):
        row = issue.points.one(name=name)
        horizontal, vertical = (root(POINT[k], grows, tie[k], over) for k in (0, 1))
        assert row["hu95"] == pytest.approx(circle(horizontal, horizontal), rel=2e-3)
        assert row["vu95"] == pytest.approx(INTERVAL * vertical, rel=2e-3)


@pytest.mark.parametrize("sigma", [0.0, 0.033])
def test_the_geoid_is_in_the_heights_alone(sigma: float, tmp_path: Path) -> None:
    work = Network()
    work.job["target"]["geoid_sigma"] = sigma
    work.mark("CM1", 0, 0)
    work.mark("CM2", 500, 0)
    work.session("s", ties=["CM1"], points=[(300, 100)], closing=["CM2"])
    issue = run_written(work.write(tmp_path))
    shift = [root(OCCUPATION[k], CENTRING * (k == 0), REGISTER[k]) for k in (0, 1)]
    (row,) = issue.points.rows
    assert row["hu95"] == pytest.approx(circle(*[root(POINT[0], shift[0])] * 2), rel=1e-3)
    assert row["vu95"] == pytest.approx(INTERVAL * root(POINT[1], shift[1], sigma), rel=1e-3)
    check = issue.check_marks.one(role="check")
    assert check["vu95"] >= INTERVAL * sigma
    shifts = issue.sessions.rows[0]
    assert shifts["sigma_up"] == pytest.approx(shift[1], rel=1e-3)


def test_unlike_east_and_north_give_the_circle_of_their_ellipse(tmp_path: Path) -> None:
    """The east-west sigma of a point four times the north-south one; the shift's is a circle."""
    work = Network()
    work.mark("CM1", 0, 0)
    work.session("s", ties=["CM1"], points=[(300, 100), (0, 400), (-50, 0)])
    rows = work.rows
    wide = {"s-1": (0.020, 0.005), "s-2": (0.003, 0.030), "s-3": (0.010, 0.010)}
    for name, (east, north) in every(wide.items()):
        rows["sigma_east"][work.row(name)], rows["sigma_north"][work.row(name)] = east, north
    issue = run_written(work.write(tmp_path))
    shift = root(OCCUPATION[0], CENTRING, REGISTER[0])
    for name, axes in every(wide.items()):
        minor, major = sorted(root(axis, shift) for axis in axes)
        assert issue.points.one(name=name)["hu95"] == pytest.approx(circle(major, minor), rel=1e-4)


def test_an_adjusted_marks_own_uncertainty(tmp_path: Path) -> None:
    """A peg occupied once a session in three tied sessions: the mean of three, the common register apart."""
    work = Network()
    work.mark("CM1", 0, 0)
    work.mark("TM1", 100, 0, known=False)
    for name in "abc":
        work.session(name, ties=["CM1", "TM1"], points=[(10, 10)])
    marks = read_layer(run_written(work.write(tmp_path)).package, "marks")
    one = [root(OCCUPATION[k], CENTRING * (k == 0)) for k in (0, 1)]
    sigma = [root(np.sqrt(2 / 3) * one[k], REGISTER[k]) for k in (0, 1)]
    row = marks.one(mark="TM1")
    assert row["hu95"] == pytest.approx(circle(sigma[0], sigma[0]), rel=1e-3)
    assert row["vu95"] == pytest.approx(INTERVAL * sigma[1], rel=1e-3)


def errors(issue: Issue, work: Network, sessions: list[str]) -> Floats:
    """(sessions, points, 3) errors in units of the standard uncertainty that hu95 and vu95 imply."""
    of_session: dict[str, list[dict[str, Any]]] = {name: [] for name in sessions}
    for row in issue.points.rows:
        if row["session"] in of_session:
            of_session[row["session"]].append(row)
    found = []
    for rows in of_session.values():
        off = off_truth(rows, work.truth)
        sigma = [[row["hu95"] / circle(1, 1)] * 2 + [row["vu95"] / INTERVAL] for row in rows]
        found.append(off / np.array(sigma))
    return np.array(found)


def agrees(found: Floats) -> None:
    """Errors have unit variance, no mean, and 95 % of them lie within, as well as so many sessions can tell.

    What the set-up, the tie and the register err, all points of a session err: the bounds count sessions. They are
    themselves bounded, so that a loose test is no test: variances are told to a third.
    """
    count = len(found)

    def holds(by_session: Floats, expected: float, least: float) -> None:
        bound = 4 * by_session.std() / np.sqrt(count)
        assert bound < least
        assert abs(by_session.mean() - expected) < bound

    for axis in range(3):
        holds((found[..., axis] ** 2).mean(axis=1), 1.0, 0.55)
        holds(found[..., axis].mean(axis=1), 0.0, 0.4)
    holds((np.hypot(found[..., 0], found[..., 1]) < circle(1, 1)).mean(axis=1), 0.95, 0.08)
    holds((np.abs(found[..., 2]) < INTERVAL).mean(axis=1), 0.95, 0.08)


def scattered(seed: int, chains: int, ppm: float) -> tuple[Network, np.random.Generator]:
    """Chains of two days, each on control of its own: a rover tie and a peg, then a base over the peg, then a third.

    The last has a shift stated with its uncertainty. The register lies where it says that it may.
    """
    work, noise = Network(seed=seed), np.random.default_rng(1000 + seed)
    work.job["quality"] = {"ppm": ppm, "centring": CENTRING}
    work.job["checks"] = {"horizontal": 1.0, "vertical": 1.0}
    points = [(3_000, 2_000), (-9_000, 8_000), (0, 15_000), (500, 0)]
    for chain in range(chains):
        work.mark(f"CM{chain}", 7 * chain, 5)
        work.mark(f"TM{chain}", 7 * chain, -400, known=False)
        work.session(f"{chain}a", ties=[f"CM{chain}", f"TM{chain}"], points=points)
        work.session(f"{chain}b", over=f"TM{chain}", antenna=1.5, points=points)
        number = work.session(f"{chain}c", points=[(0, 0), *points[:3]])
        local = turn_enu(work.plan.place.longitude, work.plan.place.latitude, np.eye(3)) @ work.shifts[number]
        given = dict(zip(("east", "north", "up"), map(float, local + noise.normal(0, [0.01, 0.01, 0.02])), strict=True))
        work.job["session"][number]["shift"] = given | {"sigma_horizontal": 0.01, "sigma_vertical": 0.02}
    for column, sigma in (("easting", REGISTER[0]), ("northing", REGISTER[0]), ("height", REGISTER[1])):
        work.register[column] = work.register[column] + noise.normal(0, sigma, len(work.register[column]))
    return work, noise


def disturb(work: Network, noise: np.random.Generator, ppm: float) -> None:
    """Let every row err by its sigmas, the pole over a mark by its centring, and by ppm of a known distance."""
    rows, true = work.rows, work.truth
    count = len(rows["name"])
    sigma = np.column_stack([rows["sigma_east"], rows["sigma_north"], rows["sigma_up"]])
    sigma[rows["mark"] != ""] = np.hypot(sigma[rows["mark"] != ""], [CENTRING, CENTRING, 0])
    places = work.marks
    for number, (mark, _) in work.bases.items():
        here = rows["session"] == number
        at = places.row(mark)
        apart = np.hypot(true.easting[here] - places.easting[at], true.northing[here] - places.northing[at])
        sigma[here] = np.hypot(sigma[here], ppm * 1e-6 * apart[:, None])
    work.displace(np.ones(count, bool), noise.normal(size=(count, 3)) * sigma)
    for number in work.bases:
        work.job["session"][number]["setup"] = work.setup(number, noise.normal(0, CENTRING, 3))


@pytest.mark.parametrize("seed", [1, 2])
def test_bases_over_pegs_and_stated_shifts(seed: int, tmp_path: Path) -> None:
    chains, ppm = 90, 1.5
    work, noise = scattered(seed, chains, ppm)
    disturb(work, noise, ppm)
    issue = run_written(work.write(tmp_path))
    for kind in "abc":
        agrees(errors(issue, work, [f"{chain}{kind}" for chain in range(chains)]))


@pytest.mark.parametrize("what", ["no-register", "no-ppm", "half-sigma"])
def test_the_simulation_would_tell_if_a_part_were_left_out(what: str, tmp_path: Path) -> None:
    """The same with uncertainties that are stated too small: the test above is able to fail."""
    work, noise = scattered(3, 60, 4.0)
    disturb(work, noise, 4.0)
    if what == "no-register":
        work.register["hu95"], work.register["vu95"] = (np.full(60, 1e-4, object) for _ in range(2))
    elif what == "no-ppm":
        work.job["quality"]["ppm"] = 0.0
    else:
        for name in ("sigma_east", "sigma_north", "sigma_up"):
            work.rows[name] = work.rows[name] / 2
    issue = run_written(work.write(tmp_path))
    kind = {"no-register": "a", "no-ppm": "b", "half-sigma": "c"}[what]
    found = errors(issue, work, [f"{chain}{kind}" for chain in range(60)])
    assert (found**2).mean() > 1.15
    with pytest.raises(AssertionError):
        agrees(found)


def test_the_three_kinds_are_as_uncertain_as_they_should_be(tmp_path: Path) -> None:
    """By formulas, for the same job without any noise: tie, peg and set-up, stated shift."""
    work, _ = scattered(4, 2, 1.5)
    issue = run_written(work.write(tmp_path))
    tie = [root(OCCUPATION[k], CENTRING * (k == 0)) for k in (0, 1)]
    by_kind = {
        "a": [root(POINT[k], tie[k], REGISTER[k]) for k in (0, 1)],
        "b": [root(POINT[k], 1.5e-6 * 640.0, np.sqrt(2) * tie[k], REGISTER[k], CENTRING) for k in (0, 1)],
        "c": [root(POINT[0], 0.01), root(POINT[1], 0.02)],
    }
    for kind, (horizontal, vertical) in every(by_kind.items()):
        row = issue.points.one(name=f"0{kind}-4") if kind != "c" else issue.points.one(name="0c-1")
        assert_allclose(row["hu95"], circle(horizontal, horizontal), rtol=2e-3)
        assert_allclose(row["vu95"], INTERVAL * vertical, rtol=2e-3)
