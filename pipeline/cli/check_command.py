"""`tiedown check`: every problem of each job at once; nothing is written."""

import sys
from collections.abc import Sequence
from pathlib import Path
from textwrap import indent

from pipeline.check import check_job
from pipeline.cli.console import one_line
from pipeline.cli.faults import named_twice, report
from pipeline.cli.fold import fitted
from pipeline.words import counted


def check_jobs(jobs: Sequence[Path]) -> int:
    """Check the jobs, print what was found, and return 2 where any has a problem; a warning changes nothing."""
    if (twice := named_twice(jobs)) is not None:
        return report("tiedown check", twice)
    worst = 0
    for job in jobs:
        try:
            checked = check_job(job)
        except Exception as error:  # one job's mistake, or a fault that it meets, stops no other
            worst = max(worst, report(str(job), error))
            continue
        count = len(checked.warnings)
        print(f"{one_line(str(job))}: nothing wrong" + (f", {counted(count, 'warning')}" if count else ""))
        for line in [*checked.lines(), *(f"warning: {warning}" for warning in checked.warnings)]:
            print(fitted(f"  {indent(line, '    ').lstrip()}", sys.stdout))
    return worst
