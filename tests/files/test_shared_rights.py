"""Rights of what runs write: as the umask has them, and in a folder that a group shares as that group needs them."""

import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest
from issue_folder import issue
from someone_else import as_someone_else, needs_superuser, reachable_folder

from pipeline.files.atomic_write import atomic_write
from pipeline.problems import JobError
from pipeline.verify import verify

pytestmark = pytest.mark.skipif(os.name == "nt", reason="no umask, no groups")


def mode(path: Path) -> int:
    """The rights of a path, without those that a folder hands on."""
    return stat.S_IMODE(path.stat().st_mode) & 0o777


def modes(folder: Path) -> dict[str, set[int]]:
    """The rights of all folders and of all files below a folder, links left out."""
    found: dict[str, set[int]] = {"folders": set(), "files": set()}
    for path in folder.rglob("*"):
        if not path.is_symlink():
            found["folders" if path.is_dir() else "files"].add(mode(path))
    return found


@pytest.fixture
def closed() -> Iterator[None]:
    """A system's timer that lets nobody else read what it writes."""
    before = os.umask(0o077)
    yield
    os.umask(before)


@pytest.mark.parametrize(
    ("of_folder", "folders", "files"), [(0o2775, 0o770, 0o660), (0o2770, 0o770, 0o660), (0o2755, 0o750, 0o640)]
)
def test_in_a_folder_that_a_group_shares_its_members_can_go_on(
    tmp_path: Path, closed: None, of_folder: int, folders: int, files: int
) -> None:
    """Whatever the umask, the group may do with an issue what it may do with the folder, and nobody else gets more."""
    tmp_path.chmod(of_folder)
    issue(tmp_path / "out")
    issue(tmp_path / "out")
    assert modes(tmp_path) == {"folders": {folders}, "files": {files}}


@pytest.mark.parametrize("of_folder", [0o755, 0o775, 0o777])
def test_elsewhere_the_umask_alone_counts(tmp_path: Path, closed: None, of_folder: int) -> None:
    tmp_path.chmod(of_folder)
    issue(tmp_path / "out")
    assert modes(tmp_path) == {"folders": {0o700}, "files": {0o600}}


@pytest.mark.parametrize(
    ("of_folder", "before", "after"),
    [
        (0o755, 0o644, 0o644),
        (0o775, 0o664, 0o664),
        (0o700, 0o644, 0o600),  # no wider than the folder
        (0o755, 0o600, 0o600),
        (0o2775, 0o600, 0o660),  # one that an earlier run closed is opened again to the group
        (0o2750, 0o666, 0o640),
    ],
)
def test_what_is_replaced_keeps_its_rights_within_those_of_the_folder(
    tmp_path: Path, closed: None, of_folder: int, before: int, after: int
) -> None:
    path = tmp_path / "register.csv"
    path.write_text("before")
    path.chmod(before)
    tmp_path.chmod(of_folder)
    with atomic_write(path, tmp_path / "fresh") as fresh:
        fresh.write_text("after")
    assert path.read_text() == "after" and mode(path) == after


def test_a_new_file_of_no_job_is_as_the_umask_has_it(tmp_path: Path) -> None:
    """Such as a job file that `tiedown new` writes: who may change it decides whose commands are called."""
    tmp_path.chmod(0o2775)
    path = tmp_path / "job.toml"
    with atomic_write(path, tmp_path / "fresh") as fresh:
        fresh.write_text("[job]")
        assert (before := mode(fresh)) & stat.S_IWGRP == 0
    assert mode(path) == before


@needs_superuser
def test_the_group_of_what_is_replaced_is_kept_or_its_rights_are_not_given_to_another(tmp_path: Path) -> None:
    with reachable_folder() as folder:
        folder.chmod(0o777)
        for number, group in enumerate((12_001, 0)):
            path = folder / f"list-{number}"
            path.write_text("before")
            os.chown(path, 0, group)
            path.chmod(0o664)
        with atomic_write(folder / "list-0", folder / "fresh") as fresh:
            fresh.write_text("after")
        assert (folder / "list-0").stat().st_gid == 12_001 and mode(folder / "list-0") == 0o664
        os.chown(folder / "list-0", 0, 12_001)
        before = os.getgroups()
        os.setgroups([])
        os.setegid(12_002)
        try:
            with as_someone_else(0o077), atomic_write(folder / "list-0", folder / "fresh") as fresh:
                fresh.write_text("after")
        finally:
            os.setegid(0)
            os.setgroups(before)
        assert (folder / "list-0").stat().st_gid == 12_002 and mode(folder / "list-0") == 0o600


@needs_superuser
def test_an_issues_list_that_cannot_be_read_is_not_called_one_without_lines() -> None:
    with reachable_folder() as folder:
        issue(folder)
        (folder / "register.csv").chmod(0o600)
        with as_someone_else():
            found = verify(folder)
        assert ["cannot be read" in one.what for one in found.findings if one.file == "register.csv"] == [True]
        (folder / "issues").chmod(0o700)
        with as_someone_else(), pytest.raises(JobError, match="Permission denied"):
            verify(folder)
