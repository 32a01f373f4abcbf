"""What happened to a job since a moment: issues made, released and set aside, runs that gave none."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

from pipeline.issue.change_summary import counts_in_words, rows_changed
from pipeline.issue.folder.issues_list import RELEASED, REMOVED, Entry, how_released
from pipeline.issue.folder.issues_list import SET_ASIDE as ASIDE
from pipeline.office.issue_status import Issued
from pipeline.office.logged_runs import ENDED, ended, last_run
from pipeline.run.logged import Logged
from pipeline.words import FIRST_ISSUE


def events(found: Issued | None, runs: list[Logged], since: datetime) -> Iterator[str]:
    """Yield what happened since a moment, oldest first: issues, releases, issues set aside, runs that gave none."""
    told = [(line.made_at, _line(line, found)) for line in (found.lines if found else ()) if line.made_at >= since]
    last = last_run(runs)  # which is told already
    earlier = (run for run in runs if run.word in ENDED and run is not last)
    told += [(run.last, f"a run {ended(run)}") for run in earlier if run.last >= since]
    listed = {line.issue for line in found.lines} if found else set()
    if found and found.newest and found.made and found.made >= since and found.newest["issue"] not in listed:
        told.append((found.made, _line(Entry(found.newest["issue"], found.made, found.newest["verdict"], ""), found)))
    yield from (f"{at.astimezone(UTC):%Y-%m-%d %H:%M} UTC: {what}" for at, what in sorted(told))


def _line(line: Entry, found: Issued | None) -> str:
    """Return a line of the issues list in words."""
    issue = f"issue {line.issue:03d}"
    why = f": {line.because}" if line.because else ""
    if line.verdict == RELEASED:
        return f"{issue} {how_released(line.because)}{why}"
    if line.verdict == ASIDE:
        return f"{issue} set aside{why}"
    if line.verdict == REMOVED:
        return f"{issue}: files removed{why}"
    return f"{issue} made, verdict {line.verdict}{_changed(line.issue, found)}{why or f': {FIRST_ISSUE}'}"


def _changed(number: int, found: Issued | None) -> str:
    """Return how many points an issue changed, where its record is at hand."""
    for record in (found.newest, found.shown) if found is not None else ():
        if record is not None and record["issue"] == number and record["changes"] is not None:
            told = counts_in_words(record["changes"], rows_changed(record))
            return f" ({', '.join(told)})" if told else ""
    return ""
