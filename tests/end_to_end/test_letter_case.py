"""Words that an export spells in other letters than the job file: a failing check is one, a fixed solution is fixed."""

import unicodedata
from pathlib import Path

import numpy as np
import pytest
from simulate import Plan, Simulation, simulate
from simulate_plan import turn_enu

from pipeline import run_job

PLAN = Plan(sessions=1, points=14, ties=1, checks=3, marks=5, noise=False)
APART = unicodedata.normalize("NFD", "PRÜFUNG")
#: A code as the export and as the job file has it.
CODES = (
    ("NİRENGİ", "NİRENGİ"),
    ("NİRENGİ", "nirengi"),
    ("NIRENGI", "nirengi"),
    ("ΕΛΕΓΧΟΣ", "ΕΛΕΓΧΟΣ"),
    ("ΕΛΕΓΧΟΣ", "ελεγχος"),
    ("PRÜFMASS", "Prüfmaß"),
    (APART, "PRÜFUNG"),
    ("PRÜFUNG", APART),
    (APART, "prüfung"),
)


def job(column: str, word: str) -> Simulation:
    """A day whose rows all have a word in a column."""
    made = simulate(PLAN)
    made.rows[column] = np.full(len(made.rows["name"]), word)
    return made


def coded(written: str, stated: str, off: float = 0.0, name: str = "P771") -> Simulation:
    """Checks by their code alone; the closing one is so many metres too far east, and the field may name its mark."""
    made = simulate(PLAN)
    rows = made.rows
    rows["code"], rows["name"] = rows["code"].astype("U16"), rows["name"].astype("U16")
    of_check = rows["kind"] == "check"
    rows["code"][of_check] = written
    made.job["session"][0].pop("checks")
    one = np.arange(len(rows["name"])) == np.flatnonzero(of_check)[-1]
    rows["name"][one] = name
    made.displace(one, turn_enu(rows["longitude"][one], rows["latitude"][one], np.array([[off, 0.0, 0.0]])))
    made.job["checks"] = {"codes": [stated]}
    return made


@pytest.mark.parametrize(("written", "stated"), CODES)
def test_a_failing_check_by_its_code_fails_however_that_is_spelled(written: str, stated: str, tmp_path: Path) -> None:
    outcome = run_job(coded(written, stated, 0.25).write(tmp_path), dry_run=True)
    assert (outcome.exit_code, outcome.record["verdict"]) == (3, "failed")
    assert [(one["role"], one["passed"]) for one in outcome.record["checks"]] == [
        ("tie", True), ("check", True), ("check", True), ("check", False),
    ]  # fmt: skip


@pytest.mark.parametrize(("written", "stated"), CODES)
def test_passing_checks_by_such_codes_prove_the_day(written: str, stated: str, tmp_path: Path) -> None:
    outcome = run_job(coded(written, stated).write(tmp_path), dry_run=True)
    assert (outcome.exit_code, outcome.record["verdict"]) == (0, "proven")
    assert not any("checks.codes" in note for note in outcome.record["notes"])


@pytest.mark.parametrize("stated", ["KONTROLLPUNKT", "NIVELMAN"])
def test_a_code_of_checks_that_no_reading_has_is_told_with_its_line(stated: str, tmp_path: Path) -> None:
    path = coded("NİRENGİ", stated).write(tmp_path)
    line = next(at for at, text in enumerate(path.read_text("utf-8").splitlines(), 1) if stated in text)
    (told,) = (note for note in run_job(path, dry_run=True).record["notes"] if "checks.codes" in note)
    assert told.startswith(f"{path.name}:{line}: no reading has a code of checks.codes ({stated})")


@pytest.mark.parametrize("stated", ["SABİT", "sabit", "SABIT", "sabi̇t", unicodedata.normalize("NFD", "SABİT")])
def test_a_solution_is_accepted_however_it_is_spelled(stated: str, tmp_path: Path) -> None:
    made = job("solution", "SABİT")
    made.job["quality"] = {**made.job.get("quality", {}), "solutions": [stated]}
    outcome = run_job(made.write(tmp_path), dry_run=True)
    assert outcome.exit_code == 0 and not outcome.record["rows"]["held_back"]
