"""A disk that says once, and not again, that it lost what was written."""

import errno
import os
from pathlib import Path

import pytest
from command import SMALL
from simulate import simulate

from pipeline import run_job
from pipeline.problems import JobError


def test_a_package_that_the_disk_lost_is_no_issue(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Linux tells a failed write to the first fsync after it alone (fsync(2), "Linux notes")."""
    path = simulate(SMALL).write(tmp_path)
    real, told = os.fsync, []

    def lost(handle: int) -> None:
        packages = tmp_path.rglob("*.gpkg")
        if not told and any(os.path.samestat(os.fstat(handle), package.stat()) for package in packages):
            told.append(handle)
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        real(handle)

    monkeypatch.setattr(os, "fsync", lost)
    with pytest.raises(JobError, match="the issue cannot be written"):
        run_job(path)
    assert told and not list((tmp_path / "out" / "issues").iterdir())
    assert run_job(path).issued
