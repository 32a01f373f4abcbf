"""An interrupt, a hang-up, or the wish of the system that the program end: told in one line, and ended as is usual.

The line is written and the program ended at once, from within whatever it is doing: an exception would have to find
its way out of libraries that swallow it, or tell of it at length. Nothing is lost by that: an issue is whole or absent,
and the next run clears away what was in the making.
"""

import os
import signal
import sys
from contextlib import suppress
from types import FrameType

_NAMES = ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK")
#: Seconds that the line may wait for a reader, and the end for the processes that were started.
_TO_TELL, _TO_END = 0.2, 2.0
#: Takes a progress bar off a terminal's line and shows the cursor again (ECMA-48; the latter as all terminals have it).
_PLAIN_LINE = b"\r\x1b[2K\x1b[?25h"


def answer_signals() -> None:
    """Answer the signals from now on, but for those that whoever started the program lets pass (as nohup does)."""
    for name in _NAMES:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            signal.signal(number, _end)


def let_pass() -> None:
    """Let the signals pass: what was asked for is done, and the interpreter is about to end."""
    for name in _NAMES:
        if hasattr(signal, name):
            signal.signal(getattr(signal, name), signal.SIG_IGN)


def _end(number: int, _: FrameType | None) -> None:
    let_pass()
    _end_processes()
    _tell(f"tiedown: stopped by {signal.Signals(number).name}; no issue was left incomplete; run again to continue\n")
    if hasattr(signal, "pthread_sigmask"):
        signal.signal(number, signal.SIG_DFL)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {number})
        os.kill(os.getpid(), number)  # the shell is to see what ended it
    os._exit(128 + number)


def _end_processes() -> None:
    """End the processes that run jobs, and the commands that tell of them, where any were started."""
    if (called := sys.modules.get("pipeline.notify.called")) is not None:
        called.end_all()
    multiprocessing = sys.modules.get("multiprocessing")
    children = multiprocessing.active_children() if multiprocessing is not None else []
    for child in children:
        child.kill()
    for child in children:
        child.join(_TO_END)


def _tell(line: str) -> None:
    """Write a line to stderr, whatever state its Python object is in, unless nobody takes it."""
    with suppress(OSError, ValueError):
        if os.name == "posix":
            from select import select

            if not select([], [2], [], _TO_TELL)[1]:
                return
        os.write(2, (_PLAIN_LINE if os.isatty(2) else b"") + line.encode())
