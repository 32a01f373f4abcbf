"""Batches of small jobs in a process group of their own, and what becomes of its processes."""

import os
import random
import shutil
import signal
import subprocess
import time
from collections import Counter
from collections.abc import Callable
from pathlib import Path

from command import ROOT, SMALL, command, surroundings
from simulate import simulate


def write_jobs(place: Path, count: int) -> list[Path]:
    """Lay down so many small jobs, each in a folder of its own."""
    paths = []
    for number in range(count):
        job = simulate(SMALL)
        job.job["job"]["name"] = f"job-{number}"
        paths.append(job.write(place / f"job-{number}"))
    return paths


def as_usual() -> None:
    """Let signals end a process, also where the tests were started to ignore them, as in the background."""
    for number in (signal.SIGINT, signal.SIGHUP):
        signal.signal(number, signal.SIG_DFL)


def start(*arguments: "str | Path", before: Callable[[], None] = as_usual) -> "subprocess.Popen[str]":
    """Start the command as the first process of a group."""
    return subprocess.Popen(
        command(*arguments), stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True,
        cwd=ROOT, env=surroundings(), start_new_session=True, preexec_fn=before,
    )  # fmt: skip


def workers(parent: int) -> list[int]:
    """Return the processes that a command has for its jobs: the children of its child that forks them (Linux)."""
    return [worker for child in _children(parent) for worker in _children(child)]


def _children(process: int) -> list[int]:
    try:
        return [int(child) for child in Path(f"/proc/{process}/task/{process}/children").read_text().split()]
    except OSError:
        return []


def in_group(group: int) -> list[int]:
    """Return the processes of a group that still run (Linux)."""
    found = []
    for path in Path("/proc").glob("[0-9]*/stat"):
        try:
            state, _, of_group = path.read_text().rpartition(")")[2].split()[:3]
        except OSError:
            continue
        if int(of_group) == group and state != "Z":
            found.append(int(path.parent.name))
    return found


def issued(jobs: list[Path]) -> int:
    """Return how many of the jobs have an issue."""
    return sum((job.parent / "out" / "issues" / "001" / "issue.json").is_file() for job in jobs)


def until(true: Callable[[], object], seconds: float = 60) -> None:
    """Wait until something is true."""
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, "it has not come true"
        time.sleep(0.01)


def send(number: int, process: "subprocess.Popen[str]", whole_group: bool) -> None:
    """Send a signal to a process, or to all processes of its group, as a terminal's keys do."""
    (os.killpg if whole_group else os.kill)(process.pid, signal.Signals(number))


def answers(process: "subprocess.Popen[str]") -> bool:
    """Return whether a command has come so far that it answers signals, SIGHUP the last, or has ended (Linux)."""
    status = Path(f"/proc/{process.pid}/status").read_text()
    caught = next((line.split()[1] for line in status.splitlines() if line.startswith("SigCgt")), "0")
    return process.poll() is not None or bool(int(caught, 16) & (1 << (signal.SIGHUP - 1)))


def signals(
    jobs: list[Path], count: int, times: int, seed: int, tell: Callable[[str], None] = lambda _: None
) -> Counter[str]:
    """Send signals to a batch at seeded moments, to its first process or to all, and check how it ends.

    It must end at once, by that signal, with one line beside what jobs had to say, and with all of its processes.
    Returns how many were told, and how many ended before.
    """
    moments, counts, takes = random.Random(seed), Counter[str](), 0.0
    for number in range(times + 1):  # the first is only to see how long it takes
        for job in jobs:
            shutil.rmtree(job.parent / "out", ignore_errors=True)
        run = start("run", "--workers", str(count), *jobs)
        until(lambda run=run: answers(run))  # type: ignore[misc]
        begun = time.monotonic()
        if not number:
            assert run.communicate(timeout=600) and run.returncode == 0
            takes = time.monotonic() - begun
            continue
        sent = moments.choice((signal.SIGINT, signal.SIGTERM, signal.SIGHUP))
        time.sleep(takes * moments.uniform(0, 0.95))
        at = time.monotonic()
        if run.poll() is None:
            send(sent, run, moments.random() < 0.5)
        _, wrong = run.communicate(timeout=20)
        assert run.returncode in (0, -sent), (run.returncode, wrong)
        assert run.returncode == 0 or wrong.startswith(f"tiedown: stopped by {sent.name}; "), wrong
        assert wrong.count("\n") == (run.returncode != 0), wrong
        until(lambda run=run: not in_group(run.pid), 5)  # type: ignore[misc]
        counts["told" if run.returncode else "ended before"] += 1
        if not run.returncode:
            takes = min(takes, at - begun)  # the machine is not always as busy as it was the first time
        counts["more than a second"] += time.monotonic() - at > 1
        tell(f"{number}/{times} {dict(counts)}")
    return counts
