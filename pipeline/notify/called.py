"""Runs a command with its message, collects its output, and ends it and its children at the time limit."""

import os
import signal
import subprocess
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import RLock, Thread, current_thread, main_thread
from typing import IO

from msgspec import Struct, field

#: Bytes of its output that are kept, and seconds for which that is waited for once the command itself has ended.
_KEPT, _LINGERS = 20_000, 1.0
_BLOCK = 65_536

#: The signals that ask a program to end, where the system has them.
_ENDING = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]

#: The commands that run now, for `end_all`.
_running: "set[subprocess.Popen[bytes]]" = set()
#: Held while one is being started: it is not left out by whoever ends all from another thread.
_starting = RLock()


class Called(Struct, frozen=True):
    """How a command ended: whether well, in words, and what it said; ``late``: it had to be ended."""

    well: bool
    how: str
    output: str = ""
    late: bool = False


class _Heard(Struct):
    """The beginning of what a command says; the rest is taken from it, so that it need not wait, and let go."""

    stream: IO[bytes]
    kept: bytearray = field(default_factory=bytearray)
    more: bool = False

    def listen(self) -> None:
        with suppress(OSError, ValueError):
            while block := os.read(self.stream.fileno(), _BLOCK):
                room = _KEPT - len(self.kept)
                self.kept += block[: max(room, 0)]
                self.more |= len(block) > room

    def text(self) -> str:
        said = bytes(self.kept).decode("utf-8", "backslashreplace").replace("\r\n", "\n").rstrip()
        return f"{said}\n(the rest is left out here)" if self.more else said


def call(words: Sequence[str], folder: Path, environment: Mapping[str, str], document: bytes, seconds: float) -> Called:
    """Start a program without a shell, hand it a document on its standard input, and wait as long as it may take.

    A name with a / counts from ``folder``, where the program also begins; one without is looked for in PATH. What it
    leaves running in the background is not waited for, unless it has to be ended: then all of it is.
    """
    program = str(folder / words[0]) if os.path.dirname(words[0]) else words[0]
    try:
        with _answered_afterwards(), _starting:
            process = subprocess.Popen(
                [program, *words[1:]],
                cwd=folder,
                env=dict(environment),
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.STDOUT,
                start_new_session=True,
            )
            _running.add(process)
    except (OSError, ValueError) as error:
        return Called(False, f"cannot be started ({words[0]}): {getattr(error, 'strerror', None) or error}")
    try:
        return _waited_for(process, document, seconds)
    finally:
        _running.discard(process)


@contextmanager
def _answered_afterwards() -> Iterator[None]:
    """Answer signals that ask to end when a command that is being started is known: else it alone would go on.

    They are not held back by the system, which would hold them back from the command too.
    """
    came: list[int] = []
    answers = {number: signal.getsignal(number) for number in _ENDING if current_thread() is main_thread()}
    answers = {number: answer for number, answer in answers.items() if callable(answer)}
    for number in answers:
        signal.signal(number, lambda number, _: came.append(number))
    try:
        yield
    finally:
        for number, answer in answers.items():
            signal.signal(number, answer)
        for number in came:
            signal.raise_signal(number)


def _waited_for(process: "subprocess.Popen[bytes]", document: bytes, seconds: float) -> Called:
    assert process.stdin is not None and process.stdout is not None
    heard, begun = _Heard(process.stdout), time.monotonic()
    listener = Thread(target=heard.listen, daemon=True)
    listener.start()
    Thread(target=_hand_over, args=(process.stdin, document), daemon=True).start()
    try:
        code = process.wait(seconds)
    except subprocess.TimeoutExpired:
        _end(process)
        listener.join(_LINGERS)
        return Called(False, f"was ended: it ran longer than {seconds:g} s", heard.text(), late=True)
    listener.join(_LINGERS)
    took = f"after {time.monotonic() - begun:.1f} s"
    how = f"was killed (signal {-code}) {took}" if code < 0 else f"ended with code {code} {took}"
    return Called(code == 0, how, heard.text())


def _hand_over(stream: IO[bytes], document: bytes) -> None:
    """Write a document to a command, which need not read it."""
    with suppress(OSError, ValueError):
        stream.write(document)
    with suppress(OSError, ValueError):
        stream.close()


def _end(process: "subprocess.Popen[bytes]") -> None:
    """End a command, and on systems that know groups of processes all that it started."""
    _kill(process)
    process.wait()


def _kill(process: "subprocess.Popen[bytes]") -> None:
    with suppress(OSError):
        if hasattr(os, "killpg"):
            os.killpg(process.pid, signal.SIGKILL)
        else:
            process.kill()


def end_all() -> None:
    """End every command that runs now: whoever called it is about to end."""
    with _starting:
        for process in list(_running):
            _kill(process)
