"""A check whose code is mistyped is not issued as a point where a check would fail; codes of their own are left."""

from pathlib import Path

import numpy as np
import pytest
from simulate import Plan, Simulation, simulate
from simulate_plan import turn_enu

from pipeline import run_job
from pipeline.run.run_job import Outcome

PLAN = Plan(sessions=1, points=14, ties=1, checks=3, marks=5, noise=False)


def job(code: str, up: float, *, name: bool = True, others: tuple[str, ...] = ()) -> Simulation:
    """Checks by their code; that of the closing one is another, and it is so many metres too high."""
    made = simulate(PLAN)
    rows, session = made.rows, made.job["session"][0]
    rows["code"], rows["name"] = rows["code"].astype("U16"), rows["name"].astype("U16")
    of_check = rows["kind"] == "check"
    rows["code"][of_check] = "CHK"
    marks = {one["point"]: one["mark"] for one in session.pop("checks")}
    (last,) = np.flatnonzero(of_check)[-1:]
    mark = marks[str(rows["name"][last])]
    rows["code"][last] = code
    rows["name"][last] = f"{mark}-s1a-C" if name else "P771"
    one = np.arange(len(rows["name"])) == last
    made.displace(one, turn_enu(rows["longitude"][one], rows["latitude"][one], np.array([[0.0, 0.0, up]])))
    points = np.flatnonzero(rows["kind"] == "point")
    rows["code"][points[: len(others)]] = others
    made.job["checks"] = {"codes": ["CHK"]}
    return made


def doubts(outcome: Outcome) -> list[str]:
    return [one["what"] for one in outcome.record["doubts"]]


@pytest.mark.parametrize(
    ("code", "name"),
    [("CKH", True), ("CHJ", True), ("CKH", False)],
    ids=["changed over", "another letter", "changed over, and the name a number"],
)
def test_a_failing_check_of_a_mistyped_code_is_a_doubt(code: str, name: bool, tmp_path: Path) -> None:
    outcome = run_job(job(code, -0.19, name=name, others=("TREE", "TREE")).write(tmp_path))
    (what,) = doubts(outcome)
    assert outcome.exit_code == 3 and f"its code {code} is one slip from CHK" in what
    assert outcome.record["rows"]["by_reason"].get("suspect") == 1


@pytest.mark.parametrize(
    ("code", "up", "others"),
    [
        ("CKH", 0.0, ()),  # it agrees with its mark: nothing is hidden
        ("CKH", -0.19, ("CKH", "CKH", "CKH")),  # a code of its own: three more elsewhere have it
        ("CHK2", -0.19, ("CHK1",)),  # numbers count things
        ("CHR", -0.19, ("CHR",)),  # another letter, at a reading with a number for a name: a thing beside the mark
        ("TREE", -0.19, ()),
    ],
)
def test_a_code_of_its_own_is_no_check(code: str, up: float, others: tuple[str, ...], tmp_path: Path) -> None:
    outcome = run_job(job(code, up, name=False, others=others).write(tmp_path))
    assert "is one slip from" not in " ".join(doubts(outcome)), doubts(outcome)
