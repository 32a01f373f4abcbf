"""A few readings with another base's id, in time between readings of their own base, are told with their lines."""

from collections.abc import Callable
from pathlib import Path

import pytest
from simulate import Plan, Simulation, simulate

from pipeline import check_job

SMALL = Plan(sessions=2, points=20, ties=1, checks=2, marks=4, seed=7)


def told(folder: Path, rows: Callable[[Simulation], list[int]], overlapping: bool = True) -> list[str]:
    """What is told where some rows of the first session have the second base's id, both bases being at work."""
    job = simulate(SMALL)
    job.rows["base"] = job.rows["base"].astype("U12")
    first, second = job.job["session"]
    if overlapping:
        first["end"], second["start"] = second["end"], first["start"]
    job.rows["base"][rows(job)] = "BASE-02"
    return [one for one in check_job(job.write(folder)).warnings if "the base id BASE-02" in one]


def points(job: Simulation) -> list[int]:
    return [
        row
        for row, (kind, session) in enumerate(zip(job.rows["kind"], job.rows["session"], strict=True))
        if kind == "point" and session == 0
    ]


@pytest.mark.parametrize("count", [1, 2, 4])
def test_a_few_between_the_own_ones_are_told(count: int, tmp_path: Path) -> None:
    (said,) = told(tmp_path, lambda job: points(job)[8 : 8 + count])
    first = 2 + points(simulate(SMALL))[8]
    assert said.startswith(f"rover001.csv:{first}: {count} reading")
    assert f"rows {first}, " in said or count == 1
    assert "before and after BASE-01" in said


@pytest.mark.parametrize(
    "rows",
    [
        lambda job: [],
        lambda job: points(job)[-3:],  # what comes last is work with the other base
        lambda job: points(job)[6:14],  # so are many
        lambda job: points(job)[::2],  # two rovers in one file
    ],
)
def test_work_with_both_bases_is_let_be(rows: Callable[[Simulation], list[int]], tmp_path: Path) -> None:
    assert told(tmp_path, rows) == []
