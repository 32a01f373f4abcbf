"""`tiedown run` as it is mostly called, without the command-line library: that takes as long as an unchanged job.

Jobs and switches alone are understood here; whatever else there is goes to the library, which tells what is wrong.
"""

import os
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

_SWITCHES = ("--json", "--quiet", "--dry-run")


def plain_run(arguments: Sequence[str]) -> Callable[[], None] | None:
    """Return the command that the arguments of the program ask for, None where the library is to read them."""
    if os.name == "nt" or not arguments or arguments[0] != "run":  # there patterns are the program's to resolve
        return None
    json, quiet, dry_run = (switch in arguments for switch in _SWITCHES)
    jobs = [one for one in arguments[1:] if one not in _SWITCHES]
    if not jobs or any(not one or one.startswith("-") for one in jobs):
        return None

    def command() -> None:
        from pipeline.cli.run_command import Batch, run_jobs

        sys.exit(run_jobs(Batch([Path(job) for job in jobs], as_json=json, quiet=quiet, dry_run=dry_run)))

    return command
