"""`tiedown run`: jobs one after another or over worker processes, a summary each, the highest exit code."""

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from pipeline.cli.console import print_json
from pipeline.cli.faults import entry, named_twice, report
from pipeline.cli.fold import fitted
from pipeline.cli.progress import progress_on_terminal
from pipeline.cli.show import needs_attention, summary
from pipeline.cli.tally import Told, lines, told
from pipeline.run.fleet import Result, run_many
from pipeline.run.outcome import Outcome
from pipeline.run.telling import acknowledge
from pipeline.visible import one_line

_CAUTION = "  Survey regulations and a licensed surveyor's judgement come first; this record does not replace them."


def run_jobs(jobs: Sequence[Path], *, workers: int, as_json: bool, quiet: bool, dry_run: bool) -> int:
    """Run the jobs, print what became of each, and return the highest exit code.

    Of several jobs a line each stands at the end, those that need attention last. ``as_json`` prints one document: the
    record of the job, or an object ``jobs`` with all of them.
    """
    alone = len(jobs) == 1
    if (twice := named_twice(jobs)) is not None:
        if as_json:
            print_json({"jobs": [entry(problem.file, twice) for problem in twice.problems]})
        return report("tiedown run", twice)
    found: list[Told] = []
    entries: list[dict[str, Any]] = []
    made: list[Outcome] = []
    with progress_on_terminal(alone and not quiet) as progress:
        for job, outcome in run_many(jobs, workers=workers, dry_run=dry_run, progress=progress):
            found.append(told(str(job), outcome))
            if as_json:
                entries.append(_entry(str(job), outcome, alone=alone))
            _tell(str(job), outcome, summaries=not as_json, quiet=quiet)
            made += [outcome] if isinstance(outcome, Outcome) else []
    if as_json:
        print_json(entries[0] if alone else {"jobs": entries})
    elif not (alone or quiet):
        print("\n".join(lines(found)))
        sys.stdout.flush()
    for outcome in made if not dry_run else ():
        acknowledge(outcome)
    return max(one.code for one in found)


def _tell(job: str, outcome: Result, *, summaries: bool, quiet: bool) -> None:
    """Print what became of one job: a summary on stdout, problems on stderr; ``quiet``: only what needs attention."""
    if not isinstance(outcome, Outcome):
        report(job, outcome)
        return
    if not summaries:
        for line in outcome.told_late():
            print(f"{one_line(job)}: {line}", file=sys.stderr)
    elif quiet:
        if outcome.exit_code:
            print(fitted(needs_attention(outcome.record, outcome.headline), sys.stdout))
            sys.stdout.flush()
    else:
        print(fitted(f"{summary(outcome.record, outcome.headline)}\n{_CAUTION}", sys.stdout))
        sys.stdout.flush()


def _entry(job: str, outcome: Result, *, alone: bool) -> dict[str, Any]:
    """Return what ``--json`` prints of a job: its record, among several with its file and what became of it."""
    if not isinstance(outcome, Outcome):
        return entry(job, outcome)
    if alone:
        return dict(outcome.record)
    became = "issued" if outcome.issued else "unchanged" if outcome.folder is not None else "dry run"
    return {"file": job, "outcome": became, "exit_code": outcome.exit_code, **outcome.record}
