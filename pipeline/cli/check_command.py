"""`tiedown check`: every problem of each job at once; nothing is written."""

from collections.abc import Sequence
from pathlib import Path
from textwrap import indent

from pipeline.check import check_job
from pipeline.cli.faults import report
from pipeline.problems import JobError


def check_jobs(jobs: Sequence[Path]) -> int:
    """Check the jobs, print what was found, and return 2 where any has a problem; a warning changes nothing."""
    worst = 0
    for job in jobs:
        try:
            checked = check_job(job)
        except JobError as error:
            worst = max(worst, report(str(job), error))
            continue
        count = len(checked.warnings)
        print(f"{job}: nothing wrong" + (f", {count} warning{'s' if count != 1 else ''}" if count else ""))
        for line in [*checked.lines(), *(f"warning: {warning}" for warning in checked.warnings)]:
            print(f"  {indent(line, '    ').lstrip()}")
    return worst
