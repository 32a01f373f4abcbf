"""Heights and coordinates of another system for all marks or all readings alike: told, and nothing is proven by them.

The truth is simulated; which separation lies where is written into the geoid grid by the test.
"""

import datetime as dt
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import base_logged
import numpy as np
import pytest
from every import every
from places_made import place_with
from simulate import Plan, Simulation, simulate, turn_enu

from pipeline import run_job
from pipeline.check import check_job

SMALL = Plan(sessions=2, points=10, ties=1, checks=2, marks=4, base_vertical=6.0)
#: Bases that broadcast a position from the register, a few centimetres off.
KNOWN = replace(SMALL, base_horizontal=0.04, base_vertical=0.06)


def at(plan: Plan, folder: Path, separation: float, where: str = "zurich", height: float = 300.0) -> Simulation:
    return simulate(replace(plan, place=place_with(folder, separation, where, height)))


def ellipsoidal(job: Simulation) -> Simulation:
    job.register["height"] = job.register["height"] + job.marks.ellipsoid_height - job.marks.height
    return job


def of_the_datum(job: Simulation, *sessions: int) -> Simulation:
    """Let the exports of some sessions give heights of the datum in place of ellipsoidal ones."""
    rows = job.rows
    apart = job.plan.place.separation(rows["longitude"], rows["latitude"])
    rows["height"] = np.where(np.isin(rows["session"], sessions), rows["height"] - apart, rows["height"])
    return job


def moved(job: Simulation, **by: float) -> Simulation:
    for column, metres in by.items():
        job.register[column] = job.register[column] + metres
    return job


def kinds(job: Simulation, folder: Path) -> list[tuple[str, list[str]]]:
    """Run a job; return its doubts' kinds and sessions. Every check passes, and `tiedown check` tells the same."""
    job.job["shift"] = {"limit_vertical": 100.0}
    path = job.write(folder)
    told = [text for text in check_job(path).warnings if "stay unproven" in text]
    outcome = run_job(path, dry_run=True)
    assert all(check["passed"] for check in every(outcome.record["checks"]))
    doubts = outcome.record["doubts"]
    assert [text.replace(f"{folder}/", "") for text in told] == [doubt["what"] for doubt in doubts]
    assert outcome.exit_code == (3 if doubts else 0)
    in_doubt = {name for doubt in doubts for name in doubt["sessions"]}
    for session in outcome.record["sessions"]:
        assert session["verdict"] == ("unchecked" if session["session"] in in_doubt else "proven")
    return [(doubt["kind"], doubt["sessions"]) for doubt in doubts]


BOTH = ["session-01", "session-02"]


@pytest.mark.parametrize(("separation", "where"), [(51.0, "madrid"), (36.0, "helsingor"), (-30.0, "hobart")])
def test_a_register_of_ellipsoidal_heights(separation: float, where: str, tmp_path: Path) -> None:
    assert kinds(ellipsoidal(at(SMALL, tmp_path, separation, where)), tmp_path) == [("register-heights", BOTH)]


def test_a_small_separation_is_told_by_many_bases(tmp_path: Path) -> None:
    ((kind, sessions),) = kinds(ellipsoidal(at(replace(SMALL, sessions=9), tmp_path, 8.0)), tmp_path)
    assert (kind, len(sessions)) == ("register-heights", 9)


@pytest.mark.parametrize("separation", [6.0, -3.0, 1.5])
def test_a_small_separation_is_told_by_a_base_on_a_known_position(separation: float, tmp_path: Path) -> None:
    job = ellipsoidal(at(replace(KNOWN, sessions=1), tmp_path, separation))
    assert kinds(job, tmp_path) == [("register-heights", ["session-01"])]


@pytest.mark.parametrize("height", [300.0, 67.6], ids=["high", "where feet would do as well"])
def test_exports_that_give_heights_of_the_datum(height: float, tmp_path: Path) -> None:
    """At 67.6 m a register in feet would be off by 47 m as well; of the two the commoner mistake is told alone."""
    job = of_the_datum(at(SMALL, tmp_path, 47.0, height=height), 0, 1)
    assert kinds(job, tmp_path) == [("register-heights", BOTH)]


def test_one_session_of_which_the_export_gives_heights_of_the_datum(tmp_path: Path) -> None:
    job = of_the_datum(at(replace(SMALL, sessions=3), tmp_path, 47.0), 1)
    assert kinds(job, tmp_path) == [("export-heights", ["session-02"])]


