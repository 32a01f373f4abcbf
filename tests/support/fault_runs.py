"""Re-issues of a small job whose nth request to the file system fails, or at which the process is killed.

Run as a program of its own, with the shim of `faults.c` loaded before everything else: each run is a child forked from
it, so that nothing is loaded twice. It reads cases as lines of JSON and answers each with one line.
"""

import contextlib
import ctypes
import errno
import hashlib
import importlib
import json
import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
SOURCE = Path(__file__).with_name("faults.c")

#: What stands in a job's folder when nothing is left over.
KEPT = {".lock", ".confirmed", ".tiedown.json", "issues", "current", "register.csv", "runs.log"}
ERRORS = {"EIO": errno.EIO, "ENOSPC": errno.ENOSPC, "EDQUOT": errno.EDQUOT, "EROFS": errno.EROFS}
SIGNALS = ("SIGKILL", "SIGTERM", "SIGINT", "SIGHUP")


#: What a run loads, so that its children need not. Nothing is used here: threads do not outlive a fork.
LOADED = (
    "pipeline.cli.main", "pipeline.cli.run_command", "pipeline.run.run_job", "pipeline.issue.report.page",
    "pyogrio", "fiona", "fiona.crs", "jinja2", "scipy.linalg", "scipy.special", "pyproj", "pyarrow.compute",
    "pyarrow.csv",
)  # fmt: skip


@dataclass(frozen=True)
class Case:
    """One run: the job (a folder to be copied), which request, and what happens at it: an error or a signal.

    ``lasts`` lets every later request fail too. With request 0 nothing happens: requests are counted, and the next run
    is left out.
    """

    job: str
    nth: int
    what: str
    lasts: bool = False


@dataclass(frozen=True)
class Came:
    """What came of a case: how the run and the next one ended, what they said, and what must hold and does not."""

    case: Case
    code: int
    said: str
    appeared: bool
    after: int
    later: str
    wrong: tuple[str, ...]
    requests: int


def compiled(folder: Path) -> Path | None:
    """Compile the shim; None where there is no compiler, or the system is none that it is for."""
    compiler = shutil.which("cc") or shutil.which("gcc")
    if compiler is None or sys.platform != "linux":
        return None
    shim = folder / "faults.so"
    command = [compiler, "-shared", "-fPIC", "-O1", "-o", str(shim), str(SOURCE), "-ldl"]
    return shim if subprocess.run(command, capture_output=True, check=False).returncode == 0 else None


def came(shim: Path, scratch: Path, cases: Iterable[Case]) -> Iterator[Came]:
    """Run the cases, one after another, and yield what came of each before the next is asked for."""
    command = [sys.executable, str(Path(__file__)), str(shim), str(scratch)]
    environment = {**os.environ, "LD_PRELOAD": str(shim), "PYTHONPATH": str(ROOT)}
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment, cwd=scratch
    ) as server:
        assert server.stdin is not None and server.stdout is not None
        for case in cases:
            server.stdin.write(json.dumps(asdict(case)) + "\n")
            server.stdin.flush()
            told = json.loads(server.stdout.readline())
            yield Came(**{**told, "case": Case(**told["case"]), "wrong": tuple(told["wrong"])})
        server.stdin.close()


def prepared(place: Path) -> Path:
    """Return the folder of a job with an issue, whose check fails, and a register that was revised since."""
    from command import failing
    from simulate_files import write_register

    from pipeline import run_job

    job = failing()
    assert run_job(job.write(place)).exit_code == 3
    job.mistype("CM1", "ellipsoid_height", 0.002)
    write_register(job.register, place / "register.csv")
    return place


def broken(came: Came) -> list[str]:
    """Return which promises a run broke.

    It ends as issued (3, since a check fails) or refused in words (2), or by its signal; the issues are whole at any
    time; the next run succeeds, and tells of an issue of which nobody could be told.
    """
    told = list(came.wrong)
    if "Traceback" in came.said + came.later:
        told.append("a traceback")
    if came.code not in (2, 3) and came.case.what not in SIGNALS:
        told.append(f"exit code {came.code}: {came.said[-400:]}")
    if came.code == 2 and not ("disk" in came.said and ("written" in came.said or "stands" in came.said)):
        told.append(f"refused, and not as by the disk: {came.said[-400:]}")
    if came.after != 3:
        told.append(f"the next run ends with {came.after}: {came.later[-400:]}")
    late = "did not finish" in came.later
    told_at_once = "issue 002 written to" in came.said
    if late > came.appeared or not (late or told_at_once or not came.appeared):  # told twice is no harm
        told.append(f"issued {came.appeared}, exit code {came.code}, told by the next run {late}: {came.later[:300]}")
    return told


