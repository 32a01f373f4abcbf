"""tiedown: raw GNSS rover exports in, proven coordinates on the job's grid and height datum out."""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pipeline.check import check_job as check_job
    from pipeline.opened import Issue as Issue
    from pipeline.opened import open_issue as open_issue
    from pipeline.problems import JobError as JobError
    from pipeline.problems import JobHeld as JobHeld
    from pipeline.run.outcome import Outcome as Outcome
    from pipeline.run.run_job import run_job as run_job

_HOMES = {
    "Outcome": "pipeline.run.outcome",
    "run_job": "pipeline.run.run_job",
    "check_job": "pipeline.check",
    "Issue": "pipeline.opened",
    "open_issue": "pipeline.opened",
    "JobError": "pipeline.problems",
    "JobHeld": "pipeline.problems",
}

__all__ = list(_HOMES)


def __getattr__(name: str) -> Any:
    """Load a public name when it is first asked for, so that the command line can show its help without numpy."""
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    return getattr(import_module(_HOMES[name]), name)
