"""Where exceptions meet: a user's mistake, a job that is held, a fault of the program; each with its exit code."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager

import typer

from pipeline.problems import JobError, JobHeld

FAULT, WRONG, HELD = 1, 2, 4


@contextmanager
def reported(job: str) -> Iterator[None]:
    """Turn the exceptions of one job into a message on stderr and an exit code; a fault keeps its traceback."""
    try:
        yield
    except (JobError, JobHeld) as error:
        raise typer.Exit(report(job, error)) from error


def report(job: str, error: JobError | JobHeld) -> int:
    """Print a user's mistake, or that the job is held, on stderr and return its exit code."""
    if isinstance(error, JobHeld):
        print(f"{job}: {error}", file=sys.stderr)
        return HELD
    count = len(error.problems)
    print(f"{job}: {count} problem{'s' if count != 1 else ''}, nothing written", file=sys.stderr)
    for problem in error.problems:
        where = problem.file if problem.line <= 0 else f"{problem.file}:{problem.line}"
        print(f"  {where}: {problem.what}", file=sys.stderr)
        if problem.fix:
            print(f"      {problem.fix}", file=sys.stderr)
    return WRONG
