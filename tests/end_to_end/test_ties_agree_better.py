"""Ties that agree better than their uncertainties say: told only where the stated ones are far too large.

Uncertainties that a job takes for want of stated ones are round numbers, and stated ones are of single epochs while a
mark is occupied for minutes: a factor of two on the safe side is common practice, and nobody can do anything about it.
"""

from pathlib import Path

import pytest
from running import record_of
from simulate import Plan, simulate


def told(folder: Path, times: float, *, noise: bool = True, stated: bool = True) -> list[str]:
    job = simulate(Plan(sessions=4, points=8, ties=3, checks=2, marks=5, noise=noise))
    for name in ("sigma_east", "sigma_north", "sigma_up"):
        job.rows[name] = job.rows[name] * times
    job.job["quality"] = {}
    path = job.write(folder)
    if not stated:
        text = path.read_text(encoding="utf-8")
        for mapped in ('sigma_east = "sE"', 'sigma_north = "sN"', 'sigma_up = "sU"'):
            text = text.replace(f", {mapped}", "")
        path.write_text(text, encoding="utf-8")
    return [note for note in record_of(path)["notes"] if "agree better" in note]


def test_uncertainties_in_another_unit_are_told(tmp_path: Path) -> None:
    (note,) = told(tmp_path, 30.0)
    assert "too large by a factor of" in note
    assert "unit" in note


@pytest.mark.parametrize(("times", "noise", "stated"), [(1.0, True, True), (3.0, True, True), (1.0, False, True),
                                                        (1.0, False, False), (1.0, True, False)])  # fmt: skip
def test_what_is_on_the_safe_side_is_not_told(times: float, noise: bool, stated: bool, tmp_path: Path) -> None:
    assert told(tmp_path, times, noise=noise, stated=stated) == []
