"""Outcomes of a job that failed for no mistake of its own: killed, out of memory, timed out, internal error."""

import errno
import signal
import traceback
from typing import Any, ClassVar

from pipeline.damaged import FIX, damaged_file, what


class Mishap(Exception):
    """What ended a job that its user has not made wrong: ``what`` in words, and what to do about it.

    ``code`` is the exit code that it comes to, ``outcome`` its word in ``--json``.
    """

    code: ClassVar[int] = 1
    outcome: ClassVar[str] = "fault"

    def __init__(self, what: str, fix: str = "") -> None:
        """Keep both as arguments, so that it comes out of another process as it went in."""
        super().__init__(what, fix)
        self.what, self.fix = what, fix

    def __reduce__(self) -> tuple[type["Mishap"], tuple[Any, ...]]:
        """Say how it is made again, since libraries that pickle exceptions in ways of their own make none of some."""
        return type(self), self.args

    def __str__(self) -> str:
        return self.what


class Died(Mishap):
    """The process that ran the job ended under it."""

    outcome = "died"

    @classmethod
    def of(cls, exit_code: int | None, *, twice: bool = False) -> "Died":
        """Say how the process ended, by its exit code (a signal's number below zero; None where it never began)."""
        fix = "run it alone; look for it in the system log, and check how much memory there is"
        return cls(f"the process that ran the job {_ended(exit_code)}{', twice' if twice else ''}", fix)


class OutOfMemory(Mishap, MemoryError):
    """The job needs more memory than it gets."""

    outcome = "died"

    @classmethod
    def told(cls) -> "OutOfMemory":
        """Say so."""
        return cls(
            "the job needs more memory than is available to it", "run it alone, with fewer workers or a higher limit"
        )


class TimedOut(Mishap):
    """The job ran longer than it was given."""

    code = 2
    outcome = "timed out"

    @classmethod
    def after(cls, seconds: float) -> "TimedOut":
        """Say how long it was given."""
        fix = "check what it is waiting for (a pipe, a network folder), or allow more time with --timeout"
        return cls(f"the job ran longer than the {seconds:g} s of --timeout and was stopped", fix)


class Fault(Mishap):
    """A fault in the program: ``traceback`` is where it happened, as Python tells it."""

    def __init__(self, what: str, traceback: str) -> None:
        super().__init__(what)
        self.args = (what, traceback)
        self.traceback = traceback

    @classmethod
    def of(cls, error: BaseException) -> "Fault":
        """Return what can be sent from one process to another, whatever the error holds."""
        return cls(f"{type(error).__name__}: {error}", "".join(traceback.format_exception(error)))


class DamagedInstallation(Mishap):
    """A file of the program, or of a library that it uses, is not what was installed."""


def mishap_of(error: BaseException) -> Mishap:
    """Return what an exception is that nobody has words for: of a damaged installation, or a fault in the program."""
    path = damaged_file(error)
    return DamagedInstallation(what(path), FIX) if path is not None else Fault.of(error)


#: What the system says where there is no room for a library that is loaded when it is first used, or for a thread.
_NO_ROOM = ("failed to map segment", "annot allocate memory", "can't start new thread")


def is_out_of_memory(error: BaseException) -> bool:
    """Say whether an error is the want of memory, by whatever library it was met."""
    if isinstance(error, MemoryError) or (isinstance(error, OSError) and error.errno == errno.ENOMEM):
        return True
    return isinstance(error, ImportError | RuntimeError) and any(sign in str(error) for sign in _NO_ROOM)


def _ended(exit_code: int | None) -> str:
    if exit_code is None:
        return "could not be started"
    if exit_code >= 0:
        return f"ended with code {exit_code}"
    try:
        return f"was killed ({signal.Signals(-exit_code).name})"
    except ValueError:
        return f"was killed (signal {-exit_code})"
