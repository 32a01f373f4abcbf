"""What a job's log gets of a run: all that was said, and of one that changed nothing what still needs attention."""

from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path
from textwrap import indent

from pipeline.cli.batch_summary import REFUSED
from pipeline.cli.faults import HELD, code_of, fault_lines
from pipeline.cli.issue_summary import summary
from pipeline.issue.attention import attention
from pipeline.notify.told import Told
from pipeline.run.fleet import Result
from pipeline.run.mishaps import Mishap
from pipeline.run.outcome import Outcome
from pipeline.run.run_log import Notified, NotKept, Said, keep
from pipeline.visible import one_line, visible

#: Things that need attention which are said of one run in which nothing changed.
_REMARKS_MAX = 12


def log_outcome(job: Path, outcome: Result, *, unprinted: bool = False) -> str | None:
    """Let the job's log say what became of a run. It is never the reason that a run fails.

    ``unprinted``: what was said could not be printed, so that all of it is to stand somewhere.

    Returns "" where it stands there, in words why it does not, None where there is nothing for it to stand in.
    """
    try:
        kept = keep(job, outcome, _said(job, outcome, unprinted), datetime.now(UTC), unprinted=unprinted)
    except NotKept as error:
        return f"this run is not in the log: {error}"
    except Exception:  # it is met again, and told, where the same is printed
        return None
    return "" if kept else None


def log_notification(one: Told) -> None:
    """Let the job's log say what became of telling somebody of it."""
    with suppress(Exception):  # a log that cannot be written costs nothing
        keep(one.job, one.result, Notified(one.how, visible(one.output)), datetime.now(UTC), unprinted=not one.well)


def changed_nothing(outcome: Result) -> bool:
    """Say whether a run found the previous issue as it was, so that nothing is lost where its line is."""
    return isinstance(outcome, Outcome) and not outcome.issued


def _said(job: Path, outcome: Result, unprinted: bool) -> Said:
    if not isinstance(outcome, Outcome):
        code, text = code_of(outcome), "\n".join(fault_lines(str(job), outcome))
        word = outcome.outcome if isinstance(outcome, Mishap) else "held" if code == HELD else REFUSED
        return Said(code, word, "no new issue", _version(), visible(text))
    record = outcome.record
    whole = outcome.issued or unprinted
    told = (record, outcome.headline, outcome.more(), outcome.new_notes())
    text = summary(*told) if whole else "\n".join(_attention(outcome))
    waits = ", pending" if outcome.waits else ""
    issue = f"issue {record['issue']:03d}, {record['verdict']}{waits}"
    # another version makes another issue, so that the record has this one
    version = str(record["version"]).partition(",")[0]
    return Said(outcome.exit_code, "issued" if outcome.issued else "unchanged", issue, version, visible(text))


def _attention(outcome: Outcome) -> Iterator[str]:
    yield from map(one_line, (*outcome.told_late(), *outcome.more()))
    found = attention(outcome.record)
    yield from (f"needs attention: {one_line(one.what)}" for one in found[:_REMARKS_MAX])
    if len(found) > _REMARKS_MAX:
        yield f"and {len(found) - _REMARKS_MAX:,} more, in issue.json"
    yield from (indent(note, "  ").lstrip() for note in outcome.new_notes())


def _version() -> str:
    from importlib.metadata import version  # 0.15 s that a run in which nothing changed need not wait for

    return f"tiedown {version('tiedown')}"
