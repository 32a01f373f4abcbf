"""A job file that does not answer costs its own job, never the process that starts and tells of all of them."""

import multiprocessing.process
import os
import sys
from multiprocessing import Pipe
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest
from simulate import Plan, simulate

from pipeline.cli import faults, run_command
from pipeline.run import crew
from pipeline.run.answering import silent
from pipeline.run.mishaps import TimedOut

PLAN = Plan(sessions=1, points=2, ties=1, checks=1, marks=3, noise=False, seed=3)


def test_files_that_are_there_or_not_or_are_no_job_files_answer(tmp_path: Path) -> None:
    good = simulate(PLAN).write(tmp_path)
    odd = tmp_path / "odd.toml"
    odd.write_bytes(b"\xff\x00folder = ")
    os.mkfifo(tmp_path / "pipe.toml")
    files = [good, odd, tmp_path / "no.toml", tmp_path, tmp_path / "pipe.toml", good / "below", Path("relative.toml")]
    assert silent(files) == frozenset() and silent([]) == frozenset()


@pytest.mark.parametrize(("says", "found"), [("0\\n2\\nend\\n", {"b"}), ("0\\n", set()), ("", set())])
def test_who_does_not_answer_while_the_others_do_is_silent(
    says: str, found: set[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One that looks and dies has told nothing of those that it did not come to."""
    looks = tmp_path / "looks"
    looks.write_text(f"#!/bin/sh\ncat > /dev/null\nprintf '{says}'\n", encoding="utf-8")
    looks.chmod(0o755)
    monkeypatch.setattr(sys, "executable", str(looks))
    assert silent([Path("a"), Path("b"), Path("c")]) == {Path(name) for name in found}


def test_what_timed_out_and_does_not_answer_is_neither_looked_at_nor_logged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Looking for the log's folder would hold the process for as long as the mount is dead."""
    held, well = tmp_path / "held.toml", tmp_path / "well.toml"
    looked: list[Path] = []

    def log_outcome(job: Path, *_: object, **__: object) -> str:
        looked.append(job)
        return ""

    monkeypatch.setattr(run_command, "log_outcome", log_outcome)
    monkeypatch.setattr(run_command, "silent", lambda jobs: frozenset({held}.intersection(jobs)))
    logged: dict[Path, str] = {}
    results = [(job, TimedOut.after(5)) for job in (held, well)]
    told: list[Path] = []
    notifier = SimpleNamespace(tell=lambda job, *_: told.append(job))
    found = run_command._notifying(run_command._logging(results, logged, frozenset()), cast(Any, notifier), logged)
    assert [job for job, _ in found] == [held, well]
    assert looked == told == [well] and "does not answer" in logged[held]


def test_names_that_do_not_answer_are_not_resolved(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    held = tmp_path / "held.toml"
    resolve = os.path.realpath

    def realpath(path: Path) -> str:
        assert path != held
        return resolve(path)

    monkeypatch.setattr(os.path, "realpath", realpath)
    one = tmp_path / "one.toml"
    assert list(faults.named_again([held, one, tmp_path / "." / "one.toml", Path(str(held))], {held})) == [2, 3]


def test_a_process_that_the_system_holds_is_left_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    """Killed, it is not gone before its file answers; neither the other jobs nor the end of the program wait for it."""
    waited: list[float | None] = []
    process = type(
        "Held", (), {"kill": lambda _: None, "join": lambda _, seconds: waited.append(seconds), "exitcode": None}
    )()
    vars(multiprocessing.process)["_children"].add(process)
    ours, theirs = Pipe()
    worker = crew._Worker(cast(Any, process), ours)
    assert worker.end() is None and ours.closed
    assert waited == [crew._TO_END] and process not in vars(multiprocessing.process)["_children"]
    theirs.close()
