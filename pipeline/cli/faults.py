"""Where exceptions end: a user's mistake, a job that is held, a fault of the program; each with its exit code."""

import sys
import traceback

from pipeline.problems import JobError, JobHeld

FAULT, WRONG, HELD = 1, 2, 4


def report(job: str, error: Exception) -> int:
    """Print what ended a job on stderr and return its exit code; a fault of the program keeps its traceback."""
    if isinstance(error, JobHeld):
        print(f"{job}: {error}", file=sys.stderr)
        return HELD
    if not isinstance(error, JobError):
        traceback.print_exception(error)
        print(f"{job}: a fault of the program; the previous issue, if there is one, stands", file=sys.stderr)
        return FAULT
    count = len(error.problems)
    print(f"{job}: {count} problem{'s' if count != 1 else ''}, nothing written", file=sys.stderr)
    for problem in error.problems:
        where = problem.file if problem.line <= 0 else f"{problem.file}:{problem.line}"
        print(f"  {where}: {problem.what}", file=sys.stderr)
        if problem.fix:
            print(f"      {problem.fix}", file=sys.stderr)
    return WRONG
