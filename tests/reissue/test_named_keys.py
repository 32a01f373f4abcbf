"""A key of the job file that changed is named in the table in which it stands, with what it said and says."""

from pathlib import Path

import pytest
from running import replace_in
from simulate import Plan, simulate

from pipeline import run_job

PLAN = Plan(sessions=1, points=4, ties=1, checks=2, marks=4, noise=False, seed=5)


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        ('time_zone = "UTC"', 'time_zone = "+00:00"', "[source] time_zone UTC -> +00:00"),
        ("[source]\n", '[source]\ndecimal = "."\n', "[source] decimal not stated -> ."),
        ("[[points]]\n", '[[points]]\nunits = "metre"\n', "[[points]] units not stated -> metre"),
        ("[[points]]\n", "[[points]]\nscale = 1.5\n", "[[points]] scale not stated -> 1.5"),
        ("[target]\n", "[target]\ngeoid_sigma = 0.02\n", "[target] geoid_sigma not stated -> 0.02"),
        ("[control]\n", '[control]\nunits = "metre"\n', "[control] units not stated -> metre"),
        ('["rover*.csv"]', '["rover001.csv"]', "[source] or [[points]]"),  # what it was is not known any more
    ],
)
def test_a_key_that_changed_is_named_where_it_stands(before: str, after: str, told: str, tmp_path: Path) -> None:
    path = simulate(PLAN).write(tmp_path)
    assert run_job(path).issued
    replace_in(path, {before: after})
    changes = run_job(path).record["changes"]
    assert changes is not None and f"the job file changed: {told}" in changes["because"]


def test_a_key_that_is_not_stated_any_more_is_named_too(tmp_path: Path) -> None:
    path = simulate(PLAN).write(tmp_path)
    replace_in(path, {"[target]\n": "[target]\ngeoid_sigma = 0.02\n"})
    assert run_job(path).issued
    replace_in(path, {"geoid_sigma = 0.02\n": ""})
    changes = run_job(path).record["changes"]
    assert changes is not None and "the job file changed: [target] geoid_sigma 0.02 -> not stated" in changes["because"]
