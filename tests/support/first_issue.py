"""First issues that many tests begin with: of the same files one is made in a process, and copied for the others."""

import hashlib
import shutil
import tempfile
from pathlib import Path

from pipeline import run_job

_KEPT = tempfile.TemporaryDirectory(prefix="first-issues-", ignore_cleanup_errors=True)


def first_issue(job: Path) -> Path:
    """Give a job file, all of whose files lie in its folder, its first issue in ``out``; return the issue's folder.

    What a run makes of the same files are the same bytes (`test_outputs` and `test_formats` prove it), links and times
    of files among them.
    """
    out, kept = job.parent / "out", Path(_KEPT.name, _sum_of(job.parent))
    assert not out.exists(), "it has an issue already"
    if kept.is_dir():
        shutil.copytree(kept, out, symlinks=True)
    else:
        assert run_job(job).issued
        shutil.copytree(out, kept, symlinks=True)
    return out / "issues" / "001"


def _sum_of(folder: Path) -> str:
    found = hashlib.sha256()
    for path in sorted(path for path in folder.rglob("*") if path.is_file()):
        found.update(f"{path.relative_to(folder)}\n{path.stat().st_size}\n".encode())
        found.update(path.read_bytes())
    return found.hexdigest()
