"""Issues that many tests begin with: of the same files one is made in a process, and copied for the others."""

import hashlib
import shutil
import tempfile
from copy import deepcopy
from pathlib import Path

from pipeline import Outcome, run_job
from pipeline.replace import replace

_KEPT = tempfile.TemporaryDirectory(prefix="first-issues-", ignore_cleanup_errors=True)
_CAME_TO: dict[str, Outcome] = {}
_WOULD_COME_TO: dict[str, Outcome] = {}


def first_issue(job: Path) -> Path:
    """Give a job file, all of whose files lie in its folder, its first issue in ``out``; return the issue's folder."""
    assert not (job.parent / "out").exists(), "it has an issue already"
    assert run_once(job).issued
    return job.parent / "out" / "issues" / "001"


def run_once(job: Path) -> Outcome:
    """Run a job, all of whose files lie in its folder, or lay into its ``out`` what a run of the same files made.

    Issues before it are among those files. What a run makes of the same files are the same bytes (`test_outputs` and
    `test_formats` prove it), links and times of files among them. It is for what a test begins with, before it
    patches anything: the run that it is about is a run.
    """
    out, files = job.parent / "out", _sum_of(job)
    kept = Path(_KEPT.name, files)
    if files not in _CAME_TO:
        made = run_job(job)
        shutil.copytree(out, kept, symlinks=True)
        _CAME_TO[files] = replace(made, folder=_elsewhere(made.folder, out, kept), record=deepcopy(made.record))
        return made
    shutil.rmtree(out, ignore_errors=True)
    shutil.copytree(kept, out, symlinks=True)
    came_to = _CAME_TO[files]
    return replace(came_to, folder=_elsewhere(came_to.folder, kept, out), record=deepcopy(came_to.record))


def dry_once(job: Path) -> Outcome:
    """Do all of a run but write, of a job all of whose files lie in its folder; of the same files one does it."""
    files = _sum_of(job)
    if files not in _WOULD_COME_TO:
        _WOULD_COME_TO[files] = run_job(job, dry_run=True)
    came_to = _WOULD_COME_TO[files]
    return replace(came_to, record=deepcopy(came_to.record))


def _elsewhere(folder: Path | None, here: Path, there: Path) -> Path | None:
    return None if folder is None else there / folder.relative_to(here)


def _sum_of(job: Path) -> str:
    found = hashlib.sha256(job.name.encode())
    for path in sorted(job.parent.rglob("*")):
        name = path.relative_to(job.parent)
        if path.is_symlink():
            found.update(f"{name}\n{path.readlink()}\n".encode())
        elif path.is_file():
            found.update(f"{name}\n{path.stat().st_size}\n".encode())
            found.update(path.read_bytes())
    return found.hexdigest()
