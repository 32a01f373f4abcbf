"""A few hundred spoilt exports: each is read, refused with a problem, or has rows held back; nothing ends in a fault.

`mutations.py` beside this does the same for as long as one likes, with whole runs only.
"""

import random
import shutil
from pathlib import Path

import pytest
from exports_made import where
from mutated import BY_FORM
from spoilt_jobs import FORMS, originals, spoil

from pipeline.job.load import load_job
from pipeline.problems import JobError, Problems
from pipeline.read.exports import read_batches
from pipeline.read.find_exports import find_exports
from pipeline.tables import READING

READ, RUN = 100, 6


@pytest.fixture(scope="module")
def jobs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return originals(tmp_path_factory.mktemp("mutations"))


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
@pytest.mark.parametrize("form", FORMS)
def test_reading_ends_in_rows_or_in_problems(jobs: dict[str, Path], form: str, tmp_path: Path) -> None:
    loaded = load_job(jobs[form], Problems())
    assert loaded is not None
    (original,) = jobs[form].parent.glob("rover*")
    read = refused = 0
    for seed in range(READ):
        chance = random.Random(f"{form} {seed}")
        path = Path(shutil.copy(original, tmp_path / original.name))
        mutation = chance.choice(BY_FORM[form])
        mutation(path, chance)
        problems = Problems()
        exports, _ = find_exports(loaded.job, tmp_path, "job.toml", where, problems)
        try:
            rows = [row for export in exports for batch in read_batches(export, 7) for row in batch.to_pylist()]
        except JobError as error:
            problems.found += error.problems
            rows = []
        refused += bool(problems.found)
        read += bool(rows)
        assert all(problem.what and problem.file for problem in problems.found), (mutation, seed)
        for row in rows:
            assert set(READING.names) <= set(row)
            assert (row["held"] == 0) == (row["detail"] is None), (mutation, seed, row)
    assert read > READ // 8 and refused > READ // 8, "the mutations are of one kind"


@pytest.mark.filterwarnings("ignore::RuntimeWarning")
@pytest.mark.parametrize("form", FORMS)
def test_a_run_ends_in_an_outcome_or_in_problems(jobs: dict[str, Path], form: str, tmp_path: Path) -> None:
    for seed in range(RUN):
        found = spoil(jobs[form], form, 500 + seed, tmp_path / "spoilt")
        assert found.came in ("issued", "refused"), found
