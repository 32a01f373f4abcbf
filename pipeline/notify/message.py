"""What a command is told: a document on its standard input, and the same in its environment."""

import json
import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from msgspec import Struct

from pipeline.issue.folder.folder_names import ISSUES
from pipeline.notify.job_change import JobChange
from pipeline.notify.state import Event, Stand, ToldState
from pipeline.run.outcome import Outcome
from pipeline.visible import one_line, visible

#: Before the names in the environment; characters of the text, which has to fit into one variable of it.
_PREFIX, _LONGEST = "TIEDOWN_", 8_000
_CUT = "\n(the rest is in the job's log, or is printed by the run)"


class Message(Struct, frozen=True):
    """What is told of a job: ``said`` as a document, whose plain values the environment has too."""

    said: dict[str, Any]

    def document(self) -> bytes:
        """Return it as JSON, in UTF-8."""
        return (json.dumps(self.said, indent=2) + "\n").encode()

    def environment(self, around: Mapping[str, str]) -> dict[str, str]:
        """Return an environment with what is told in it: "" for what there is none of, lists with commas between."""
        told = {f"{_PREFIX}{name.upper()}": _word(value) for name, value in self.said.items() if name != "before"}
        return {**around, **told}


def message(
    change: JobChange,
    name: str | None,
    changed: Sequence[Event],
    before: ToldState | None,
    now: ToldState,
    folder: Path | None = None,
) -> Message:
    """Return what is told of a job.

    Args:
        change: the run.
        name: the job's, as its folder has it; None where that is not known.
        changed: what changed.
        before: the state that was last told.
        now: the one that is now.
        folder: that of the job's issues, None where there is none yet or it is not known.
    """
    result = change.result
    name = result.record["job"] if isinstance(result, Outcome) else name
    report = folder / ISSUES / f"{now.issue:03d}" / f"{name}-{now.issue:03d}.html" if folder and now.issue else None
    if report is not None and not report.is_file():  # of a job refused because its issue is gone or damaged
        report = None
    seen = visible(change.text)
    return Message(
        {
            "events": [str(one) for one in changed],
            "subject": one_line(_subject(name or str(change.job), changed, before, now)),
            "text": seen if len(seen) <= _LONGEST else seen[:_LONGEST].rpartition("\n")[0] + _CUT,
            "job": one_line(name) if name else None,
            "file": one_line(os.path.abspath(change.job)),
            "folder": one_line(str(folder)) if folder else None,
            "report": one_line(str(report)) if report else None,
            "exit_code": change.code,
            **now.plain(),
            "before": before.plain() if before is not None else None,
        }
    )


def _subject(name: str, changed: Sequence[Event], before: ToldState | None, now: ToldState) -> str:
    """Return a line for people, fit for the subject of a mail."""
    if now.stand != Stand.STANDS:
        stands = f"; issue {now.issue:03d} stands" if now.issue else ""
        if now.current and now.current != now.issue:
            stands = f"; current shows issue {now.current:03d}"
        return f"{name}: {'refused' if now.stand == Stand.REFUSED else 'the run failed'}{stands}"
    told = [f"issue {now.issue:03d}, verdict {str(now.verdict).upper()}"]
    if Event.VERDICT in changed and before is not None:
        told[0] += f" (was {str(before.verdict).upper()})"
    if now.pending:
        told.append("PENDING")
    if Event.RELEASED in changed:
        told.append(f"current shows issue {now.current:03d}")
    if Event.ASIDE in changed and before is not None:
        told.append(f"issue {before.issue:03d} was set aside")
    if Event.RECOVERED in changed:
        told.append("runs again")
    return f"{name}: {', '.join(told)}"


def _word(value: object) -> str:
    if isinstance(value, list):
        return ",".join(value)
    return "" if value is None else ("yes" if value else "no") if isinstance(value, bool) else str(value)
