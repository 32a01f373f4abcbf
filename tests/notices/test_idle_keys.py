"""Keys of the job file that change nothing as the job has the rest are told, with their line; others are not."""

from pathlib import Path
from typing import Any

import pytest
from simulate import Plan, simulate

from pipeline.check import check_job

SMALL = Plan(sessions=1, points=12)


def told(folder: Path, **tables: dict[str, Any]) -> list[str]:
    """Return what is said of keys without an effect in a job with so much more in its file."""
    job = simulate(SMALL)
    for name, keys in tables.items():
        job.job[name] = job.job.get(name, {}) | keys
    words = ("has no effect", "reports no reading")
    return [one for one in check_job(job.write(folder)).warnings if any(word in one for word in words)]


@pytest.mark.parametrize(
    ("tables", "word"),
    [
        ({"control": {"angles": "dms"}}, "`angles` has no effect: the register has eastings and northings"),
        ({"drawing": {"scale": 200.0}}, '[drawing] has no effect: there is no "dxf" in issue.formats'),
        ({"quality": {"doubtful_distance": 90_000.0}}, "doubtful_distance = 90000 reports no reading"),
        ({"quality": {"doubtful_distance": 400.0, "max_distance": 300.0}}, "those beyond max_distance = 300 are held"),
        ({"quality": {"doubtful_height_difference": 5_000.0}}, "those beyond max_height_difference = 3000 are held"),
    ],
)
def test_a_key_without_effect_is_told_once(tables: dict[str, Any], word: str, tmp_path: Path) -> None:
    (said,) = told(tmp_path, **tables)
    assert word in said and "job.toml:" in said


@pytest.mark.parametrize(
    "tables",
    [
        {},
        {"control": {"angles": "decimal"}},
        {"drawing": {"scale": 200.0}, "issue": {"formats": ["dxf"]}},
        {"quality": {"doubtful_distance": 2_000.0}},
        {"quality": {"max_distance": 300.0}},  # the limit of what is reported is not the job's
    ],
)
def test_keys_with_an_effect_are_not(tables: dict[str, Any], tmp_path: Path) -> None:
    assert told(tmp_path, **tables) == []


def test_no_solution_is_asked_for_where_no_export_has_any(tmp_path: Path) -> None:
    job = simulate(SMALL)
    job.job["quality"] |= {"solutions": []}
    path = job.write(tmp_path)
    text = path.read_text(encoding="utf-8")
    assert text.count(', solution = "Sol"') == 1
    path.write_text(text.replace(', solution = "Sol"', ""), encoding="utf-8")
    check_job(path)
