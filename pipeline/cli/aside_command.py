"""`tiedown aside`: a damaged issue out of the way of the next run, and kept."""

import sys
from pathlib import Path

from pipeline.aside import set_aside
from pipeline.cli.faults import report
from pipeline.visible import one_line


def set_issue_aside(job: Path, issue: int) -> int:
    """Set an issue aside, say where it is kept, and return the exit code: 0, or 2 where that is refused."""
    try:
        done = set_aside(job, issue)
    except Exception as error:
        return report(str(job), error)
    where = f"kept in {one_line(str(done.kept))}" if done.kept is not None else "no files of it are left"
    print(f"issue {done.issue:03d} is set aside, {where}")
    print(f"  because {one_line(done.why)}")
    stands = f"issue {done.stands:03d} stands now" if done.stands is not None else "no issue stands now"
    print(f"  {stands}; the number will not be reused, and the next run issues what has changed since")
    sys.stdout.flush()
    return 0
