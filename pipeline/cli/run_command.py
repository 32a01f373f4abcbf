"""`tiedown run`: jobs one after another or over worker processes, a summary each, the highest exit code."""

import json
import sys
from collections.abc import Sequence
from pathlib import Path

from pipeline.cli.faults import report
from pipeline.cli.progress import progress_on_terminal
from pipeline.cli.show import summary
from pipeline.fleet import Result, run_many
from pipeline.run import Outcome


def run_jobs(jobs: Sequence[Path], *, workers: int, as_json: bool, quiet: bool, dry_run: bool) -> int:
    """Run the jobs, print what became of each, and return the highest exit code."""
    worst = 0
    alone = len(jobs) == 1
    with progress_on_terminal(alone and not quiet) as progress:
        for job, outcome in run_many(jobs, workers=workers, dry_run=dry_run, progress=progress):
            worst = max(worst, _tell(str(job), outcome, as_json=as_json, quiet=quiet))
    return worst


def _tell(job: str, outcome: Result, *, as_json: bool, quiet: bool) -> int:
    if not isinstance(outcome, Outcome):
        return report(job, outcome)
    if as_json:
        print(json.dumps(outcome.record, indent=2, ensure_ascii=False, allow_nan=False))
    elif not quiet:
        print(summary(outcome.record, outcome.headline))
        print("  Survey regulations and a licensed surveyor's judgement come first; this record does not replace them.")
        sys.stdout.flush()
    return outcome.exit_code
