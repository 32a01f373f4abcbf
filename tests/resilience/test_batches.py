"""Batches that nobody watches: processes killed from outside, jobs that hang, signals to the parent or to all."""

import os
import signal
import subprocess
import sys
import time
from functools import partial
from pathlib import Path

import pytest
from batches import in_group, issued, send, signals, start, until, workers, write_jobs
from command import SMALL, process, surroundings
from every import every
from simulate import simulate

from pipeline.verify import verify

pytestmark = pytest.mark.skipif(not Path("/proc/self/task").is_dir(), reason="processes are looked at in /proc")


@pytest.fixture
def jobs(tmp_path: Path) -> list[Path]:
    """Three small jobs."""
    return write_jobs(tmp_path, 3)


@pytest.fixture
def many_jobs(tmp_path: Path) -> list[Path]:
    """So many small jobs that a batch of them has not ended by the time its first issue is seen."""
    return write_jobs(tmp_path, 10)


def whole(jobs: list[Path]) -> None:
    """Assert that a run issues what is missing, once, and that every issue is whole."""
    found = process("run", "--quiet", *jobs)
    assert (found.returncode, found.stderr) == (0, b"")
    for job in jobs:
        verified = verify(job.parent / "out")
        assert verified.issues == (1,) and verified.findings == ()
        assert not list((job.parent / "out").glob(".staging-*"))


# Processes that die or hang


def test_workers_killed_from_outside_cost_nothing(jobs: list[Path]) -> None:
    """The first two that appear, while they load or while they run a job."""
    run = start("run", "--workers", "2", *jobs)
    killed: set[int] = set()
    for _ in range(2):
        until(lambda: set(workers(run.pid)) - killed)
        victim = (set(workers(run.pid)) - killed).pop()
        killed.add(victim)
        os.kill(victim, signal.SIGKILL)
    said, wrong = run.communicate(timeout=120)
    assert (run.returncode, wrong) == (0, ""), wrong
    assert issued(jobs) == 3 and "3 jobs: 3 good" in said


def test_a_job_that_hangs_costs_its_time_and_no_other_job(jobs: list[Path]) -> None:
    """The only process is stopped, as one that waits for a dead disk is, while it has a job in hand."""
    run = start("run", "--timeout", "10", *jobs)
    until(lambda: (jobs[0].parent / "out").exists())
    for worker in workers(run.pid):
        os.kill(worker, signal.SIGSTOP)
    said, wrong = run.communicate(timeout=120)
    assert run.returncode == 2 and "ran longer than the 10 s of --timeout" in wrong, wrong
    assert said.endswith("3 jobs: 2 good, 1 timed out\n") and issued(jobs) >= 2
    until(lambda: not in_group(run.pid), 5)  # the tracker of its resources ends a moment after it
    whole(jobs)


def test_a_job_alone_that_runs_too_long_is_ended_and_the_next_run_succeeds(jobs: list[Path]) -> None:
    found = process("run", "--timeout", "0.001", jobs[0])
    assert found.returncode == 2 and found.stdout == b""
    assert f"{jobs[0]}: the job ran longer than the 0.001 s of --timeout and was stopped" in found.stderr.decode()
    assert issued(jobs) == 0
    assert process("run", "--timeout", "100", jobs[0]).returncode == 0 and issued(jobs) == 1


# Signals


@pytest.mark.parametrize(
    ("number", "group"), [("SIGINT", True), ("SIGTERM", False), ("SIGHUP", False), ("SIGKILL", False)]
)
def test_a_batch_that_is_ended_takes_its_workers_along_and_loses_nothing(
    number: str, group: bool, many_jobs: list[Path]
) -> None:
    """While its jobs are run; SIGKILL leaves nobody to tell the workers."""
    jobs = many_jobs
    run, sent = start("run", "--workers", "2", *jobs), getattr(signal, number)
    until(lambda: issued(jobs))
    send(sent, run, group)
    _, wrong = run.communicate(timeout=20)
    assert run.returncode == -sent
    until(lambda: not in_group(run.pid), 5)
    assert wrong == "" if number == "SIGKILL" else wrong.startswith(f"tiedown: stopped by {number}; ")
    assert wrong.count("\n") == (number != "SIGKILL")
    there = issued(jobs)
    time.sleep(0.5)
    assert issued(jobs) == there
    if number == "SIGKILL":
        whole(jobs)


