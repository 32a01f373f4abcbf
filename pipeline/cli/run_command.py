"""`tiedown run`: jobs one after another or over worker processes, a summary each, the highest exit code."""

import sys
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import partial
from pathlib import Path
from typing import Any

from msgspec import Struct

from pipeline.cli.batch_summary import REFUSED, JobOutcome, batch_lines, job_outcome
from pipeline.cli.console import print_json, unprinted
from pipeline.cli.faults import code_of, error_record, fault_lines, named_again, report
from pipeline.cli.issue_summary import needs_attention, summary
from pipeline.cli.line_folding import fitted
from pipeline.cli.log_entry import changed_nothing, log_notification, log_outcome
from pipeline.cli.progress import progress_on_terminal
from pipeline.issue.attention import worth_a_look
from pipeline.job.command_named import Command
from pipeline.notify.notifier import Notifier
from pipeline.notify.told import Told as CommandTold
from pipeline.problems import JobError
from pipeline.replace import replace
from pipeline.run.answering import silent
from pipeline.run.fleet import Result, run_many
from pipeline.run.logged import logged
from pipeline.run.mishaps import TimedOut, mishap_of
from pipeline.run.outcome import Outcome
from pipeline.run.run_log import NAME as LOG
from pipeline.run.telling import acknowledge
from pipeline.visible import one_line
from pipeline.words import FailOn

_CAUTION = "  Survey regulations and a licensed surveyor's judgement come first; this record does not replace them."
#: Why nothing is written beside a job.
_NO_ANSWER = "this run is not in the log, and no notification was sent: the job file or its folder does not answer"


class Batch(Struct, frozen=True):
    """Jobs to run, and how what becomes of them is told.

    Args:
        jobs: the job files.
        as_json: one document is printed, the record of the job or an object ``jobs`` with all of them.
        quiet: only what needs attention is printed.
        dry_run: nothing is written, logged or sent.
        fail_on: what was chosen to make an exit code, None for what the exit codes say.
        notify: the command to be called where a job's state changed, in place of the one that the job names.
        silent: no command is called.
    """

    jobs: Sequence[Path]
    as_json: bool = False
    quiet: bool = False
    dry_run: bool = False
    fail_on: frozenset[FailOn] | None = None
    notify: Command | None = None
    silent: bool = False

    @property
    def alone(self) -> bool:
        """Tell whether it is a single job, of which more is told than of one among several."""
        return len(self.jobs) == 1


def run_jobs(batch: Batch, *, workers: int = 1, timeout: float | None = None, cluster: str | None = None) -> int:
    """Run the jobs, print what became of each, and return the highest exit code.

    Of several jobs a line each stands at the end, those that need attention last. A job's log gets what was issued and
    what went wrong on the way, as soon as it is known, and each run that changed nothing.

    Args:
        batch: the jobs.
        workers: how many processes run several jobs.
        timeout: seconds after which a job is ended.
        cluster: the address of a scheduler whose workers are to run the jobs.
    """
    jobs, dry_run = batch.jobs, batch.dry_run
    held = silent(jobs) if len(jobs) > 1 or timeout is not None else frozenset[Path]()
    again = named_again(jobs, held)
    once = [job for number, job in enumerate(jobs) if number not in again]
    at_cluster: Iterator[tuple[Path, Result]] | None = None
    if cluster is not None:
        from pipeline.cluster.job_dispatch import run_on_cluster

        try:
            at_cluster = run_on_cluster(once, cluster, timeout=timeout, dry_run=dry_run)
        except JobError as error:
            return _none_run(batch, error)
    logged: dict[Path, str] = {}
    notifier = Notifier(batch.notify) if not (dry_run or batch.silent) else None
    with progress_on_terminal(batch.alone and not batch.quiet and cluster is None) as progress:
        results = at_cluster or run_many(
            once, workers=workers, timeout=timeout, dry_run=dry_run, progress=progress, silent=held
        )
        results = _followed(results, batch, logged, notifier, held)
        if batch.alone:  # nothing is printed while the bar is there
            results = iter(list(results))
    ends = [_end(job, outcome, batch, logged) for job, outcome in _in_order(jobs, again, results)]
    for one_told in notifier.told() if notifier is not None else ():
        _tell_of_command(one_told)
    _tell_at_end(ends, batch)
    for end in ends if not dry_run else ():
        if isinstance(end.outcome, Outcome):
            acknowledge(end.outcome)
    return max(end.told.code for end in ends)


