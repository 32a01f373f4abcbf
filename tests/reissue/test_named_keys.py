"""A key of the job file that changed is named in the table in which it stands, with what it said and says."""

from pathlib import Path

import pytest
from every import every
from first_issue import run_once
from running import replace_in
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.job.stated_keys import in_words

PLAN = Plan(sessions=1, points=4, ties=1, checks=2, marks=4, noise=False, seed=5)


@pytest.mark.parametrize(
    ("before", "after", "told"),
    [
        ('time_zone = "UTC"', 'time_zone = "+00:00"', "[source] time_zone UTC -> +00:00"),
        ("[[points]]\n", "[[points]]\nscale = 1.5\n", "[[points]] scale not stated -> 1.5"),
        ("[target]\n", "[target]\ngeoid_sigma = 0.02\n", "[target] geoid_sigma not stated -> 0.02"),
        ('["rover*.csv"]', '["rover001.csv"]', "[source] or [[points]]"),  # what it was is not known any more
    ],
)
def test_a_key_that_changed_is_named_where_it_stands(before: str, after: str, told: str, tmp_path: Path) -> None:
    path = simulate(PLAN).write(tmp_path)
    assert run_once(path).issued
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


#: What holds anyway in a job whose exports have a header in line 1, commas, decimal points and metres.
ANYWAY = [
    {"[source]\n": '[source]\ndecimal = "."\n'},
    {"[source]\n": '[source]\nunits = "metre"\n'},
    {"[[points]]\n": '[[points]]\nunits = "metre"\n'},
    {"[control]\n": '[control]\nunits = "metre"\n'},
    {"[source]\n": '[source]\ndelimiter = ","\nheader = 1\n', "[control]\n": '[control]\nunits = "metre"\n'},
    {"[source]\n": '[source]\nangles = "decimal"\n'},
]


@pytest.mark.parametrize("stated", ANYWAY)
def test_stating_what_holds_anyway_makes_no_issue_nor_does_stating_it_no_more(
    stated: dict[str, str], tmp_path: Path
) -> None:
    path = simulate(PLAN).write(tmp_path)
    first = run_once(path)
    assert first.issued
    replace_in(path, stated)
    again = run_job(path)
    assert not again.issued and again.record["issue"] == 1
    replace_in(path, {after: before for before, after in stated.items()})
    assert not run_job(path).issued


def test_what_is_stated_otherwise_than_it_holds_makes_an_issue_all_the_same(tmp_path: Path) -> None:
    path = simulate(PLAN).write(tmp_path)
    assert run_once(path).issued
    replace_in(path, {"[source]\n": '[source]\nunits = "foot"\n'})  # sigmas and heights are others by it
    second = run_job(path)
    changes = second.record["changes"]
    assert second.issued and changes is not None
    assert "the job file changed: [source] units not stated -> foot" in changes["because"]


def test_what_holds_anyway_is_no_reason_of_an_issue_that_is_made_for_another(tmp_path: Path) -> None:
    path = simulate(PLAN).write(tmp_path)
    assert run_once(path).issued
    register = tmp_path / "register.csv"
    lines = register.read_text(encoding="utf-8").splitlines(keepends=True)
    replace_in(path, {"[source]\n": '[source]\nunits = "metre"\n'})
    tie = simulate(PLAN).job["session"][0]["ties"][0]["mark"]
    changed = [line.replace(line.split(",")[1], f"{float(line.split(',')[1]) + 0.01:.4f}") if line.startswith(tie)
               else line for line in lines]  # fmt: skip
    register.write_text("".join(changed), encoding="utf-8")
    second = run_job(path)
    changes = second.record["changes"]
    assert second.issued and changes is not None and changes["moved"] == PLAN.points
    assert all(text.startswith(tie) for text in every(changes["because"]))


def test_a_table_is_told_in_words() -> None:
    told = in_words({"marks": "site.csv", "plan": "rigid", "height": None})
    assert told == "(marks site.csv, plan rigid)"
