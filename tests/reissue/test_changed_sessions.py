"""What the job file says of a session and what its exports say of its marks: a change is told by what changed."""

from pathlib import Path
from typing import Any

import pytest
from first_issue import run_once
from running import rewrite_export
from second_issues import rows_of
from simulate import Plan, Simulation, simulate

from pipeline import run_job
from pipeline.reissue.site_changes import site_marks_changed

PLAN = Plan(sessions=1, points=4, ties=1, checks=3, marks=4, noise=False, seed=5)
#: A base over a mark of its own, stated as it broadcast.
SETUP = {"mark": "TM1", "antenna_height": 1.612}


def _job() -> Simulation:
    job = simulate(PLAN)
    at = job.broadcast
    place = {"longitude": at.longitude[0], "latitude": at.latitude[0], "ellipsoid_height": at.height[0]}
    job.job["session"][0]["setup"] = {**SETUP, **{key: round(float(value), 9) for key, value in place.items()}}
    return job


def _because(job: Simulation, after: dict[str, Any], folder: Path) -> list[str]:
    session = job.job["session"][0]
    assert run_job(job.write(folder)).issued
    session.update(after)
    changes = run_job(job.write(folder)).record["changes"]
    assert changes is not None
    return [text for text in changes["because"] if "session" in text]


def _setup(job: Simulation, **other: Any) -> dict[str, Any]:
    return {"setup": {**job.job["session"][0]["setup"], **other}}


def test_the_height_of_a_set_up_is_named(tmp_path: Path) -> None:
    job = _job()
    told = _because(job, _setup(job, antenna_height=1.632), tmp_path)
    assert told == ["session session-01 changed: setup antenna_height 1.612 -> 1.632"]


def test_two_keys_at_once_are_both_named(tmp_path: Path) -> None:
    job = _job()
    check = job.job["session"][0]["checks"][-1]
    after = {**_setup(job, mark="TM2"), "checks": job.job["session"][0]["checks"][:-1]}
    told = _because(job, after, tmp_path)
    gone = f"check {check['point']} on {check['mark']} is gone"
    assert told == [f"session session-01 changed: {gone}, setup mark TM1 -> TM2"]


def test_what_a_record_does_not_keep_is_found_all_the_same(tmp_path: Path) -> None:
    job = _job()
    told = _because(job, _setup(job, sigma_up=0.01), tmp_path)
    assert told == ["session session-01 changed: setup sigma_up 0 -> 0.01"]


@pytest.mark.parametrize("role", ["ties", "checks"])
def test_an_occupation_that_is_listed_no_more_is_named(role: str, tmp_path: Path) -> None:
    job = simulate(PLAN)
    session = job.job["session"][0]
    if role == "ties":
        session["ties"], session["checks"] = session["checks"][:2], session["checks"][2:]
    gone = session[role][0]
    told = _because(job, {role: session[role][1:]}, tmp_path)
    assert told == [f"session session-01 changed: {role.removesuffix('s')} {gone['point']} on {gone['mark']} is gone"]


def test_a_check_that_becomes_a_tie_is_named(tmp_path: Path) -> None:
    job = simulate(PLAN)
    session = job.job["session"][0]
    one, *rest = session["checks"]
    told = _because(job, {"ties": [*session["ties"], one], "checks": rest}, tmp_path)
    called = f"{one['point']} on {one['mark']}"
    assert told == [f"session session-01 changed: tie {called} is new, check {called} is gone"]


def test_a_stated_shift_is_named_in_words(tmp_path: Path) -> None:
    job = simulate(PLAN)
    told = _because(job, {"shift": {"east": 1.24, "north": -0.87, "up": -6.0}}, tmp_path)
    assert len(told) == 1 and "shift derive -> (east 1.24, north -0.87, up -6" in told[0] and "{" not in told[0]


def test_a_tie_with_another_height_in_its_export_is_why_its_session_moved(tmp_path: Path) -> None:
    job = simulate(PLAN)
    path = job.write(tmp_path)
    assert run_once(path).issued
    tie = job.job["session"][0]["ties"][0]

    def higher(row: dict[str, str]) -> dict[str, str]:
        return row | ({"EllHt": f"{float(row['EllHt']) + 0.02:.4f}"} if row["Point"] == tie["point"] else {})

    rewrite_export(tmp_path / "rover001.csv", higher)
    second = run_job(path)
    changes = second.record["changes"]
    words = (
        f"the raw file rover001.csv changed: the tie {tie['point']} on {tie['mark']} has other numbers"
        " (east +0.000, north +0.000, up +0.020 m)"
    )
    assert changes is not None and changes["because"] == [words]
    rows = rows_of(second, "changes")
    assert len(rows) == PLAN.points and {row["because"] for row in rows} == {words}


def test_a_point_that_changed_says_nothing_of_ties(tmp_path: Path) -> None:
    job = simulate(PLAN)
    path = job.write(tmp_path)
    first = run_once(path)
    name = rows_of(first, "points")[0]["name"]
    rewrite_export(
        tmp_path / "rover001.csv",
        lambda row: row | ({"EllHt": f"{float(row['EllHt']) + 0.02:.4f}"} if row["Point"] == name else {}),
    )
    changes = run_job(path).record["changes"]
    assert changes is not None and changes["because"][0] == "the raw file rover001.csv changed"


def test_the_marks_of_a_site_that_changed_are_named() -> None:
    def site(**heights: float | None) -> Any:
        return {
            "marks": [{"mark": mark, "easting": 1.0, "northing": 2.0, "height": up} for mark, up in heights.items()]
        }

    assert site_marks_changed(site(A=1.0, B=2.0), site(A=1.0, B=2.0)) == ""
    assert site_marks_changed(None, site(A=1.0)) == ""
    assert site_marks_changed(site(A=1.0, B=2.0), site(A=1.02, C=None)) == (
        "mark A of the site: height 1.0000 to 1.0200; mark C is new among the marks of the site;"
        " mark B is no longer among the marks of the site"
    )
