"""Runs the command in a process of its own, forked from one that has loaded it: a start takes a second, a fork none.

A run that is killed, starved or crowded is the same run; where the start itself matters the command is restarted.
"""

import multiprocessing
import os
import signal
import subprocess
import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path

COMMAND = "from pipeline.cli.start import main; main()"


class Warm:
    """The command, running.

    Args:
        arguments: what stands behind the command's name.
        code: run in place of the command, with the arguments as ``sys.argv``.
        before: called first of all in the new process, as it may set limits.
        folder: the working folder.
        variables: of its environment, in place of this process's.
    """

    def __init__(
        self,
        *arguments: "str | Path | bytes",
        code: str = COMMAND,
        before: Callable[[], None] | None = None,
        folder: Path | None = None,
        variables: Mapping[str, str] | None = None,
    ) -> None:
        self._place = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        words = ["tiedown", *(os.fsdecode(a) if isinstance(a, bytes) else str(a) for a in arguments)]
        environment = dict(os.environ if variables is None else variables)
        work = (Path(self._place.name), words, code, before, folder, environment)
        self._process = multiprocessing.get_context("forkserver").Process(target=_run, args=work)
        self._process.start()

    def send(self, what: signal.Signals) -> None:
        """Send a signal, also where the process has ended already."""
        assert self._process.pid is not None
        if self._process.is_alive():
            os.kill(self._process.pid, what)

    def end(self, seconds: float = 120.0) -> "subprocess.CompletedProcess[bytes]":
        """Wait for the end; return the exit code (minus the signal that it died of), and what it printed."""
        self._process.join(seconds)
        code = self._process.exitcode
        assert code is not None, f"it has not ended within {seconds} s"
        streams = (Path(self._place.name, name) for name in ("stdout", "stderr"))
        said = [path.read_bytes() if path.exists() else b"" for path in streams]
        self._place.cleanup()
        return subprocess.CompletedProcess([], code, *said)


def _run(
    place: Path,
    arguments: list[str],
    code: str,
    before: Callable[[], None] | None,
    folder: Path | None,
    variables: dict[str, str],
) -> None:
    """Become the command: its streams, folder, variables and arguments."""
    os.setpgid(0, 0)
    for stream, name in ((1, "stdout"), (2, "stderr")):
        os.dup2(os.open(place / name, os.O_WRONLY | os.O_CREAT | os.O_APPEND), stream)
    os.environ.clear()
    os.environ.update(variables)
    if folder is not None:
        os.chdir(folder)
    if before is not None:
        sys.dont_write_bytecode = True  # a limit would cut a module's file short, for every process that comes later
        before()
    sys.argv = arguments
    exec(code, {"__name__": "__main__"})
