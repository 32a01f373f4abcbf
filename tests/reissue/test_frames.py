"""A datum, a geoid or a CRS that is another in a new issue is told with what it did, and doubted where need be.

The grids that are put in place of one another are the demo's, raised by a known length: by so much all heights move.
"""

import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from first_issue import run_once
from record_of_before import as_schema_7
from simulate import Plan, Simulation, simulate
from simulate_plan import CANTERBURY, ELLIPSOIDAL, GRS80, Place, read_gtx, turn_enu, utm

from pipeline import run_job
from pipeline.run.run_job import Outcome

Change = Callable[[Simulation, Path], None]
#: GDA94 and GDA2020 lie about 1.6 m apart there (ICSM, GDA2020 technical manual).
MELBOURNE = replace(
    ELLIPSOIDAL, longitude=144.97, latitude=-37.80, height=40.0, grid="EPSG:28355", source="EPSG:4939",
    projection=utm(55, south=True, ellipsoid=GRS80),
)  # fmt: skip
_HEIGHTS = re.compile(r"heights of all points moved by about ([+-]\d+\.\d+) m")


def lay_grid(folder: Path, name: str, raised: float) -> None:
    """Write the demo's geoid grid, raised by so many metres."""
    assert CANTERBURY.geoid is not None
    head = CANTERBURY.geoid.read_bytes()[:40]
    values = read_gtx(CANTERBURY.geoid).values + raised
    (folder / name).write_bytes(head + values.astype(">f4").tobytes())


def geoid(name: str, raised: float = 0.0) -> Change:
    """Issue heights by a grid in the job's folder."""

    def change(job: Simulation, folder: Path) -> None:
        lay_grid(folder, name, raised)
        job.job["target"].update(height="EPSG:5773", geoid=name)

    return change


def keys(table: str, **values: Any) -> Change:
    def change(job: Simulation, folder: Path) -> None:
        section = job.job.setdefault(table, {})
        section.update(values)
        for key in [key for key, value in values.items() if value is None]:
            del section[key]

    return change


def ellipsoidal_register(job: Simulation, folder: Path) -> None:
    keys("control", height="ellipsoid", columns={"ellipsoid_height": "height"})(job, folder)


def issues_of(folder: Path, place: Place, *changes: tuple[Change, ...]) -> list[Outcome]:
    """Run one job several times, each time after some changes; its two sessions have checks at both ends."""
    job = simulate(Plan(sessions=2, points=20, ties=1, checks=3, place=place, base_vertical=3.0, reach=500.0, seed=3))
    found = []
    for number, some in enumerate(changes, start=1):
        for change in some:
            change(job, folder)
        run = run_job if number == len(changes) else run_once
        found.append(run(job.write(folder)))
    return found


def doubts(outcome: Outcome) -> list[str]:
    return [doubt["kind"] for doubt in outcome.record["doubts"] if not doubt["confirmed"]]


def moved_by(outcome: Outcome) -> float:
    """What the notes, doubts among them, say that all heights moved by."""
    return next(float(found[1]) for note in outcome.record["notes"] if (found := _HEIGHTS.search(note)))


def because(outcome: Outcome) -> str:
    assert outcome.record["changes"] is not None
    return "; ".join(outcome.record["changes"]["because"])


def test_another_datum_of_the_target_is_told_and_keeps_its_proof(tmp_path: Path) -> None:
    first, second = issues_of(tmp_path, ELLIPSOIDAL, (), (geoid("g.gtx"),))
    assert (first.exit_code, second.exit_code, second.record["verdict"]) == (0, 0, "proven") and not doubts(second)
    assert "[target] height was ellipsoidal and is now EGM96 height (EPSG:5773)" in because(second)
    around = CANTERBURY.separation(np.array([CANTERBURY.longitude]), np.array([CANTERBURY.latitude]))
    assert moved_by(second) == pytest.approx(-around.item(), abs=0.05)