def test_the_marks_of_one_source_in_ellipsoidal_heights(tmp_path: Path) -> None:
    """The second of two sessions uses CM4 to CM6 alone, and the first one none of them."""
    job = at(replace(SMALL, sessions=4, marks=6), tmp_path, 47.0)
    job.keep(np.isin(job.rows["session"], (0, 3)))
    job.job["session"] = [job.job["session"][0], job.job["session"][3]]
    for mark in ("CM4", "CM5", "CM6"):
        job.mistype(mark, "height", 47.0)
    assert kinds(job, tmp_path) == [("register-heights", ["session-04"])]
    assert "the marks of session session-04" in check_job(tmp_path / "job.toml").warnings[0]


def test_heights_that_were_never_filled_in(tmp_path: Path) -> None:
    """On level ground by the sea, where the checks cannot tell."""
    job = at(replace(SMALL, reach=20.0), tmp_path, 2.0, "helsingor", 0.0)
    job.register["height"] = np.zeros(4)
    job.job["checks"] = {"vertical": 1.0}
    job.job["shift"] = {"limit_vertical": 1e5}
    path = job.write(tmp_path)
    doubts = run_job(path, dry_run=True).record["doubts"]
    assert "never filled in" in doubts[0]["what"]
    assert doubts[0]["what"].startswith("register.csv:2: ")


def test_a_register_in_another_datum_of_the_country(tmp_path: Path) -> None:
    """1.8 m, as between two datums of Australia; told by two bases that have nothing in common but that."""
    job = moved(at(KNOWN, tmp_path, -3.0, "hobart"), easting=0.6, northing=1.7)
    assert kinds(job, tmp_path) == [("datum", BOTH)]


def test_a_register_in_another_height_datum(tmp_path: Path) -> None:
    job = moved(at(KNOWN, tmp_path, 12.0), height=0.45)
    assert kinds(job, tmp_path) == [("register-heights", BOTH)]


def test_one_base_that_keeps_its_wrong_position_is_no_system(tmp_path: Path) -> None:
    """The same base on the same tripod for two days: what both sessions have in common is its own error."""
    job = moved(at(KNOWN, tmp_path, 12.0), easting=0.6, northing=1.7)
    job.rows["base"][:] = "BASE-01"
    job.job["session"][1]["base"] = "BASE-01"
    assert kinds(job, tmp_path) == []


def test_one_base_whose_id_is_spelled_otherwise_the_next_day_is_no_system(tmp_path: Path) -> None:
    job = moved(at(KNOWN, tmp_path, 12.0), easting=0.6, northing=1.7)
    second = job.rows["session"] == 1
    job.rows["base"] = np.where(second, "base1", "BASE-01")
    job.job["session"][1]["base"] = "base1"
    assert kinds(job, tmp_path) == []


@pytest.mark.parametrize("same", [True, False])
def test_a_base_set_up_again_at_its_coordinates_under_another_id(same: bool, tmp_path: Path) -> None:
    """Its wrong position is what both days have in common; two positions of bases tell that they are two."""
    job = moved(at(KNOWN, tmp_path, 12.0), easting=0.6, northing=1.7)
    path = base_logged.write(job, tmp_path, (lambda _: base_logged.at_base(job, 0)) if same else None, beside=False)
    record = run_job(path, dry_run=True).record
    assert [doubt["kind"] for doubt in record["doubts"]] == ([] if same else ["datum"])
    assert not any("under another id" in doubt["what"] for doubt in record["doubts"])


def test_bases_of_which_ids_alone_are_known_may_be_one(tmp_path: Path) -> None:
    path = moved(at(KNOWN, tmp_path, 12.0), easting=0.6, northing=1.7).write(tmp_path)
    (doubt,) = run_job(path, dry_run=True).record["doubts"]
    assert "this is one base set up again at the same coordinates under another id" in doubt["what"]


def switched_on_again(folder: Path, off: float = 0.0, pause: int = 0) -> Simulation:
    """One day whose base counts its id on at noon: in the afternoon it is ``off`` to the east, hours after a pause."""
    job = moved(at(replace(SMALL, sessions=1, points=40, checks=4, marks=5), folder, 12.0), easting=0.6, northing=1.7)
    (morning,) = job.job["session"]
    second = np.arange(len(job.rows["name"])) >= 23
    shift = turn_enu(job.bases.longitude[0], job.bases.latitude[0], np.array([off, 0.0, 0.0]))
    job.displace(second, shift)
    job.rows["base"] = np.where(second, "BASE-02", "BASE-01")
    job.rows["time"] = job.rows["time"] + second * np.timedelta64(pause, "h")
    noon = dt.datetime.fromisoformat(f"{job.rows['time'][second][0] - np.timedelta64(1, 's')}+00:00")
    last = morning["end"] + dt.timedelta(hours=pause)
    afternoon = {**morning, "name": "session-02", "base": "BASE-02", "start": noon, "end": last}
    afternoon |= {"ties": [morning["checks"][2] | {}], "checks": [morning["checks"][3]]}
    job.job["session"] = [{**morning, "end": noon, "checks": morning["checks"][:2]}, afternoon]
    return job


