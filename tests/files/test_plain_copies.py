"""A copy has the content whatever the file system says to rights and times: shares of other systems refuse both."""

import errno
import os
from pathlib import Path

import pytest
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.files.plain_copies import copy_folder
from pipeline.verify import verify

PLAN = Plan(sessions=1, points=2, ties=1, checks=2, marks=4, noise=False, seed=3)


def refuse(*_: object, **__: object) -> None:
    raise PermissionError(errno.EPERM, "Operation not permitted")


def test_a_folder_is_copied_with_its_rights_where_they_can_be_set(tmp_path: Path) -> None:
    source, copy = tmp_path / "source", tmp_path / "copy"
    (source / "within").mkdir(parents=True)
    (source / "within" / "a").write_bytes(b"a")
    (source / "link").symlink_to(source / "within" / "a")
    (source / "within" / "a").chmod(0o640)
    copy_folder(source, copy)
    assert (copy / "within" / "a").read_bytes() == (copy / "link").read_bytes() == b"a"
    assert (copy / "within" / "a").stat().st_mode & 0o777 == 0o640 and not (copy / "link").is_symlink()


def test_a_job_is_issued_where_neither_links_nor_rights_are_to_be_had(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = simulate(PLAN).write(tmp_path)
    for name in ("symlink", "chmod", "utime", "chown"):
        monkeypatch.setattr(os, name, refuse)
    first = run_job(path)
    assert first.issued and first.exit_code == 0
    current = tmp_path / "out" / "current"
    assert current.is_dir() and not current.is_symlink()
    assert sorted(each.name for each in current.iterdir()) == [
        "issue.json", "simulated-001.gpkg", "simulated-001.html", "simulated.gpkg", "simulated.html"
    ]  # fmt: skip
    assert not run_job(path).issued and verify(tmp_path / "out").findings == ()