def _followed(
    results: Iterator[tuple[Path, Result]],
    batch: Batch,
    logged: dict[Path, str],
    notifier: Notifier | None,
    held: frozenset[Path],
) -> Iterator[tuple[Path, Result]]:
    """Return results that are logged, and told by commands, as they come; not of jobs whose files do not answer."""
    results = _chosen(results, batch.fail_on)
    if not batch.dry_run:
        results = _logging(results, logged, held)
    return _notifying(results, notifier, logged) if notifier is not None else results


class _End(Struct, frozen=True):
    """What became of a job: its outcome, its line, and its entry in JSON."""

    outcome: Result
    told: JobOutcome
    entry: dict[str, Any]


def _end(job: Path, outcome: Result, batch: Batch, logged: Mapping[Path, str]) -> _End:
    """Tell what became of a job; log what is not ``logged`` yet: a run without change, or what could not be printed.

    What could not be logged is told, but for a log that there is not.
    """
    unprinted()
    line, each = _tell(str(job), outcome, batch)
    if batch.fail_on is not None and FailOn.REFUSED not in batch.fail_on and line.word == REFUSED:
        line, each = replace(line, code=0), {**each, "exit_code": 0}
    lost, unlogged = unprinted(), logged.get(job)
    if not batch.dry_run and unlogged is None and (lost or changed_nothing(outcome)):
        unlogged = log_outcome(job, outcome, unprinted=lost)
    if unlogged:
        print(fitted(one_line(f"{job}: {unlogged}"), sys.stderr), file=sys.stderr)
        sys.stderr.flush()
    return _End(outcome, line, each)


def _tell_at_end(ends: Sequence[_End], batch: Batch) -> None:
    """Print the document of all jobs, or of several a line each."""
    if batch.as_json:
        print_json(ends[0].entry if batch.alone else {"jobs": [end.entry for end in ends]})
    elif not (batch.alone or batch.quiet):
        print("\n".join(batch_lines([end.told for end in ends])))
        sys.stdout.flush()


def _none_run(batch: Batch, error: JobError) -> int:
    """Tell why no job could be run, and return the exit code."""
    if batch.as_json:
        entries = [error_record(str(job), error) for job in batch.jobs]
        print_json(entries[0] if batch.alone else {"jobs": entries})
    return report("tiedown run", error)


def _chosen(results: Iterable[tuple[Path, Result]], fail_on: frozenset[FailOn] | None) -> Iterator[tuple[Path, Result]]:
    """Yield results on, each that is an outcome with what was chosen to make its exit code."""
    for job, outcome in results:
        yield job, replace(outcome, fail_on=fail_on) if isinstance(outcome, Outcome) else outcome


def _in_order(
    jobs: Sequence[Path], again: Mapping[int, JobError], results: Iterable[tuple[Path, Result]]
) -> Iterator[tuple[Path, Result]]:
    """Yield results in the order of their jobs; those named ``again`` have none of their own."""
    coming, early = iter(results), dict[Path, Result]()
    for number, job in enumerate(jobs):
        if number in again:
            yield job, again[number]
            continue
        while job not in early:
            done, outcome = next(coming)
            early[done] = outcome
        yield job, early.pop(job)


def _logging(
    results: Iterable[tuple[Path, Result]], logged: dict[Path, str], held: frozenset[Path]
) -> Iterator[tuple[Path, Result]]:
    """Yield results on; log at once what is new or what another run may not meet again, and note how that went.

    What timed out is not looked at where its file does not answer, as those ``held`` did not: this process must go on.
    """
    for job, outcome in results:
        if isinstance(outcome, TimedOut) and (job in held or silent([job])):
            logged[job] = _NO_ANSWER
        elif not changed_nothing(outcome) and (how := log_outcome(job, outcome)) is not None:
            logged[job] = how
        yield job, outcome