@pytest.mark.parametrize("raised", [0.35, -12.0])
def test_a_geoid_replaced_under_its_name_is_doubted(raised: float, tmp_path: Path) -> None:
    first, second = issues_of(tmp_path, ELLIPSOIDAL, (geoid("g.gtx"),), (geoid("g.gtx", raised),))
    assert (first.exit_code, second.exit_code) == (0, 3)
    assert doubts(second) == ["register-heights"] and second.record["verdict"] == "unchecked"
    assert moved_by(second) == pytest.approx(-raised, abs=0.002)
    assert "the grid file g.gtx has different content" in because(second)


def test_a_geoid_that_differs_by_less_than_the_tolerance_is_only_told(tmp_path: Path) -> None:
    _, second = issues_of(tmp_path, ELLIPSOIDAL, (geoid("g.gtx"),), (geoid("g.gtx", 0.02),))
    assert second.exit_code == 0 and not doubts(second) and moved_by(second) == pytest.approx(-0.02, abs=0.002)


def test_another_geoid_by_its_key_is_told(tmp_path: Path) -> None:
    _, second = issues_of(tmp_path, ELLIPSOIDAL, (geoid("g.gtx"),), (geoid("other.gtx", 0.35),))
    assert second.exit_code == 0 and not doubts(second) and moved_by(second) == pytest.approx(-0.35, abs=0.002)
    assert "[target] geoid: heights used g.gtx and now use other.gtx" in because(second)


def test_a_geoid_that_ties_take_up_moves_no_height_and_says_so(tmp_path: Path) -> None:
    _, second = issues_of(tmp_path, CANTERBURY, (geoid("g.gtx"),), (geoid("g.gtx", 0.35),))
    assert second.exit_code == 0 and not doubts(second)
    (note,) = [note for note in second.record["notes"] if "a different shift" in note]
    assert "no height moved" in note and "session-01 by +0.350 m in height" in note


def test_another_datum_of_the_register_is_doubted_until_it_is_taken_back_or_confirmed(tmp_path: Path) -> None:
    looser = keys("checks", horizontal=0.1, vertical=0.2)
    wrong, right = ellipsoidal_register, keys("control", height="EPSG:5773", columns=None)
    confirm = keys("checks", confirmed=["register-heights"])
    stated = (geoid("g.gtx"), looser)
    first, second, third, back, again, confirmed, later = issues_of(
        tmp_path, CANTERBURY, stated, (wrong,), (keys("checks", horizontal=0.11),), (right,), (wrong,), (confirm,),
        (keys("checks", horizontal=0.12),),
    )  # fmt: skip
    assert first.exit_code == 0
    for each in (second, third, again):
        assert each.exit_code == 3 and doubts(each) == ["register-heights"] and each.record["verdict"] == "unchecked"
    assert "[control] height was EGM96 height (EPSG:5773) and is now ellipsoidal" in because(second)
    assert "neither the readings nor the register's numbers" in second.record["doubts"][0]["what"]
    assert second.record["doubts"][0]["what"].startswith("job.toml:")  # wherever the job lies
    assert back.exit_code == confirmed.exit_code == later.exit_code == 0 and confirmed.record["doubts"][0]["confirmed"]


def test_register_and_target_in_the_same_wrong_datum_are_doubted(tmp_path: Path) -> None:
    looser = keys("checks", horizontal=0.1, vertical=0.2)
    to_ellipsoid = keys("target", height="ellipsoid", geoid=None)
    _, second = issues_of(tmp_path, CANTERBURY, (geoid("g.gtx"), looser), (ellipsoidal_register, to_ellipsoid))
    assert second.exit_code == 3 and doubts(second) == ["register-heights"]
    assert "[target] height" in because(second) and "[control] height" in because(second)


def test_a_register_in_another_datum_with_other_numbers_is_not(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=2, points=20, ties=1, checks=3, place=CANTERBURY, base_vertical=3.0, seed=3))
    geoid("g.gtx")(job, tmp_path)
    assert run_job(job.write(tmp_path)).exit_code == 0
    ellipsoidal_register(job, tmp_path)
    job = replace(job, register={**job.register, "height": job.marks.ellipsoid_height})
    second = run_job(job.write(tmp_path))
    assert second.exit_code == 0 and not doubts(second)


