"""`tiedown check`: every problem of each job at once; nothing is written."""

import sys
from collections.abc import Sequence
from pathlib import Path
from textwrap import indent

from pipeline.check import Checked, check_job
from pipeline.cli.faults import named_again, report
from pipeline.cli.line_folding import fitted
from pipeline.visible import one_line
from pipeline.words import counted


def check_jobs(jobs: Sequence[Path]) -> int:
    """Check the jobs, print what was found, and return 2 where any has a problem; a warning changes nothing."""
    worst, again = 0, named_again(jobs)
    for number, job in enumerate(jobs):
        if number in again:
            worst = max(worst, report(str(job), again[number]))
            continue
        try:
            checked = check_job(job)
        except Exception as error:  # one job's mistake, or a fault that it meets, stops no other
            worst = max(worst, report(str(job), error))
            continue
        print(f"{one_line(str(job))}: {_headline(checked)}")
        told = [f"DOUBT: {doubt}" for doubt in checked.doubts]
        told += [f"warning: {warning}" for warning in checked.warnings[len(checked.doubts) :]]
        for line in [*checked.lines(), *told]:
            print(fitted(f"  {indent(line, '    ').lstrip()}", sys.stdout))
    return worst


def _headline(checked: Checked) -> str:
    doubts, warnings = len(checked.doubts), len(checked.warnings) - len(checked.doubts)
    told = ["no errors"]
    if doubts:
        told.append(f"{counted(doubts, 'doubt')} that {'takes' if doubts == 1 else 'take'} the proof away")
    if warnings:
        told.append(counted(warnings, "warning"))
    return ", ".join(told)
