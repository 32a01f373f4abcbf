"""Runs the command in a process of its own, forked from one that has loaded it: a start takes a second, a fork none.

A run that is killed, starved or crowded is the same run; where the start itself matters the command is started anew.
"""

import multiprocessing
import os
import signal
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

#: What a run loads on its way.
_LOADED = [
    "pipeline.cli.run_command", "pipeline.run.run_job", "pipeline.issue.geopackage.write", "fiona.env", "pyogrio",
    "pyarrow.csv", "jinja2",
]  # fmt: skip


COMMAND = "from pipeline.cli.main import main; main()"


class Warm:
    """The command, running.

    Args:
        arguments: what stands behind the command's name.
        code: run in place of the command, with the arguments as ``sys.argv``.
        before: called first of all in the new process, as it may set limits.
        folder: the working folder.
        environment: beside the variables of this process.
    """

    def __init__(
        self,
        *arguments: "str | Path",
        code: str = COMMAND,
        before: Callable[[], None] | None = None,
        folder: Path | None = None,
        **environment: str,
    ) -> None:
        self._place = tempfile.TemporaryDirectory(ignore_cleanup_errors=True)
        work = (Path(self._place.name), ["tiedown", *map(str, arguments)], code, before, folder, environment)
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload(_LOADED)
        self._process = context.Process(target=_run, args=work, daemon=True)
        self._process.start()

    def send(self, what: signal.Signals) -> None:
        """Send a signal, also where the process has ended already."""
        assert self._process.pid is not None
        if self._process.is_alive():
            os.kill(self._process.pid, what)

    def end(self, seconds: float = 120.0) -> tuple[int, str]:
        """Wait for the end; return the exit code (minus the signal that it died of), and what it printed."""
        self._process.join(seconds)
        code = self._process.exitcode
        assert code is not None, f"it has not ended within {seconds} s"
        said = "".join(self._file(name).read_text(encoding="utf-8") for name in ("stdout", "stderr"))
        self._place.cleanup()
        return code, said

    def _file(self, name: str) -> Path:
        path = Path(self._place.name, name)
        path.touch()
        return path


def _run(
    place: Path,
    arguments: list[str],
    code: str,
    before: Callable[[], None] | None,
    folder: Path | None,
    environment: dict[str, str],
) -> None:
    """Become the command: its streams, folder, variables and arguments."""
    os.setpgid(0, 0)
    for stream, name in ((1, "stdout"), (2, "stderr")):
        os.dup2(os.open(place / name, os.O_WRONLY | os.O_CREAT | os.O_APPEND), stream)
    os.environ.update(environment)
    if folder is not None:
        os.chdir(folder)
    if before is not None:
        before()
    sys.argv = arguments
    exec(code, {"__name__": "__main__"})