def test_a_field_datum_by_another_label_moves_nothing(tmp_path: Path) -> None:
    _, second = issues_of(tmp_path, CANTERBURY, (geoid("g.gtx"),), (keys("source", crs="EPSG:4979"),))
    assert second.exit_code == 0 and not doubts(second)
    assert "field positions were converted by" in because(second)
    assert any("no height moved" in note for note in second.record["notes"])


def test_register_and_target_on_the_same_grid_of_another_datum_are_doubted(tmp_path: Path) -> None:
    both = keys("target", grid="EPSG:7855"), keys("control", crs="EPSG:7855")
    first, second, alone = issues_of(
        tmp_path, MELBOURNE, (), both, (keys("target", grid="EPSG:28355"), keys("control", crs="EPSG:28355"))
    )
    assert first.exit_code == 0 and second.exit_code == 3 and doubts(second) == ["datum"]
    assert "a different shift" in second.record["doubts"][0]["what"] and alone.exit_code == 0


def test_the_target_on_the_grid_of_another_datum_keeps_its_proof(tmp_path: Path) -> None:
    _, second = issues_of(tmp_path, MELBOURNE, (), (keys("target", grid="EPSG:7855"),))
    assert second.exit_code == 0 and not doubts(second)
    assert "[target] grid was GDA94 / MGA zone 55 (EPSG:28355)" in because(second)
    assert "field positions" not in because(second)


def test_other_names_and_a_revised_check_do_not_hide_another_datum(tmp_path: Path) -> None:
    """A check that fails by its mark's number, put right in the same run as the datum is changed, is no cure by it."""
    job = simulate(Plan(sessions=1, points=20, ties=1, checks=3, place=CANTERBURY, base_vertical=3.0, seed=3))
    geoid("g.gtx")(job, tmp_path)
    keys("checks", horizontal=0.1, vertical=0.2)(job, tmp_path)
    right = job.register
    mark = job.job["session"][0]["checks"][0]["mark"]
    wrong = np.where(right["mark"] == mark, right["height"] + 0.5, right["height"])
    job = replace(job, register={**right, "height": wrong})
    assert run_job(job.write(tmp_path)).exit_code == 3
    job = replace(job, register=right)
    ellipsoidal_register(job, tmp_path)
    job.job["session"][0]["name"] = "another"
    to_ellipsoid = keys("target", height="ellipsoid", geoid=None)
    to_ellipsoid(job, tmp_path)
    second = run_job(job.write(tmp_path))
    assert second.exit_code == 3 and doubts(second) == ["register-heights"]


def test_a_datum_put_right_where_checks_failed_for_it_is_no_doubt(tmp_path: Path) -> None:
    """The register's heights lie 10.6 m above the geoid's: taken for ellipsoidal ones they slope away at the checks."""
    plan = Plan(sessions=1, points=20, ties=1, checks=3, reach=4_000.0, noise=False, base_vertical=3.0, seed=3)
    job = simulate(plan)
    geoid("g.gtx")(job, tmp_path)
    keys("checks", vertical=0.01)(job, tmp_path)
    ellipsoidal_register(job, tmp_path)
    first = run_job(job.write(tmp_path))
    keys("control", height="EPSG:5773", columns=None)(job, tmp_path)
    second = run_job(job.write(tmp_path))
    failed = [one for one in first.record["checks"] if one["passed"] is False]
    assert failed and second.exit_code == 0 and not doubts(second)


def off_by(job: Simulation, rows: np.ndarray, east: float, up: float) -> Callable[[], None]:
    """Put readings off, metres; what comes back puts them right again."""
    east_north_up = np.array([east, 0.0, up])
    xyz = turn_enu(job.rows["longitude"][rows][0], job.rows["latitude"][rows][0], east_north_up)
    job.displace(rows, xyz)
    return lambda: job.displace(rows, -xyz)


