"""Whole runs of a small job in processes of their own: killed, starved, refused, crowded; and what must hold after."""

import ctypes
import os
import random
import resource
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path

from simulate import Plan, Simulation, simulate
from simulate_files import write_register
from warm import COMMAND, Warm

from pipeline.verify import Verified, verify

#: What stands in a job's folder when nothing is left over.
KEPT = {".lock", ".confirmed", ".tiedown.json", "issues", "current", "register.csv", "runs.log"}

# Kills itself just before its nth request to the file system about the job's folder.
AT_REQUEST = """
import os, signal, sys
folder, fatal, asked = os.environ["FOLDER"], int(os.environ["FATAL"]), 0
def watch(event, arguments):
    global asked
    if event == "open" or event.startswith(("os.", "shutil.")):
        if any(isinstance(word, str | bytes | os.PathLike) and folder in os.fsdecode(word) for word in arguments):
            asked += 1
            if asked == fatal:
                os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(watch)
from pipeline.cli.main import app
try:
    app(sys.argv[1:])
finally:
    print(asked, flush=True)
"""


@dataclass
class Bench:
    """A job whose register is revised before every run, so that each has something to issue.

    By turns one mark is revised, which reaches few points, so that they are changed in a copy of the previous issue,
    and all marks, so that every layer is written again.
    """

    place: Path
    points: int = 1500
    revisions: int = 0
    job: Simulation = field(init=False)
    path: Path = field(init=False)

    def __post_init__(self) -> None:
        self.job = simulate(Plan(sessions=15, points=self.points // 15, ties=1, marks=17, noise=False))
        self.path = self.job.write(self.place)

    @property
    def folder(self) -> Path:
        """The folder of issues."""
        return self.place / "out"

    def revise(self) -> None:
        """Revise one mark's height, or all marks', by a few millimetres, far within every tolerance."""
        turn, few = divmod(self.revisions, 2)
        for mark in self.job.register["mark"][: 1 if few else None]:
            self.job.mistype(str(mark), "height", 0.002 if turn % 2 else -0.002)
        self.revisions += 1
        write_register(self.job.register, self.place / "register.csv")

    def start(self, before: Callable[[], None] | None = None, code: str = COMMAND, **environment: str) -> Warm:
        """Start a run of the job."""
        variables = {**os.environ, **environment}
        return Warm("run", self.path, "--quiet", code=code, before=before, variables=variables)

    def run(self, before: Callable[[], None] | None = None, code: str = COMMAND, **environment: str) -> tuple[int, str]:
        """Run the job to its end; return exit code and what it said."""
        return ended(self.start(before, code, **environment))

    def issues(self) -> int:
        """Return how many issues there are."""
        return len(list((self.folder / "issues").glob("*"))) if self.folder.is_dir() else 0

    def stands(self, before: int) -> Verified | None:
        """Assert what must hold at any moment: every issue there is whole, none is lost, `current` is one of them."""
        if self.issues() == 0:
            assert before == 0
            return None
        found = verify(self.folder)
        assert found.intact, [str(one) for one in found.findings]
        assert found.issues in (tuple(range(1, before + 1)), tuple(range(1, before + 2))), found.issues
        if before:
            shown = (self.folder / "current").resolve(strict=True)
            assert int(shown.name) in (before, before + 1), shown
        return found

    def tidy(self) -> None:
        """Assert that the folder holds whole issues of three files, the newest as `current`, and nothing else."""
        found = self.stands(self.issues())
        assert found is not None and found.findings == (), found
        assert {path.name for path in self.folder.iterdir()} == KEPT
        for number in found.issues:
            files = {path.name for path in (self.folder / "issues" / f"{number:03d}").iterdir()}
            names = {f"simulated{of}.{kind}" for of in (f"-{number:03d}", "") for kind in ("gpkg", "html")}
            assert files == names | {"issue.json"}
        assert (self.folder / "current").resolve().name == f"{max(found.issues):03d}"

    def next_run(self, before: int) -> None:
        """Assert that the next run succeeds by itself and leaves one issue more than before, tidy."""
        code, said = self.run()
        assert code == 0, said
        assert self.issues() == before + 1
        self.tidy()


def ended(run: Warm) -> tuple[int, str]:
    """Wait for the end of a run; return its exit code and what it said."""
    done = run.end()
    return done.returncode, (done.stdout + done.stderr).decode()


def kill_by_time(bench: Bench, seconds: float) -> bool:
    """Kill a run after so many seconds; return whether it was killed (else it had ended)."""
    run = bench.start()
    time.sleep(seconds)
    run.send(signal.SIGKILL)
    code, said = ended(run)
    assert code in (0, -signal.SIGKILL), said
    return code != 0


def kill_at_request(bench: Bench, number: int) -> bool:
    """Kill a run just before one of its requests about the job's folder; return whether it was killed."""
    code, said = bench.run(code=AT_REQUEST, FOLDER=str(bench.folder), FATAL=str(number))
    assert code in (0, -signal.SIGKILL), said
    return code != 0


def kills(
    place: Path, times: int, seed: int, points: int = 1500, tell: Callable[[str], None] = lambda _: None
) -> dict[str, int]:
    """Kill runs at seeded moments, half by the clock and half by requests, and check what stands after each.

    Returns how many were killed, how many of those had issued before they died, and how many came to their end.
    """
    moments = random.Random(seed)
    counts = {"killed": 0, "of them after the issue appeared": 0, "ended first": 0}
    bench, whole, requests = Bench(place / "0", points), 0.0, 0
    for number in range(times):
        if number % 25 == 0:  # a fresh folder: first issues die too, and the issues do not pile up
            bench = Bench(place / str(number), points)
            if not whole:
                whole, requests = _measured(Bench(place / "measure", points))
                tell(f"a whole run takes {whole:.2f} s and {requests} requests to the file system about its folder")
        before = bench.issues()
        bench.revise()
        if number % 2:
            killed = kill_at_request(bench, moments.randint(1, requests))
        else:
            killed = kill_by_time(bench, moments.uniform(0.2, 1.0) * whole)
        found = bench.stands(before)
        appeared = found is not None and max(found.issues) > before
        counts["killed"] += killed
        counts["of them after the issue appeared"] += killed and appeared
        counts["ended first"] += not killed
        bench.next_run(before)
        tell(f"{number + 1}/{times} {counts}")
    return counts


def _measured(bench: Bench) -> tuple[float, int]:
    """Return how long a whole run takes [s] and how many requests it makes; a kill that comes too late is none."""
    bench.revise()
    begun = time.monotonic()
    code, said = bench.run(code=AT_REQUEST, FOLDER=str(bench.folder), FATAL="0")
    assert code == 0, said
    return time.monotonic() - begun, int(said.split()[0])


def starve(bench: Bench, sizes: list[int]) -> None:
    """Let no file grow beyond some sizes in bytes, as on a full disk: said as such, and the previous issue stands."""
    for size in sizes:
        before = bench.issues()
        bench.revise()
        code, said = bench.run(before=partial(resource.setrlimit, resource.RLIMIT_FSIZE, (size, size)))
        assert code == 2 and "no file may grow so large" in said, (size, code, said)
        assert not [word for word in ("Traceback", "Warning", "malformed") if word in said], said
        if before:
            bench.stands(before)
            bench.tidy()
        assert bench.issues() == before
        bench.next_run(before)


def refuse(bench: Bench, part: str) -> bool:
    """Make the folder, or a part of it, read-only; return whether that could be tried (root may write everywhere)."""
    before, closed = bench.issues(), bench.folder / part
    bench.revise()
    closed.chmod(0o555)
    try:
        if not may_not_write(closed):
            return False
        code, said = bench.run(before=as_anybody)
    finally:
        closed.chmod(0o755)
    assert code == 2, (code, said)
    assert "written" in said and "Traceback" not in said, said
    bench.stands(before)
    assert bench.issues() == before
    bench.next_run(before)
    return True


def as_anybody() -> None:
    """Let go of root's rights to read and write where permissions forbid it: at once and in what is started (Linux)."""
    if os.geteuid() == 0:
        libc, drop, override, read = ctypes.CDLL(None), 24, 1, 2  # PR_CAPBSET_DROP, CAP_DAC_OVERRIDE, ..._READ_SEARCH
        for right in (override, read):
            libc.prctl(drop, right, 0, 0, 0)
        head = (ctypes.c_uint32 * 2)(0x20080522, 0)  # _LINUX_CAPABILITY_VERSION_3 (linux/capability.h), this thread
        sets = (ctypes.c_uint32 * 6)()  # effective, permitted, inheritable of the first 32 rights, then of the others
        libc.capget(head, sets)
        for number in range(2):
            sets[number] &= ~(1 << override | 1 << read)
        libc.capset(head, sets)


def may_not_write(folder: Path) -> bool:
    """Say whether somebody without root's rights may not write into a folder."""
    attempt = f"open({str(folder / 'attempt')!r}, 'x')"
    run = subprocess.run([sys.executable, "-c", attempt], preexec_fn=as_anybody, capture_output=True, check=False)
    (folder / "attempt").unlink(missing_ok=True)
    return run.returncode != 0


HOLD = """
import sqlite3, sys
file = sqlite3.connect(sys.argv[1])
if sys.argv[2] == "log":
    file.execute("PRAGMA journal_mode = WAL")
file.execute("BEGIN")
file.execute("SELECT count(*) FROM points").fetchone()
print("held", flush=True)
sys.stdin.read()
"""


def hold_open(bench: Bench, how: str) -> None:
    """Hold the GeoPackage of `current` open in another process, in a read transaction ("plain" or "log"), and run."""
    before = bench.issues()
    package = next((bench.folder / "current").glob("*.gpkg"))
    with subprocess.Popen(
        [sys.executable, "-c", HOLD, str(package), how], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout is not None and holder.stdout.readline() == "held\n"
        bench.revise()
        code, said = bench.run()
        assert code == 0, said
        bench.stands(before)
        assert bench.issues() == before + 1
        holder.communicate("")
    bench.stands(before + 1)
    bench.revise()
    code, said = bench.run()
    assert code == 0, said
    bench.stands(before + 1)


def crowd(bench: Bench, count: int) -> list[int]:
    """Start so many runs at once; return their exit codes. One issues, the others are told that it holds the job."""
    before = bench.issues()
    bench.revise()
    runs = [bench.start() for _ in range(count)]
    ends = [ended(run) for run in runs]
    codes = sorted(code for code, _ in ends)
    assert set(codes) <= {0, 4} and 0 in codes, ends
    assert bench.issues() == before + 1, codes
    bench.tidy()
    return codes
