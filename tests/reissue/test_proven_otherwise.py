"""Points whose proof word alone changed are counted in one line: they stand on other layers of a drawing."""

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from running import csv_rows, rewrite_export, write_csv
from second_issues import rows_of
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.between import between
from pipeline.issue.change_summary import change_message
from pipeline.reissue.proven_otherwise import Proven


def proven(*given: tuple[int, str]) -> Proven:
    """Points by a number that stands for name and time, and their words."""
    made = Proven()
    for point, word in given:  # batch by batch
        made.add(np.array([point], np.uint64), pa.array([word]))
    return made


def test_points_are_known_by_name_and_time_in_whatever_order() -> None:
    was = proven(*((k, "bracketed") for k in range(5)), (7, "unclosed"))
    now = proven(
        (3, "unclosed"), (1, "unclosed"), (0, "bracketed"), (9, "unclosed"), (7, "bracketed"), (4, "bracketed")
    )
    assert was.otherwise(now) == [
        "3 points proven otherwise: 2 were bracketed and are unclosed, 1 was unclosed and is bracketed"
    ]
    assert was.otherwise(was) == [] and was.otherwise(proven()) == [] and proven().otherwise(was) == []


@pytest.mark.parametrize("kept", [True, False])
def test_a_closing_check_that_is_gone_proves_points_otherwise(tmp_path: Path, kept: bool) -> None:
    """Without the occupation behind its last point a session is proven otherwise; nothing of it moves."""
    made = simulate(Plan(sessions=1, points=8, noise=False))
    path = made.write(tmp_path)
    first = run_job(path)
    session, export = made.job["session"][0], tmp_path / "rover001.csv"
    if kept:
        rewrite_export(export, lambda row: row | {"Code": "X"})
    else:
        closing = session["checks"].pop()["point"]
        made.write(tmp_path)
        write_csv(export, [row for row in csv_rows(export) if row["Point"] != closing])
    second = run_job(path)
    was, now = ({row["name"]: row["proof"] for row in rows_of(one, "points")} for one in (first, second))
    other = sum(was[name] != now[name] for name in was)
    counts = change_message(second.record)[-1]
    assert (other == 0) is kept
    if kept:
        assert "proven otherwise" not in counts
        return
    assert other == 8
    (before,), (after,) = (set(words.values()) for words in (was, now))
    said = f"8 points proven otherwise: 8 were {before} and are {after}"
    assert counts == f"since issue 001: {said}"
    assert said in between(path, 1, 2).because
    assert f"8 points proven otherwise: 8 were {after} and are {before}" in between(path, 2, 1).because