def a_check(job: Simulation, session: int) -> np.ndarray:
    rows = np.zeros(len(job.rows["name"]), bool)
    rows[np.flatnonzero((job.rows["kind"] == "check") & (job.rows["session"] == session))[0]] = True
    return rows


def two_sessions(**plan: Any) -> Simulation:
    return simulate(Plan(points=6, sessions=2, place=CANTERBURY, **plan))


@pytest.mark.parametrize("seed", [3, 5])
def test_a_corrected_pole_is_no_cure_by_a_wrong_datum(seed: int, tmp_path: Path) -> None:
    """The height datum is 10.6 m off from the ellipsoid there, whatever a check that failed says."""
    job = two_sessions(seed=seed)
    keys("checks", vertical=0.3)(job, tmp_path)
    put_right = off_by(job, a_check(job, 1), 0.0, 0.5)
    first = run_job(job.write(tmp_path))
    put_right()
    ellipsoidal_register(job, tmp_path)
    second = run_job(job.write(tmp_path))
    assert first.record["verdict"] == "failed" and second.exit_code == 3
    assert sorted(doubts(second)) == ["register-heights", "unanswered-check"]  # and its row alone was corrected


@pytest.mark.parametrize("looser", [{"vertical": 0.3}, {"vertical": 0.3, "horizontal": 0.1}])
def test_a_wider_tolerance_is_no_cure_by_a_wrong_datum(looser: dict[str, float], tmp_path: Path) -> None:
    job = two_sessions(seed=3)
    off_by(job, a_check(job, 1), 0.0, 0.12)
    first = run_once(job.write(tmp_path))
    keys("checks", **looser)(job, tmp_path)
    ellipsoidal_register(job, tmp_path)
    second = run_job(job.write(tmp_path))
    assert first.record["verdict"] == "failed" and second.exit_code == 3 and doubts(second) == ["register-heights"]


@pytest.mark.parametrize("how", ["confirmed", "corrected", "wider limits"])
def test_a_doubtful_shift_that_is_settled_by_other_means_is_no_cure(how: str, tmp_path: Path) -> None:
    job = two_sessions(seed=3)
    put_right = off_by(job, job.rows["session"] == 1, 15.0, 0.0)
    first = run_once(job.write(tmp_path))
    assert doubts(first) == ["shift"]
    keys("checks", vertical=0.3)(job, tmp_path)
    if how == "confirmed":
        keys("checks", confirmed=["shift"])(job, tmp_path)
    elif how == "corrected":
        put_right()
    else:
        keys("shift", limit_horizontal=30.0)(job, tmp_path)
    ellipsoidal_register(job, tmp_path)
    second = run_job(job.write(tmp_path))
    assert second.exit_code == 3 and doubts(second) == ["register-heights"]
    assert "session-01" in next(one for one in second.record["doubts"] if not one["confirmed"])["sessions"]


def test_a_session_that_the_datum_put_right_is_proven_and_one_that_was_proven_is_doubted(tmp_path: Path) -> None:
    """A base lay 14 m too low, and 10.6 m more by the register's datum: only with the right one it is within 20 m."""
    job = two_sessions(seed=3, noise=False, base_vertical=1.0)
    keys("checks", vertical=0.3)(job, tmp_path)
    off_by(job, job.rows["session"] == 1, 0.0, 14.0)
    ellipsoidal_register(job, tmp_path)
    first = run_job(job.write(tmp_path))
    assert doubts(first) == ["shift"] and first.record["doubts"][0]["sessions"] == ["session-02"]
    keys("control", height="EPSG:5773", columns=None)(job, tmp_path)
    second = run_job(job.write(tmp_path))
    assert doubts(second) == ["register-heights"] and second.record["doubts"][0]["sessions"] == ["session-01"]
    verdicts = {one["session"]: one["verdict"] for one in second.record["sessions"]}
    assert verdicts == {"session-01": "unchecked", "session-02": "proven"}


