"""Pieces of work that end in other ways than they should, for processes that can import this module."""

import os
import signal
import sys
import time
from pathlib import Path


def work(piece: str, progress: "object | None" = None) -> str:
    """Do what a piece says: "double 21", "kill 9", "hang", "memory", "once FILE" (dies the first time), ..."""
    word, _, rest = piece.partition(" ")
    if word == "kill":
        os.kill(os.getpid(), int(rest))
    if word == "leave":
        os._exit(int(rest))
    if word in ("hang", "wait"):
        time.sleep(float(rest or 3600))
    if word == "stop":
        os.kill(os.getpid(), signal.SIGSTOP)
    if word == "memory":
        raise MemoryError
    if word == "once" and not Path(rest).exists():
        Path(rest).touch()
        os.kill(os.getpid(), signal.SIGKILL)
    if word == "loaded" and "pipeline.run.run_job" not in sys.modules:
        raise LookupError("nothing was loaded before this process was forked")
    if word == "alone":
        return _alone(Path(rest))
    if word == "progress":
        assert callable(progress)
        for done in range(3):
            progress("reading", done, 3)
    return f"{piece}, by {os.getpid()}"


def _alone(note: Path) -> str:
    """Die the first time; the second time say which of the processes that ran before are there still."""
    if not note.exists():
        note.write_text(str(os.getppid()))
        os.kill(os.getpid(), signal.SIGKILL)
    forked = Path(f"/proc/{os.getppid()}/task/{os.getppid()}/children").read_text().split()
    return f"{len(forked) - 1} others"


def nothing() -> None:
    """Load nothing."""


def dies() -> None:
    """Die before any piece is begun."""
    os.kill(os.getpid(), signal.SIGKILL)


def no_room() -> None:
    """Find no room for what is to be loaded."""
    raise MemoryError
