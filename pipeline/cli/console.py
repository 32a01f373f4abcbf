"""stdout and stderr as a command may meet them: of any encoding, closed, full, or read by a program that stopped.

What cannot be shown is written as an escape, and what cannot be written is let go: neither ends a command whose work
is done, nor changes its exit code.
"""

import errno
import io
import json
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any, TextIO

from pipeline.visible import visible, visible_json


def print_json(value: Any) -> None:
    """Print a JSON document, which it stays whatever the encoding of stdout: escaped is by JSON's own rules."""
    encoding = (getattr(sys.stdout, "encoding", None) or "utf-8").lower().replace("_", "-")
    text = json.dumps(value, indent=2, ensure_ascii=not encoding.startswith("utf"), allow_nan=False)
    print(visible_json(text))
    sys.stdout.flush()


class Console(io.TextIOBase):
    """A stream of text that shows what it can and is never the end of a command."""

    errors = "backslashreplace"

    def __init__(self, stream: TextIO, lost: str = "", *, closed: bool = False, raw: bool = False) -> None:
        """Write to ``stream``; ``lost`` is said on stderr, once, where it cannot be written to.

        ``closed``: the stream only stands in for one that was closed. ``raw``: what is written may act on a terminal.
        """
        self._stream, self._lost, self._dead = stream, lost, False
        self._closed, self._raw, self._unprinted = closed, raw, False

    @property
    def encoding(self) -> str:  # type: ignore[override]  # a plain attribute of the base, and read alone
        """The encoding of the stream."""
        return self._stream.encoding or "utf-8"

    def write(self, text: str) -> int:
        """Write a text, with escapes for what the stream cannot show."""
        seen = text if self._raw else visible(text)
        shown = seen.encode(self.encoding, self.errors).decode(self.encoding)
        self._unprinted |= bool(text) and (self._closed or self._dead or shown != seen)
        self._try(lambda: self._stream.write(shown))
        return len(text)

    def unprinted(self) -> bool:
        """Return whether anything written since this was last asked could not be printed as it is."""
        found, self._unprinted = self._unprinted, False
        return found

    def flush(self) -> None:
        """Hand on what was written."""
        self._try(self._stream.flush)

    def writable(self) -> bool:
        """Say that it can be written to."""
        return True

    def isatty(self) -> bool:
        """Say whether a person looks on."""
        return self._stream.isatty()

    def fileno(self) -> int:
        """Return the stream's file descriptor."""
        return self._stream.fileno()

    def _try(self, action: Callable[[], object]) -> None:
        if self._dead:
            return
        try:
            action()
        except (OSError, ValueError) as error:
            self._dead = self._unprinted = True
            self._let_go()
            quiet = isinstance(error, OSError) and error.errno in (errno.EPIPE, errno.EINVAL)
            if self._lost and not quiet:
                why = error.strerror if isinstance(error, OSError) else None
                print(f"{self._lost}: {why or error}", file=sys.stderr)

    def _let_go(self) -> None:
        """Let what is still to be written vanish, so that the interpreter does not stumble over it when it ends."""
        with suppress(OSError, ValueError):
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, self._stream.fileno())
            os.close(nowhere)


def unprinted() -> bool:
    """Return whether anything printed since this was last asked could not be printed as it is."""
    found = [stream.unprinted() for stream in (sys.stdout, sys.stderr) if isinstance(stream, Console)]
    return any(found)


@contextmanager
def console() -> Iterator[None]:
    """Let everything that is printed go through a `Console` each for stdout and stderr."""
    closed = _open_closed()
    streams = sys.stdout, sys.stderr
    for stream in streams:
        with suppress(OSError, ValueError):  # a reader that is slow is waited for, whoever made the pipe
            os.set_blocking(stream.fileno(), True)
    ours = (
        Console(streams[0], "tiedown: the output could not be written", closed="stdout" in closed),
        Console(streams[1], closed="stderr" in closed),
    )
    sys.stdout, sys.stderr = ours
    try:
        yield
    finally:
        for stream in ours:
            stream.flush()
        sys.stdout, sys.stderr = streams


def _open_closed() -> set[str]:
    """Open what was closed when the command began, and return the names of that.

    Else a file that is opened later takes its place and its prints, in this process or in one that it starts.
    """
    closed = set()
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            # the lowest number that is free, which is the one that was closed
            number = os.open(os.devnull, os.O_RDWR)
            os.set_inheritable(number, True)
            setattr(sys, name, os.fdopen(number, mode, encoding="utf-8"))
            closed.add(name)
    return closed