def test_a_datum_put_right_where_it_put_all_sessions_in_doubt_is_none(tmp_path: Path) -> None:
    job = two_sessions(seed=3, noise=False, base_vertical=1.0)
    keys("checks", vertical=0.3)(job, tmp_path)
    keys("shift", limit_vertical=10.0)(job, tmp_path)
    off_by(job, job.rows["session"] < 2, 0.0, 4.0)
    ellipsoidal_register(job, tmp_path)
    first = run_job(job.write(tmp_path))
    assert doubts(first) == ["shift", "shift"]
    keys("control", height="EPSG:5773", columns=None)(job, tmp_path)
    second = run_job(job.write(tmp_path))
    assert second.exit_code == 0 and not doubts(second)


def test_a_reading_that_was_corrected_is_no_move_of_all_points(tmp_path: Path) -> None:
    """The register comes in another datum with its numbers in that: only the check whose pole was wrong moves."""
    job = two_sessions(seed=3)
    put_right = off_by(job, a_check(job, 1), 0.0, 0.2)
    assert run_job(job.write(tmp_path)).exit_code == 3
    put_right()
    ellipsoidal_register(job, tmp_path)
    job = replace(job, register={**job.register, "height": job.marks.ellipsoid_height})
    second = run_job(job.write(tmp_path))
    assert doubts(second) == ["unanswered-check"]  # of the check, since its row alone was corrected
    assert any("no height moved" in note for note in second.record["notes"])


def test_where_nobody_can_tell_which_reading_was_corrected_no_points_are_said_to_have_moved(tmp_path: Path) -> None:
    job = simulate(Plan(points=6, sessions=2, place=ELLIPSOIDAL, base_vertical=3.0, seed=3))
    put_right = off_by(job, a_check(job, 1) | a_check(job, 0), 0.0, 0.2)
    assert run_job(job.write(tmp_path)).exit_code == 3
    put_right()
    geoid("g.gtx")(job, tmp_path)
    second = run_job(job.write(tmp_path))
    (note,) = [note for note in second.record["notes"] if "[target] height was" in note]
    assert second.exit_code == 0 and "all points" not in note and "occupations of marks moved by about" in note


def site_of(job: Simulation, folder: Path) -> None:
    """Write the site's own coordinates: the marks' from the first of them on, 300 m lower."""
    marks = job.marks
    east, north, up = marks.easting - marks.easting[0], marks.northing - marks.northing[0], marks.height - 300.0
    rows = [
        f"{one[0]},{one[1]:.4f},{one[2]:.4f},{one[3]:.4f}" for one in zip(marks.names, east, north, up, strict=True)
    ]
    (folder / "site.csv").write_text("\n".join(["mark,easting,northing,height", *rows]) + "\n")
    keys("target", site={"marks": "site.csv"})(job, folder)


def test_another_localisation_is_told_as_that_and_another_geoid_beside_it(tmp_path: Path) -> None:
    job = two_sessions(seed=3)
    geoid("g.gtx")(job, tmp_path)
    site_of(job, tmp_path)
    assert run_job(job.write(tmp_path)).exit_code == 0
    job.mistype("CM2", "easting", 0.001)
    second = run_job(job.write(tmp_path))
    assert "the site's localisation changed" in because(second)
    for text in (because(second), *second.record["notes"]):
        assert "[target]" not in text and "operation" not in text
    job.mistype("CM2", "easting", 0.001)
    geoid("other.gtx", 0.01)(job, tmp_path)
    third = run_job(job.write(tmp_path))
    assert "the site's localisation changed" in because(third) and "[target] grid" not in because(third)
    assert "[target] geoid: heights used g.gtx and now use other.gtx" in because(third)


def damage(record: Path) -> None:
    record.chmod(0o644)
    record.write_text(record.read_text()[:-40])