@pytest.mark.parametrize(("off", "pause", "doubted"), [(0.0, 0, False), (0.1, 0, True), (0.0, 2, True)])
def test_a_base_switched_on_again_under_the_next_id_is_one(
    off: float, pause: int, doubted: bool, tmp_path: Path
) -> None:
    """Two bases that averaged their own positions are never off alike to centimetres, nor set up within minutes."""
    record = run_job(switched_on_again(tmp_path, off, pause).write(tmp_path), dry_run=True).record
    assert all(check["passed"] for check in every(record["checks"]))
    assert [doubt["kind"] for doubt in record["doubts"]] == ["datum"] * doubted
    assert len([note for note in record["notes"] if "taken for one base" in note]) == (not doubted)


@pytest.mark.parametrize("ids", [("NORTH", "SOUTH"), ("BASE-01", "BASE-07")])
def test_two_bases_whose_ids_do_not_count_on_are_two(ids: tuple[str, str], tmp_path: Path) -> None:
    """Bases over known points are off alike where the register is in another datum, however soon one follows."""
    job = switched_on_again(tmp_path)
    called = dict(zip(("BASE-01", "BASE-02"), ids, strict=True))
    job.rows["base"] = np.array([called[base] for base in job.rows["base"]])
    job.job["session"] = [each | {"base": called[each["base"]]} for each in job.job["session"]]
    record = run_job(job.write(tmp_path), dry_run=True).record
    assert [doubt["kind"] for doubt in record["doubts"]] == ["datum"]


@pytest.mark.parametrize("seed", range(8))
def test_sound_jobs_are_left_in_peace(seed: int, tmp_path: Path) -> None:
    separation = (1.0, 5.0, 12.0, 20.0, 47.0, -4.0, -15.0, -30.0)[seed]
    where = ("zurich", "madrid", "hobart", "helsingor")[seed % 4]
    job = at(replace((SMALL, KNOWN)[seed % 2], sessions=1 + seed % 4, seed=seed), tmp_path, separation, where)
    assert kinds(job, tmp_path) == []


@pytest.mark.parametrize("spoil", [None, ellipsoidal, lambda job: of_the_datum(job, 0, 1)])
def test_two_bases_both_off_by_a_separation_that_one_may_be_off_by(
    spoil: Callable[[Simulation], Simulation] | None, tmp_path: Path
) -> None:
    """11 m: no base by itself, and no middle of two, is so far off that chance would not do; both by just that are."""
    plan = replace(SMALL, base_horizontal=1.0, base_vertical=0.05)
    job = at(plan, tmp_path, 11.0)
    found = kinds(spoil(job) if spoil else job, tmp_path)
    assert found == ([("register-heights", ["session-01", "session-02"])] if spoil else [])


def test_one_base_off_by_the_separation_is_told(tmp_path: Path) -> None:
    for number, spoil in enumerate((ellipsoidal, lambda job: job)):
        job = spoil(at(replace(SMALL, sessions=1, base_horizontal=1.0, base_vertical=0.05), tmp_path, -11.0))
        record = run_job(job.write(tmp_path / str(number)), dry_run=True).record
        notes = [note for note in record["notes"] if "geoid separation is -11.00 m" in note]
        assert record["verdict"] == "proven" and len(notes) == 1 - number, record["notes"]


def shore(folder: Path) -> Simulation:
    """A day by the sea, with marks two metres or so above it where the ellipsoid lies 41 m higher."""
    plan = replace(KNOWN, sessions=1, checks=3)
    return at(plan, folder, -41.0, "madrid", height=2.0)


def test_some_ellipsoidal_heights_by_the_sea_are_no_feet(tmp_path: Path) -> None:
    """Two of four marks have them: the middle of all is off by half the separation, as feet might be."""
    job = shore(tmp_path)
    apart = (job.marks.ellipsoid_height - job.marks.height)[1:3]
    job.register["height"][1:3] += apart
    job.rows["height"] = job.rows["height"] - 3.0  # as a base that averaged its own position has it
    outcome = run_job(job.write(tmp_path), dry_run=True)
    assert [doubt for doubt in outcome.record["doubts"] if doubt["kind"] == "units"] == []
    assert outcome.exit_code == 3 and sum(not check["passed"] for check in every(outcome.record["checks"])) == 2