def _notifying(
    results: Iterable[tuple[Path, Result]], notifier: Notifier, logged: Mapping[Path, str]
) -> Iterator[tuple[Path, Result]]:
    """Yield results on; begin to tell of each by the command that is named for it."""
    for job, outcome in results:
        if logged.get(job) == _NO_ANSWER:
            yield job, outcome
            continue
        try:
            notifier.tell(job, outcome, partial(_in_short, job, outcome))
        except Exception as error:  # whatever it is, it costs no job
            print(f"{one_line(str(job))}: no notification was sent: {one_line(str(error))}", file=sys.stderr)
        yield job, outcome


def _in_short(job: Path, outcome: Result) -> tuple[int, str]:
    """Return the exit code of a job and what is said of it in a few lines."""
    if isinstance(outcome, Outcome):
        return outcome.exit_code, needs_attention(outcome.record, outcome.headline, outcome.more())
    return code_of(outcome), "\n".join(fault_lines(str(job), outcome))


def _tell_of_command(one: CommandTold) -> None:
    """Print what a command met that did not end well, and let the job's log say what became of any."""
    log_notification(one)
    if not one.well:
        print(fitted(one_line(f"{one.job}: {one.how}"), sys.stderr), file=sys.stderr)
        sys.stderr.flush()


def _tell(job: str, outcome: Result, batch: Batch) -> tuple[JobOutcome, dict[str, Any]]:
    """Print what became of one job, and return its line and its entry in JSON.

    What cannot be told is a fault, told in its place, and stops no other job.
    """
    try:
        each = _entry(job, outcome, alone=batch.alone) if batch.as_json else {}
        _print(job, outcome, summaries=not batch.as_json, quiet=batch.quiet)
        return job_outcome(job, outcome), each
    except Exception as error:
        fault = mishap_of(error)
        report(job, fault)
        return job_outcome(job, fault), error_record(job, fault)


def _print(job: str, outcome: Result, *, summaries: bool, quiet: bool) -> None:
    """Print what became of one job: a summary on stdout, problems on stderr; ``quiet``: only what needs attention."""
    if not isinstance(outcome, Outcome):
        report(job, outcome)
        return
    if not summaries:
        for line in (*outcome.told_late(), *outcome.new_notes()):
            print(f"{one_line(job)}: {line}", file=sys.stderr)
    elif quiet:
        if outcome.exit_code or outcome.is_news or worth_a_look(outcome.record):
            print(fitted(needs_attention(outcome.record, outcome.headline, outcome.more()), sys.stdout))
            sys.stdout.flush()
        elif (told := _superseded(outcome)) is not None:
            print(fitted(one_line(f"{job}: {told}"), sys.stderr), file=sys.stderr)
            sys.stderr.flush()
    else:
        text = summary(outcome.record, outcome.headline, outcome.more(), outcome.new_notes())
        print(fitted(f"{text}\n{_CAUTION}", sys.stdout))
        sys.stdout.flush()


def _superseded(outcome: Outcome) -> str | None:
    """Return in words that `current` shows another issue by hand, None where it does not, or the last run said so.

    What somebody decided needs no attention, and is told once.
    """
    if outcome.waits or outcome.folder is None or outcome.current in (None, outcome.record["issue"]):
        return None
    line, *_ = outcome.more()
    try:
        runs = [run for run in logged(outcome.folder.parent.parent / LOG) if run.word != "held"]
    except OSError:  # then nobody knows
        runs = []
    return None if runs and line in map(str.strip, runs[-1].lines) else line


def _entry(job: str, outcome: Result, *, alone: bool) -> dict[str, Any]:
    """Return what ``--json`` prints of a job: its record, among several with its file and what became of it."""
    if not isinstance(outcome, Outcome):
        return error_record(job, outcome)
    if alone:
        return dict(outcome.record)
    became = "issued" if outcome.issued else "unchanged" if outcome.folder is not None else "dry run"
    about = {"file": job, "outcome": became, "exit_code": outcome.exit_code, "current": outcome.current}
    return {**about, **outcome.record}