def in_doubt(folder: Path) -> tuple[Simulation, Path]:
    """Run a job twice, the second time with its register in a wrong datum; the path is that of the first record."""
    job = simulate(Plan(points=6, sessions=2, place=CANTERBURY, seed=3))
    geoid("g.gtx")(job, folder)
    keys("checks", vertical=0.3)(job, folder)
    first = run_once(job.write(folder))
    ellipsoidal_register(job, folder)
    second = run_once(job.write(folder))
    assert (first.exit_code, second.exit_code) == (0, 3) and doubts(second) == ["register-heights"]
    return job, next((folder / "out/issues/001").glob("issue.json"))


@pytest.mark.parametrize("updated", [False, True], ids=["the same version", "updated in between"])
@pytest.mark.parametrize("gone", [True, False])
def test_it_is_taken_along_until_its_key_is_taken_back(gone: bool, updated: bool, tmp_path: Path) -> None:
    job, record = in_doubt(tmp_path)
    if updated:
        as_schema_7(tmp_path / "out")
    shutil.rmtree(record.parent) if gone else damage(record)
    for quality in (0.07, 0.08):
        keys("quality", max_sigma_horizontal=quality)(job, tmp_path)
        later = run_job(job.write(tmp_path))
        assert later.exit_code == 3 and doubts(later) == ["register-heights"]
        (doubt,) = later.record["doubts"]
        assert "[control] height was EGM96 height (EPSG:5773) and is now ellipsoidal" in doubt["what"]
        assert doubt["what"].count("issue 001 is gone or damaged") == 1
    keys("control", height="EPSG:5773", columns=None)(job, tmp_path)
    back = run_job(job.write(tmp_path))
    assert back.exit_code == 0 and not back.record["doubts"]


@pytest.mark.parametrize("updated", [False, True], ids=["the same version", "updated in between"])
def test_a_grid_file_is_in_doubt_until_the_one_of_before_is_back(updated: bool, tmp_path: Path) -> None:
    """The issue with the grid of before is gone; the grid is 0.35 m and then 0.7 m higher."""
    job = simulate(Plan(points=6, sessions=2, ties=1, checks=3, place=ELLIPSOIDAL, reach=500.0, seed=3))
    found = []
    for step, raised in enumerate((0.0, 0.35, 0.7, 0.0)):
        geoid("g.gtx", raised)(job, tmp_path)
        found.append((run_once if step < 2 else run_job)(job.write(tmp_path)))
        if step == 1:
            shutil.rmtree(tmp_path / "out/issues/001")
            if updated:
                as_schema_7(tmp_path / "out")
    assert [one.exit_code for one in found[:3]] == [0, 3, 3] and doubts(found[2])[0] == "register-heights"
    was, became = (sha256(_raised(tmp_path, by)).hexdigest()[:8] for by in (0.0, 0.7))
    what = found[2].record["doubts"][0]["what"]
    assert f"the grid file g.gtx has different content (SHA-256 was {was}..., is now {became}...)" in what
    assert "issue 001 is gone or damaged" in what and str(tmp_path) not in what
    assert not any("issue 001" in one["what"] for one in found[3].record["doubts"])


def _raised(folder: Path, by: float) -> bytes:
    lay_grid(folder, "other.gtx", by)
    return (folder / "other.gtx").read_bytes()


def test_it_is_taken_along_until_it_is_confirmed(tmp_path: Path) -> None:
    job, record = in_doubt(tmp_path)
    shutil.rmtree(record.parent)
    for confirmed in (tmp_path / "out").glob(".confirmed*"):
        confirmed.unlink()
    assert run_job(job.write(tmp_path)).exit_code == 3
    keys("checks", confirmed=["register-heights"])(job, tmp_path)
    confirmed_now = run_job(job.write(tmp_path))
    assert confirmed_now.exit_code == 0 and confirmed_now.record["doubts"][0]["confirmed"]
    keys("quality", max_sigma_horizontal=0.07)(job, tmp_path)
    assert run_job(job.write(tmp_path)).exit_code == 0