def in_child(task: Callable[[], int], said: Path) -> int:
    """Do something in a child whose output goes to a file; return its exit code, or minus the signal that ended it."""
    child = os.fork()
    if child == 0:
        code = 99
        with contextlib.suppress(BaseException):
            handle = os.open(said, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(handle, 1)
            os.dup2(handle, 2)
            code = task()
            sys.stdout.flush()
        os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


class Server:
    """The program: children forked from it run and look."""

    def __init__(self, shim: Path, scratch: Path) -> None:
        self.shim, self.scratch, self.count = ctypes.CDLL(str(shim)), scratch, 0

    def answer(self, case: Case) -> dict[str, Any]:
        """Run a case in a copy of its job, and the next run after it."""
        self.count += 1
        place = self.scratch / f"case-{self.count}"
        shutil.copytree(case.job, place, symlinks=True)
        said, folder = self.scratch / f"said-{self.count}", place / "out"
        before = len(list((folder / "issues").glob("*")))
        seen = self.scratch / f"seen-{self.count}"
        code = in_child(lambda: self._faulty(case, place, seen), said)
        appeared = (folder / "issues" / f"{before + 1:03d}").is_dir()
        wrong = [f"after the fault: {what}" for what in damaged(folder)]
        first = said.read_text(encoding="utf-8", errors="replace")
        after, later = (code, "") if case.nth == 0 else self._next(place, said, before, wrong)
        requests = int(seen.read_text()) if seen.exists() else 0
        shutil.rmtree(place)
        return asdict(Came(case, code, first, appeared, after, later, tuple(wrong), requests))

    def _next(self, place: Path, said: Path, before: int, wrong: list[str]) -> tuple[int, str]:
        """Do the next run, which puts everything right; return its exit code and what it said."""
        code, folder = in_child(lambda: run(place / "job.toml"), said), place / "out"
        wrong += [f"after the next run: {what}" for what in damaged(folder)]
        if left := {path.name for path in folder.iterdir()} ^ KEPT:
            wrong.append(f"after the next run {sorted(left)} are left over, or missing")
        if len(list((folder / "issues").glob("*"))) != before + 1:
            wrong.append("after the next run there is not one issue more")
        return code, said.read_text(encoding="utf-8", errors="replace")

    def _faulty(self, case: Case, place: Path, seen: Path) -> int:
        sign = getattr(signal, case.what) if case.what in SIGNALS else 0
        folder = str(place / "out").encode()
        self.shim.faults_arm(folder, ctypes.c_long(case.nth), ERRORS.get(case.what, 0), int(sign), int(case.lasts))
        code = run(place / "job.toml")
        self.shim.faults_seen.restype = ctypes.c_long
        seen.write_text(str(self.shim.faults_seen()))
        return code


def run(job: Path) -> int:
    """Run the command on a job and return its exit code."""
    from pipeline.cli.main import main

    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell lets what runs behind it ignore this one
    sys.argv = ["tiedown", "run", str(job)]
    try:
        main()
    except SystemExit as ended:
        return int(ended.code or 0)
    return 0


def damaged(folder: Path) -> list[str]:
    """Return what is wrong with the issues of a folder, by the sums in their records alone: quick, and in this process.

    The form of the sums is the published one (`issue.schema.json`): SHA-256 of each file's bytes.
    """
    bad = [] if (folder / "current" / "issue.json").is_file() else ["current shows no issue"]
    for issue in sorted((folder / "issues").iterdir()):
        record = json.loads((issue / "issue.json").read_text(encoding="utf-8"))
        names = {"issue.json", *(entry["name"] for entry in record["files"])}
        names |= {entry["name"].replace(f"-{issue.name}.", ".") for entry in record["files"]}
        if {path.name for path in issue.iterdir()} != names:
            bad.append(f"{issue.name} has other files than its record says")
        for entry in record["files"]:
            if hashlib.sha256((issue / entry["name"]).read_bytes()).hexdigest() != entry["sha256"]:
                bad.append(f"{entry['name']} is not what was issued")
    return bad


def main() -> None:
    """Answer cases until there are no more."""
    for name in LOADED:
        importlib.import_module(name)
    server = Server(Path(sys.argv[1]), Path(sys.argv[2]))
    for line in sys.stdin:
        print(json.dumps(server.answer(Case(**json.loads(line)))), flush=True)


if __name__ == "__main__":
    main()