def test_a_hang_up_that_is_to_be_ignored_is_ignored(jobs: list[Path]) -> None:
    """As nohup starts it."""
    run = start("run", "--timeout", "60", jobs[0], before=partial(signal.signal, signal.SIGHUP, signal.SIG_IGN))
    until(lambda: workers(run.pid))
    send(signal.SIGHUP, run, True)
    assert run.wait(60) == 0 and issued(jobs) == 1


def test_a_run_in_one_process_is_told_in_one_line_at_any_moment(tmp_path: Path) -> None:
    """From loading to the issue; `signals.py` beside this does hundreds."""
    path = simulate(SMALL).write(tmp_path)
    counts = signals([path], 1, times=5, seed=20260302)
    assert counts["told"] >= 2, counts
    whole([path])


# Strangers' folders

#: Enters the command without the working folder among those that modules come from, as where it is installed.
INSTALLED = "del sys.path[0]; from pipeline.cli.start import main; main()"


def test_workers_load_nothing_from_the_working_folder(jobs: list[Path], tmp_path: Path) -> None:
    """Nor does anything else of the command that is installed."""
    for name in ("multiprocessing", "pickle", "random", "signal", "numpy", "pipeline"):
        (tmp_path / f"{name}.py").write_text(f"open('loaded', 'a').write('{name} ')\nraise SystemExit('strange')\n")
    found = subprocess.run(
        [sys.executable, "-c", f"import sys; {INSTALLED}", "run", "--quiet", "--workers", "2", *map(str, jobs)],
        capture_output=True, text=True, check=False, cwd=tmp_path, env=surroundings(), timeout=120,
    )  # fmt: skip
    assert not (tmp_path / "loaded").exists()
    assert (found.returncode, found.stderr) == (0, "") and issued(jobs) == 3


def test_a_working_folder_that_is_gone_stops_no_batch(jobs: list[Path], tmp_path: Path) -> None:
    gone = tmp_path / "gone"
    gone.mkdir()
    code = f"import os, sys; os.rmdir({str(gone)!r}); {INSTALLED}"
    found = subprocess.run(
        [sys.executable, "-c", code, "run", "--quiet", *map(str, jobs[:2])],
        capture_output=True, text=True, check=False, cwd=gone, env=surroundings(), timeout=120,
    )  # fmt: skip
    assert (found.returncode, found.stderr) == (0, "") and issued(jobs) == 2


def test_job_files_that_cannot_be_read_stop_no_other(jobs: list[Path], tmp_path: Path) -> None:
    """A folder, no text, another encoding, a link to itself, one that is not there, one without rights."""
    odd = [tmp_path / f"{name}.toml" for name in ("folder", "binary", "latin", "loop", "gone", "closed")]
    odd[0].mkdir()
    odd[1].write_bytes(bytes(range(256)) * 20)
    odd[2].write_bytes('[job]\nname = "höhe"\n'.encode("latin-1"))
    odd[3].symlink_to(odd[3].name)
    odd[5].write_text("[job]\n")
    odd[5].chmod(0)
    found = process("run", *odd[:3], jobs[0], *odd[3:], jobs[1])
    assert found.returncode == 2 and b"Traceback" not in found.stderr and issued(jobs) == 2
    assert found.stdout.splitlines()[-1] == b"8 jobs: 2 good, 6 refused"
    assert all(f"{path}: 1 problem, nothing written" in found.stderr.decode() for path in every(odd[:5]))
    assert {path.name for path in tmp_path.glob("*.log")} == set()