@pytest.mark.parametrize(("raised", "doubted"), [(0.0, False), (0.35, True), (0.7, True)])
def test_a_grid_of_another_content_is_doubted_until_the_first_is_back(
    raised: float, doubted: bool, tmp_path: Path
) -> None:
    job = simulate(Plan(sessions=2, points=6, place=ELLIPSOIDAL, base_vertical=3.0, seed=3))
    geoid("g.gtx")(job, tmp_path)
    sums = [sha256((tmp_path / "g.gtx").read_bytes()).hexdigest()[:8]]
    assert run_once(job.write(tmp_path)).exit_code == 0
    geoid("g.gtx", 0.35)(job, tmp_path)
    assert run_once(job.write(tmp_path)).exit_code == 3
    damage(tmp_path / "out/issues/001/issue.json")
    geoid("g.gtx", raised)(job, tmp_path)
    sums.append(sha256((tmp_path / "g.gtx").read_bytes()).hexdigest()[:8])
    keys("quality", max_sigma_horizontal=0.07)(job, tmp_path)
    third = run_job(job.write(tmp_path))
    assert third.exit_code == (3 if doubted else 0) and doubts(third) == (["register-heights"] if doubted else [])
    said = f"g.gtx has different content (SHA-256 was {sums[0]}..., is now {sums[1]}...)"
    assert not doubted or said in third.record["doubts"][0]["what"]


def test_a_register_that_was_left_out_for_an_issue_is_held_against_the_one_before(tmp_path: Path) -> None:
    job = two_sessions(seed=3)
    keys("checks", vertical=0.3)(job, tmp_path)
    first = run_job(job.write(tmp_path))
    stated, sessions = job.job.pop("control"), job.job["session"]
    job.job["session"] = [{**one, "ties": [], "checks": [], "shift": "none"} for one in sessions]
    assert run_job(job.write(tmp_path)).record["control"] is None
    job.job.update(control=stated, session=sessions)
    back = run_job(job.write(tmp_path))
    assert first.exit_code == back.exit_code == 0 and not doubts(back)
    job.job.pop("control")
    job.job["session"] = [{**one, "ties": [], "checks": [], "shift": "none"} for one in sessions]
    assert run_job(job.write(tmp_path)).record["control"] is None
    job.job.update(control=stated, session=sessions)
    ellipsoidal_register(job, tmp_path)
    wrong = run_job(job.write(tmp_path))
    assert wrong.exit_code == 3 and doubts(wrong) == ["register-heights"]


def height_of(job: Simulation) -> str:
    return "height" if "height" in job.register else "ellipsoid_height"


def all_marks(up: float) -> Change:
    def change(job: Simulation, folder: Path) -> None:
        column = height_of(job)
        job.register[column] = job.register[column] + up

    return change


def a_mark(up: float) -> Change:
    return lambda job, folder: job.mistype("CM1", height_of(job), up)


def another_tie(job: Simulation, folder: Path) -> None:
    for one in job.job["session"]:
        one["ties"].append(one["checks"].pop(0))


def tie_instead(job: Simulation, folder: Path) -> None:
    for one in job.job["session"]:
        one["ties"], one["checks"] = one["checks"][:1], one["checks"][1:]


def poor_mark(job: Simulation, folder: Path) -> None:
    """Give the mark that sessions are tied to a wrong height of a poor uncertainty: another tie takes it back."""
    a_mark(0.15)(job, folder)
    job.register["vu95"][0] = 0.4


_EPOCH = keys("control", epoch=2020.0)
_SINCE_FIRST = {
    "re-adjusted, an epoch that changes nothing": ((), (all_marks(0.25), _EPOCH)),
    "re-adjusted, a file saved anew": ((), (all_marks(0.25), geoid("g.gtx", 0.0001))),
    "a mark corrected, an epoch": ((a_mark(0.15),), (a_mark(-0.15), _EPOCH)),
    "a mark corrected, 1 mm of a geoid": ((a_mark(0.15),), (a_mark(-0.15), geoid("g.gtx", 0.001))),
    "another tie beside, an epoch": ((poor_mark,), (another_tie, _EPOCH)),
    "another tie beside, 1 mm of a geoid": ((poor_mark,), (another_tie, geoid("g.gtx", 0.001))),
    "another tie instead, an epoch": ((a_mark(0.15),), (tie_instead, _EPOCH)),
}


