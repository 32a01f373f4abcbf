"""Whatever a person types in a job file, a table of sessions or a register ends in an issue or in words.

A fault in the program (any exception but the user's own) is what these look for. ``TIEDOWN_TYPED`` sets how many jobs
are typed; a few thousand take some minutes.
"""

import os
import shutil
import tempfile
import tomllib
from pathlib import Path

import pytest
from every import every
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from simulate import Plan, simulate
from typed_jobs import Typed, typed

from pipeline import run_job
from pipeline.check import check_job
from pipeline.problems import JobError, JobHeld

_PLAN = Plan(sessions=2, points=4, noise=False)
_MANY = int(os.environ.get("TIEDOWN_TYPED", "80"))


@pytest.fixture(scope="module")
def world(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with a right job, its export, its register and its sessions as a table."""
    folder = tmp_path_factory.mktemp("typed")
    job = simulate(_PLAN).write(folder, session_file=True)
    job.unlink()
    simulate(_PLAN).write(folder)
    return folder


@settings(max_examples=_MANY, suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large])
@given(data=st.data())
def test_what_is_typed_ends_in_an_issue_or_in_words(world: Path, data: st.DataObject) -> None:
    right = tomllib.loads((world / "job.toml").read_text(encoding="utf-8"))
    sessions, register = ((world / name).read_text(encoding="utf-8") for name in ("sessions.csv", "register.csv"))
    said = data.draw(typed(right, sessions, register))
    check = data.draw(st.booleans())
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "deep" / "er"
        shutil.copytree(world, folder, dirs_exist_ok=True)
        try_out(said, folder, check)


def try_out(said: Typed, folder: Path, check: bool) -> None:
    """Check or run what was typed; every problem has words and, where it is the job file's, a line."""
    for name, text in (("job.toml", said.job), ("sessions.csv", said.sessions), ("register.csv", said.register)):
        (folder / name).write_bytes(text.encode("utf-8", "surrogatepass"))
    try:
        if check:
            check_job(folder / "job.toml")
        else:
            run_job(folder / "job.toml")
    except JobHeld:
        return
    except JobError as error:
        assert error.problems
        assert all(problem.file and problem.what for problem in every(error.problems))
