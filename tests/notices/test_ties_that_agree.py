"""Ties that agree to the last digit, as in jobs without noise, say nothing of uncertainties."""

from pathlib import Path

from running import record_of
from simulate import Plan, simulate


def test_ties_without_noise_are_not_told_to_agree_too_well(tmp_path: Path) -> None:
    record = record_of(simulate(Plan(sessions=1, ties=3, marks=5, noise=False)).write(tmp_path))
    assert record["adjustment"]["degrees_of_freedom"] > 0
    assert not any("agree better" in note for note in record["notes"])