@pytest.mark.parametrize("place", [CANTERBURY, ELLIPSOIDAL])
@pytest.mark.parametrize("what", _SINCE_FIRST)
def test_moves_for_marks_and_ties_are_not_the_frames(what: str, place: Place, tmp_path: Path) -> None:
    before, after = _SINCE_FIRST[what]
    _, second = issues_of(tmp_path, place, (geoid("g.gtx"), *before), after)
    assert not doubts(second)


@pytest.mark.parametrize("beside", [a_mark(0.001), another_tie, tie_instead, all_marks(0.001)])
def test_a_wrong_datum_of_the_register_is_doubted_whatever_is_revised_with_it(beside: Change, tmp_path: Path) -> None:
    looser = keys("checks", horizontal=0.1, vertical=0.2)
    _, second = issues_of(tmp_path, CANTERBURY, (geoid("g.gtx"), looser), (beside, ellipsoidal_register))
    assert second.exit_code == 3 and doubts(second) == ["register-heights"]


@pytest.mark.parametrize("up", [0.25, -0.2, 0.35])
def test_of_a_replaced_geoid_the_doubt_says_what_it_did_by_itself(up: float, tmp_path: Path) -> None:
    """A register that is re-adjusted in the same run neither hides it nor adds to it."""
    _, second = issues_of(tmp_path, ELLIPSOIDAL, (geoid("g.gtx"),), (geoid("g.gtx", 0.35), all_marks(up)))
    assert second.exit_code == 3 and doubts(second) == ["register-heights"]
    assert moved_by(second) == pytest.approx(-0.35, abs=0.002)
    assert "from this alone" in second.record["doubts"][0]["what"]


_OTHER_GEOID = "[target] geoid: heights used g.gtx and now use other.gtx"


@pytest.mark.parametrize(
    ("frame", "why", "alone"),
    [
        (geoid("other.gtx"), _OTHER_GEOID, "no height"),
        (
            geoid("other.gtx", 0.35),
            _OTHER_GEOID,
            "heights by about -0.3",
        ),
        (geoid("g.gtx", 0.02), "the grid file g.gtx has different content", "heights by about -0.0"),
        (keys("target", epoch=2020.0), "[target] epoch was not stated and is now 2020.0", "no height"),
        (_EPOCH, "[control] epoch was not stated and is now 2020.0", "no height"),
    ],
)
def test_a_note_tells_what_a_frame_did_apart_from_a_corrected_mark(
    frame: Change, why: str, alone: str, tmp_path: Path
) -> None:
    """The mark that sessions hang on is put 0.2 m down, and with it every point."""
    raised = (geoid("g.gtx"), all_marks(0.2))
    _, second = issues_of(tmp_path, ELLIPSOIDAL, raised, (all_marks(-0.2), frame))
    assert second.exit_code == 0
    (note,) = [note for note in second.record["notes"] if why in note]
    assert (
        f"which by itself moves {alone}" in note
        and "with everything that changed, the heights of all points moved" in note
    )
    by = 0.35 if "-0.3" in alone else 0.02 if "-0.0" in alone else 0.0
    assert moved_by(second) == pytest.approx(-0.2 - by, abs=0.002)


def test_a_geoid_that_ties_take_up_is_told_as_nothing_where_a_mark_was_corrected(tmp_path: Path) -> None:
    raised = (geoid("g.gtx"), all_marks(0.2))
    _, second = issues_of(tmp_path, CANTERBURY, raised, (all_marks(-0.2), geoid("other.gtx", 0.35)))
    (note,) = [note for note in second.record["notes"] if "[target] geoid" in note]
    assert second.exit_code == 0 and "which by itself moves no height" in note
    assert moved_by(second) == pytest.approx(-0.2, abs=0.002)
