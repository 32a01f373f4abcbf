"""Where exceptions end: a user's mistake, a job that is held, a fault in the program; each with its exit code."""

import os
import re
import sys
from collections.abc import Collection, Iterator, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from pipeline.cli.console import print_json
from pipeline.cli.line_folding import fitted
from pipeline.issue.record import RecordError
from pipeline.problems import JobError, JobHeld, NamedAgain, Problem, Unfinished
from pipeline.run.mishaps import Fault, Mishap, OutOfMemory, is_out_of_memory, mishap_of
from pipeline.visible import one_line
from pipeline.words import counted

FAULT, WRONG, HELD = 1, 2, 4

#: So many problems of one file that are alike are printed one by one; of more the first few.
_ALIKE, _FIRST = 10, 5

#: What was written in spite of a problem.
_WROTE = {
    Unfinished: "the issue is written and complete",
    NamedAgain: "not done a second time",
}
#: What became of a job that ended in an exception, by its exit code; mishaps say it themselves.
_ENDED = {WRONG: "refused", HELD: "held"}


def report(job: str, error: Exception, *, as_json: bool = False) -> int:
    """Print what ended a job on stderr and return its exit code; a fault in the program keeps its traceback.

    With ``as_json`` stdout gets it as a document too.
    """
    sys.stdout.flush()
    if as_json:
        print_json(error_record(job, error))
    for line in fault_lines(job, error):
        print(fitted(line, sys.stderr), file=sys.stderr)
    sys.stderr.flush()
    return code_of(error)


def fault_lines(job: str, error: Exception) -> Iterator[str]:
    """Yield what is said of a job that ended in an exception; of a fault in the program where it happened, too."""
    name, error = one_line(job), _known(error)
    if isinstance(error, JobHeld):
        yield f"{name}: {error}"
    elif isinstance(error, Fault):
        yield from error.traceback.splitlines()
        yield f"{name}: a fault in the program; the previous issue, if there is one, is unchanged"
    elif isinstance(error, Mishap):
        yield f"{name}: {error}; the previous issue, if there is one, is unchanged"
        yield f"      {error.fix}"
    else:
        problems = _problems(job, error)
        wrote = next((words for of, words in _WROTE.items() if isinstance(error, of)), "nothing written")
        yield f"{name}: {counted(len(problems), 'problem')}, {wrote}"
        yield from problem_lines(problems)


def _known(error: Exception) -> JobError | JobHeld | RecordError | Mishap:
    """Return an exception as one of those that have words."""
    if isinstance(error, JobError | JobHeld | RecordError | Mishap):
        return error
    return OutOfMemory.told() if is_out_of_memory(error) else mishap_of(error)


def problem_lines(problems: Sequence[Problem]) -> Iterator[str]:
    """Yield problems as printed: of many that differ in names and figures alone the first, and how many more."""
    alike: dict[tuple[str, str], list[Problem]] = {}
    for problem in problems:
        alike.setdefault((problem.file, _look(problem.what)), []).append(problem)
    told: set[tuple[str, str]] = set()
    for problem in problems:
        key = (problem.file, _look(problem.what))
        those = alike[key]
        if key in told:
            continue
        folded = len(those) > _ALIKE
        told |= {key} if folded else set()
        for shown in those[:_FIRST] if folded else [problem]:
            where = one_line(shown.file) + (f":{shown.line}" if shown.line > 0 else "")
            yield f"  {where}: {one_line(shown.what)}"
            if shown.fix:
                yield f"      {one_line(shown.fix)}"
        if folded:
            rest = those[_FIRST:]
            yield f"  and {len(rest):,} more like these in {one_line(problem.file)}{_span(rest)}"


def _span(problems: Sequence[Problem]) -> str:
    at = sorted({problem.line for problem in problems if problem.line > 0})
    return "" if not at else f", line {at[0]}" if len(at) == 1 else f", lines {at[0]} to {at[-1]}"


def _look(what: str) -> str:
    """Return a problem without what stands in quotes and without figures."""
    return re.sub(r"\"[^\"]*\"|'[^']*'|[-+]?\d[\d.,]*", "#", what)


def code_of(error: Exception) -> int:
    """Return the exit code that an exception comes to."""
    error = _known(error)
    if isinstance(error, Mishap):
        return error.code
    return HELD if isinstance(error, JobHeld) else WRONG


def error_record(job: str, error: Exception) -> dict[str, Any]:
    """Return what ended a job in plain JSON values: its problems, each with file, line, what and fix."""
    code, known = code_of(error), _known(error)
    outcome = known.outcome if isinstance(known, Mishap) else _ENDED[code]
    problems = [asdict(problem) for problem in _problems(job, known)]
    return {"job": job, "file": job, "outcome": outcome, "exit_code": code, "problems": problems}


def _problems(job: str, error: JobError | JobHeld | RecordError | Mishap) -> tuple[Problem, ...]:
    if isinstance(error, JobError):
        return error.problems
    if isinstance(error, JobHeld):
        return (Problem(job, 0, str(error), "wait until that run has ended, then run the job again"),)
    if isinstance(error, RecordError):
        return (Problem(job, 0, str(error), error.fix),)
    what = f"a fault in the program: {error}" if isinstance(error, Fault) else str(error)
    return (Problem(job, 0, what, error.fix),)


def named_again(jobs: Sequence[Path], silent: Collection[Path] = ()) -> dict[int, NamedAgain]:
    """Return what to say of jobs that were named before, under whatever name, by their numbers in the order given.

    Those whose files are ``silent`` are not looked at: they are told apart by what they are called.
    """
    first: dict[str, Path] = {}
    again: dict[int, NamedAgain] = {}
    for number, job in enumerate(jobs):
        before = first.setdefault(str(job) if job in silent else _same(job), job)
        if before is not job:
            also = f" (as {before})" if str(before) != str(job) else ""
            again[number] = NamedAgain([Problem(str(job), 0, f"the job is named twice{also}", "name each job once")])
    return again


def _same(job: Path) -> str:
    """Return what is the same for every name of a job file."""
    try:
        return os.path.normcase(os.path.realpath(job))
    except OSError:  # the working folder is gone
        return str(job)
