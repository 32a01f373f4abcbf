"""Where the command begins: it answers signals before it loads anything that takes time; and how the program ends."""

import atexit
import os
import sys
from collections.abc import Callable

from pipeline.damaged import damaged_file, tell


def program() -> None:
    """Be the program: enter the command line, and end the process with it whatever comes. Others call `main`."""
    codes: list[int] = []
    atexit.register(_end_at_once, codes)  # of what is to be done at the end the first to be named is done last
    try:
        main()
    except SystemExit as end:
        if end.code is None or isinstance(end.code, int):
            codes.append(end.code or 0)
        raise


def main() -> None:
    """Enter the command line; a damaged file of the installation is told in words, wherever it is met."""
    try:
        _enter()
    except Exception as error:
        if (path := damaged_file(error)) is None:
            raise
        sys.exit(tell(path, as_json="--json" in sys.argv[1:]))


def _enter() -> None:
    from pipeline.cli.signals import answer_signals

    answer_signals()
    from pipeline.cli.command_frame import run_command
    from pipeline.sealed import cases_as_in_english, unheard

    unheard()
    cases_as_in_english()
    run_command(_command())


def _command() -> Callable[[], object]:
    """Return what the arguments ask for."""
    from pipeline.cli.plain_run import plain_run

    if (plain := plain_run(sys.argv[1:])) is not None:
        return plain
    from pipeline.cli.main import app

    return app


def _end_at_once(codes: list[int]) -> None:
    """End with a command's exit code, if it has given one.

    The interpreter would free one by one all that was loaded, which takes a twentieth of a small job's time. Where what
    was said reaches nobody, it is left to tell so and to end in its way.
    """
    if not codes:
        return
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except (OSError, ValueError, AttributeError):  # a full disk, a closed one, or none
            return
    os._exit(codes[0] & 0xFF)


if __name__ == "__main__":
    program()
