"""Ages of corrections: a few readings with far older ones than the rest, which no limit judges, are told.

A link that works gives ages of a few seconds; a minute is one that was lost (common practice, no source).
"""

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from base_logged import SMALL
from running import replace_in, rewrite_export
from simulate import simulate

from pipeline import run_job

MAPPED = {', base = "Base"': ', base = "Base", correction_age = "Age"'}
LIMIT = {"[quality]\n": "[quality]\nmax_correction_age = 10.0\n"}
Age = Callable[[int, bool], str]


def told(folder: Path, heading: str, age: Age, *changes: dict[str, str]) -> tuple[int, list[str]]:
    """Return the exit code and what is told of ages: those of the rows from 0 on, and whether each is on a mark."""
    path, count = simulate(replace(SMALL, sessions=1)).write(folder), iter(range(1000))
    rewrite_export(folder / "rover001.csv", lambda row: row | {heading: age(next(count), row["Code"] in ("CM", "CHK"))})
    for change in changes:
        replace_in(path, change)
    outcome = run_job(path, dry_run=True)
    return outcome.exit_code, [note for note in outcome.record["notes"] if f'column "{heading}"' in note]


def lost(row: int, on_mark: bool) -> str:
    """A link that is lost for five readings, from the line 12 of the file on."""
    return "74" if 10 <= row < 15 else f"{0.8 + 0.1 * (row % 7):.1f}"


@pytest.mark.parametrize(
    ("heading", "changes"), [("Age", [MAPPED]), ("Age", []), ("Age [s]", []), ("Diff age (sec)", []), ("CorrAge", [])]
)
def test_a_few_old_ones_are_told(heading: str, changes: list[dict[str, str]], tmp_path: Path) -> None:
    code, (note,) = told(tmp_path, heading, lost, *changes)
    assert code == 0 and note.startswith("rover001.csv:12: ")
    assert "74 s at the most" in note and "of 5 accepted readings" in note
    assert ("map it" in note) != bool(changes)


def test_the_limit_that_is_advised_holds_back_these_alone(tmp_path: Path) -> None:
    _, (note,) = told(tmp_path / "before", "Age", lost, MAPPED)
    limit = float(note.split("max_correction_age = ")[1].split()[0])
    path, count = simulate(replace(SMALL, sessions=1)).write(tmp_path / "after"), iter(range(1000))
    rewrite_export(tmp_path / "after" / "rover001.csv", lambda row: row | {"Age": lost(next(count), False)})
    replace_in(path, {**MAPPED, "[quality]\n": f"[quality]\nmax_correction_age = {limit}\n"})
    record = run_job(path, dry_run=True).record
    assert record["rows"]["held_back"] == 5 and not [note for note in record["notes"] if "s at the most" in note]


@pytest.mark.parametrize("cell", ["{} s", "{}s", "{} sec"])
def test_seconds_may_stand_in_the_cells(cell: str, tmp_path: Path) -> None:
    _, (note,) = told(tmp_path, "Correction age", lambda row, mark: cell.format(lost(row, mark)))
    assert "74 s at the most" in note


def test_numbers_may_have_a_comma(tmp_path: Path) -> None:
    _, (note,) = told(tmp_path, "Korrekturalter", lambda row, mark: f"{lost(row, mark).replace('.', ',')}")
    assert "74 s at the most" in note


@pytest.mark.parametrize("mapped", [True, False])
@pytest.mark.parametrize(
    "age",
    [
        lambda row, _: f"{1 + row % 3}",
        lambda row, _: "0",
        lambda row, _: f"{5 + 0.5 * (row % 21):.1f}",
        lambda row, _: f"{4 + 1.1 * row:.1f}",
        lambda row, _: "",
        lambda row, _: "60",
    ],
    ids=["fresh", "none", "radio", "slow", "empty", "service"],
)
def test_ages_of_a_link_that_works_are_left_in_peace(mapped: bool, age: Age, tmp_path: Path) -> None:
    assert told(tmp_path, "Age", age, *([MAPPED] if mapped else [])) == (0, [])


def test_a_limit_is_enough(tmp_path: Path) -> None:
    code, notes = told(tmp_path, "Age", lost, MAPPED, LIMIT)
    assert (code, notes) == (0, [])


@pytest.mark.parametrize("heading", ["Age", "Alter", "Age (years)", "Age [a]", "Alter (Jahre)", "Age [ms]"])
def test_ages_of_trees_are_none_of_corrections(heading: str, tmp_path: Path) -> None:
    """A young plantation with some old trees in it: marks have no age."""
    code, notes = told(tmp_path, heading, lambda row, mark: "" if mark else "85" if row % 9 == 4 else f"{3 + row % 4}")
    assert (code, notes) == (0, [])


@pytest.mark.parametrize("heading", ["Age (years)", "Alter [Jahre]", "Age [ms]", "Age (min)"])
def test_another_unit_is_none_of_corrections(heading: str, tmp_path: Path) -> None:
    assert told(tmp_path, heading, lost) == (0, [])
