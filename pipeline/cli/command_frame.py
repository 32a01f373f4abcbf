"""What surrounds every command: signals answered, streams that end nothing, libraries sealed off, faults told."""

import sys
from collections.abc import Callable

from pipeline.cli.console import console
from pipeline.cli.signals import answer_signals, let_pass
from pipeline.damaged import damaged_file
from pipeline.run.lean import seldom_searched, without_unused
from pipeline.sealed import sealed_off


def run_command(command: Callable[[], object]) -> None:
    """Do a command, which ends by `SystemExit` where it has an exit code to give."""
    answer_signals()
    without_unused()
    seldom_searched()
    try:
        with console(), sealed_off():
            _told(command)
    finally:
        let_pass()


def _told(command: Callable[[], object]) -> None:
    try:
        command()
    except Exception as error:
        if damaged_file(error) is not None:
            raise  # what tells of errors may be damaged too
        from pipeline.cli.faults import report

        sys.exit(report("tiedown", error))
