"""What is called in the workers of a cluster: what they are and see, and how they run a job."""

import os
import pickle
import subprocess
import sys
import threading
from contextlib import suppress
from functools import cache
from hashlib import sha256
from pathlib import Path

from msgspec import Struct

from pipeline.cluster.folder_signs import WantedFolder
from pipeline.digest import digest
from pipeline.issue.folder.shared_folder_probe import failures_seen_there
from pipeline.run.mishaps import Died

#: Seconds for which a process beside the worker waits for another job before it is ended.
_IDLE = 30.0
_PACKAGE = Path(__file__).resolve().parents[1]
_SERVE = "from pipeline.cluster.job_process import serve; serve()"

_LOCK = threading.Lock()
_idle: "list[_Beside]" = []


@cache
def program_sum() -> str:
    """Return the sum of the program's modules: what a version's number says of them is not enough."""
    files = sorted(_PACKAGE.rglob("*.py"))
    said = "".join(f"{file.relative_to(_PACKAGE).as_posix()} {digest(file)}\n" for file in files)
    return sha256(said.encode()).hexdigest()


def not_seen(wanted: list[WantedFolder]) -> dict[str, str]:
    """Return the jobs that cannot be run from here, with what is missing of each."""
    found = {one.job: one.missing() for one in wanted}
    return {job: missing for job, missing in found.items() if missing}


def failures_in_folders(trials: list[tuple[str, str, str]], name: str) -> list[str]:
    """Return what fails of each folder that is being tried, "" where nothing does."""
    return [failures_seen_there(*trial, name) for trial in trials]


def run_beside(job: str, start: str, timeout: float | None, dry_run: bool) -> bytes:
    """Run a job, whose path may count from the folder ``start``, in a process beside this one; return its `Result`,
    pickled.

    Where that process is killed the job is tried once more.
    """
    exit_code = None
    for _ in range(2):
        try:
            beside = _taken()
        except OSError:
            return pickle.dumps(Died.of(None))
        answer = beside.answer(job, start, timeout, dry_run)
        if answer is not None:
            _put_back(beside)
            return answer
        exit_code = beside.end()
    return pickle.dumps(Died.of(exit_code, twice=True))


class _Beside(Struct, eq=False):
    """A process that runs jobs (`job_process.serve`), and what ends it when it has had none for a while."""

    process: "subprocess.Popen[bytes]"
    end_of_wait: threading.Timer | None = None

    @classmethod
    def started(cls) -> "_Beside":
        """Start one, in a session of its own, so that what ends the worker's does not end a job half told."""
        paths = [str(_PACKAGE.parent), *filter(None, [os.environ.get("PYTHONPATH")])]
        surroundings = {**os.environ, "PYTHONPATH": os.pathsep.join(paths), "PYTHONSAFEPATH": "1"}
        command, pipe = [sys.executable, "-c", _SERVE], subprocess.PIPE
        return cls(subprocess.Popen(command, stdin=pipe, stdout=pipe, env=surroundings, start_new_session=True))

    def answer(self, job: str, start: str, timeout: float | None, dry_run: bool) -> bytes | None:
        """Let it run a job; return None where it died."""
        assert self.process.stdin is not None and self.process.stdout is not None
        try:
            pickle.dump((Path(job), start, timeout, dry_run), self.process.stdin)
            self.process.stdin.flush()
            answer: bytes = pickle.load(self.process.stdout)
        except (OSError, EOFError, pickle.UnpicklingError):
            return None
        return answer

    def end(self) -> int:
        """End it: it ends by itself, with the process that runs the job, when nobody is left to order."""
        assert self.process.stdin is not None and self.process.stdout is not None
        with suppress(OSError):
            self.process.stdin.close()
        self.process.stdout.close()
        return self.process.wait()


def _taken() -> _Beside:
    """Return a process that has no job, started where there is none. Raises OSError where that cannot be."""
    with _LOCK:
        beside = _idle.pop() if _idle else None
    if beside is None:
        return _Beside.started()
    assert beside.end_of_wait is not None
    beside.end_of_wait.cancel()
    return beside


def _put_back(beside: _Beside) -> None:
    beside.end_of_wait = threading.Timer(_IDLE, _not_needed, [beside])
    beside.end_of_wait.daemon = True
    with _LOCK:
        _idle.append(beside)
    beside.end_of_wait.start()


def _not_needed(beside: _Beside) -> None:
    with _LOCK:
        if beside not in _idle:  # it was taken meanwhile
            return
        _idle.remove(beside)
    beside.end()
