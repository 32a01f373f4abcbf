"""`tiedown history`: the issues of a job, oldest first, so that the newest stands last, above the prompt."""

import json
from pathlib import Path

from pipeline.cli.faults import report
from pipeline.history import Changes, Entry, history
from pipeline.issue.record import RecordError
from pipeline.problems import JobError, Problem
from pipeline.words import Change


def show_history(job: Path, *, as_json: bool) -> int:
    """Print the issues of a job and return the exit code: 0, or 2 where there is none to print."""
    try:
        entries = history(job)
    except JobError as error:
        return report(str(job), error)
    except RecordError as error:
        fix = "see tiedown verify; put the issue back from a copy of the folder"
        return report(str(job), JobError([Problem(str(job), 0, str(error), fix)]))
    if as_json:
        print(json.dumps([entry.as_record() for entry in entries], indent=2, ensure_ascii=False))
    else:
        print("\n".join(line for entry in entries for line in _lines(entry)))
    return 0


def _lines(entry: Entry) -> list[str]:
    made = f"{entry.made_at:%Y-%m-%d %H:%M} UTC" if entry.made_at else "(not in register.csv)"
    failed = f", {entry.checks_failed} on marks failing" if entry.checks_failed else ""
    return [
        f"issue {entry.issue:03d}  {made}  {entry.verdict.upper()}  {entry.points:,} points,"
        f" {entry.held_back:,} held back{failed}",
        *(f"  because {reason}" for reason in entry.because),
        *([f"  {_counts(entry.changes)}"] if entry.changes else []),
    ]


def _counts(changes: Changes) -> str:
    since = f"since issue {changes.since:03d}" if changes.since is not None else "since the issue before"
    counts = {name: count for name, count in changes.counts.items() if count is not None}
    if not counts:
        return f"{since}: points were not compared"
    told = []
    for name, count in counts.items():
        if count:
            told.append(f"{count:,} {name}" + (_farthest(changes) if name == Change.MOVED else ""))
    if changes.attributes:
        told.append(f"{changes.attributes:,} with other attributes")
    return f"{since}: " + (", ".join(told) or "no point changed")


def _farthest(changes: Changes) -> str:
    if changes.max_horizontal is None or changes.max_vertical is None:
        return ""
    return f" (by up to {changes.max_horizontal:.4f} m horizontally, {changes.max_vertical:.4f} m in height)"
