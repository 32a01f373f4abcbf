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


def by_rovers(folder: Path, rows: Callable[[Simulation], list[int]]) -> list[str]:
    """What is told of a rover at the first base whose file has some rows with the second's id.

    The second base's occupations, beside which no rover stands while its day goes on, are in a file of their own.
    """
    job = simulate(SMALL)
    job.rows["base"] = job.rows["base"].astype("U12")
    first, second = job.job["session"]
    first["end"], second["start"] = second["end"], first["start"]
    job.rows["base"][rows(job)] = "BASE-02"
    moved = set(job.rows["name"][rows(job)].tolist())
    second["checks"] = [*second["checks"], *(one for one in first["checks"] if one["point"] in moved)]
    first["checks"] = [one for one in first["checks"] if one["point"] not in moved]
    path = job.write(folder)
    heading, *lines = (folder / "rover001.csv").read_text(encoding="utf-8").splitlines()
    for number, name in enumerate(("rover001.csv", "rover002.csv")):
        mine = [line for line, session in zip(lines, job.rows["session"], strict=True) if session == number]
        (folder / name).write_text("\n".join([heading, *mine, ""]), encoding="utf-8")
    path.write_text(path.read_text(encoding="utf-8").replace("rover001.csv", "rover*.csv"), encoding="utf-8")
    return [one for one in check_job(path).warnings if "the base id BASE-02" in one]


def test_a_block_of_a_file_without_a_mark_at_the_other_base_is_told(tmp_path: Path) -> None:
    """Eight points in the middle of the day; the file's ties and checks all have the first base's id."""
    (said,) = by_rovers(tmp_path, lambda job: points(job)[6:14])
    first, last = 2 + points(simulate(SMALL))[6], 2 + points(simulate(SMALL))[13]
    assert said.startswith(f"rover001.csv:{first}: 8 readings from ")
    assert f"(rows {first} to {last}) have the base id BASE-02, and the readings before and after BASE-01" in said
    assert "no reading of the file on a mark has BASE-02" in said


@pytest.mark.parametrize(
    "rows",
    [
        lambda job: points(job)[::2],  # two rovers in one file
        lambda job: [*points(job)[6:14], *on_marks(job)[1:2]],  # the rover stood on a mark with the other base
        lambda job: [*points(job)[12:], *on_marks(job)[-1:]],  # and went on with it to the close
    ],
)
def test_a_block_of_work_with_the_other_base_is_let_be(rows: Callable[[Simulation], list[int]], tmp_path: Path) -> None:
    assert by_rovers(tmp_path, rows) == []


def on_marks(job: Simulation) -> list[int]:
    """The first session's occupations."""
    return [
        row
        for row, (kind, session) in enumerate(zip(job.rows["kind"], job.rows["session"], strict=True))
        if kind != "point" and session == 0
    ]
