"""`tiedown release`: let `current` show an issue, and keep why."""

import sys
from pathlib import Path

from pipeline.cli.faults import report
from pipeline.release import Released, release
from pipeline.visible import one_line


def release_issue(job: Path, issue: int, because: str) -> int:
    """Release an issue, say what `current` shows now, and return the exit code: 0, or what a refusal comes to."""
    try:
        done = release(job, issue, because)
    except Exception as error:
        return report(str(job), error)
    print("\n".join(_lines(done)))
    sys.stdout.flush()
    return 0


def _lines(done: Released) -> list[str]:
    if done.was_current:
        return [f"issue {done.issue:03d} is current already; nothing was changed"]
    before = f"it showed issue {done.before:03d} before" if done.before is not None else "there was none before"
    told = [f"issue {done.issue:03d} is released: current shows it now, {before}"]
    told.append(f"  because {one_line(done.because)}")
    if done.issue < done.newest:
        told.append(f"  issue {done.newest:03d} is newer; current follows the next issue that may be released")
    return told
