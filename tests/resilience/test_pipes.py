"""A pipe in the place of any file that a standing job has, or has kept: said or passed over, and never waited for."""

import os
import shutil
from pathlib import Path

import pytest
from command import SMALL
from simulate import simulate
from warm import Warm

from pipeline import run_job

pytestmark = pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="there are no pipes")

#: What the job names; then what runs keep beside its issues, and the files of an issue.
NAMED = ("rover009.csv", "rover001.csv", "register.csv", "sessions.csv", "job.toml")
KEPT = (
    ".confirmed", ".untold", ".held-by", ".released", ".notified", ".tiedown.json", ".lock", "register.csv", "runs.log",
    "issues/001/issue.json", "issues/001/removed.json", "issues/001/simulated-001.gpkg",
    "issues/001/simulated-001.html", "issues/001/simulated-001.csv",
)  # fmt: skip
COMMANDS = (
    ("run", "job.toml"), ("run", "--dry-run", "job.toml"), ("check", "job.toml"), ("history", "job.toml"),
    ("verify", "out"), ("office", ".", "--to", "page.html"), ("trace", "job.toml", "S01-00001"),
)  # fmt: skip


@pytest.fixture(scope="module")
def issued(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a job with an issue, whose exports a pattern names."""
    place = tmp_path_factory.mktemp("issued")
    made = simulate(SMALL)
    made.job["issue"] = {"formats": ["csv"]}
    assert run_job(made.write(place, session_file=True)).issued
    return place


@pytest.mark.parametrize("place", [*NAMED, *(f"out/{name}" for name in KEPT)])
def test_a_pipe_is_never_waited_for(place: str, issued: Path, tmp_path: Path) -> None:
    folders = [tmp_path / str(number) for number, _ in enumerate(COMMANDS)]
    running = []
    for folder, words in zip(folders, COMMANDS, strict=True):
        shutil.copytree(issued, folder, symlinks=True)
        (folder / place).unlink(missing_ok=True)
        os.mkfifo(folder / place)
        running.append(Warm(*words, folder=folder))
    for words, one in zip(COMMANDS, running, strict=True):
        ended = one.end(60)
        assert ended.returncode in (0, 2, 3), (words, ended.returncode, ended.stderr.decode())
        assert b"Traceback" not in ended.stderr, (words, ended.stderr.decode())
