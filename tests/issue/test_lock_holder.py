"""Who holds a job is noted beside the lock; on a network folder another machine's note counts for a while."""

import json
import os
import socket
import time
from pathlib import Path

import pytest

from pipeline.issue.folder import lock_holder, synced_write
from pipeline.issue.folder.ownership import Owner
from pipeline.issue.folder.publish import job_lock
from pipeline.problems import JobHeld


@pytest.fixture
def owner(tmp_path: Path) -> Owner:
    (tmp_path / "job.toml").write_text('[job]\nname = "j"\nfolder = "out"\n')
    return Owner("j", tmp_path / "job.toml")


def mounted(monkeypatch: pytest.MonkeyPatch, folder: Path, kind: str) -> None:
    """Let the system say that a folder is mounted from a file system of a kind."""
    mounts = folder / "mounts"
    mounts.write_text(f"/dev/a / ext4 rw 0 0\nserver:/jobs {folder} {kind} rw 0 0\nproc /proc proc rw 0 0\n")
    monkeypatch.setattr(lock_holder, "_MOUNTS", mounts)


def from_elsewhere(folder: Path, seconds_ago: float) -> None:
    path = folder / lock_holder.NAME
    path.write_text(json.dumps({"host": "office-2", "pid": 4711, "since": "2026-03-02T20:00:00Z"}))
    os.utime(path, (time.time() - seconds_ago,) * 2)


def test_a_second_run_is_told_who_holds_the_job(tmp_path: Path, owner: Owner) -> None:
    folder = tmp_path / "out"
    with job_lock(folder, owner):
        with pytest.raises(
            JobHeld, match=rf"by process {os.getpid()} on {socket.gethostname()}, since 2.*: wait until"
        ):
            job_lock(folder, owner).__enter__()
        assert (folder / lock_holder.NAME).exists()
    assert not (folder / lock_holder.NAME).exists()


@pytest.mark.parametrize(
    ("kind", "on_network"), [("nfs4", True), ("cifs", True), ("fuse.sshfs", True), ("ext4", False)]
)
def test_on_a_network_folder_another_machines_note_counts(
    tmp_path: Path, owner: Owner, kind: str, on_network: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The lock is had, which means nothing there; after an hour the run that left the note is taken for dead."""
    folder = tmp_path / "out"
    with job_lock(folder, owner):
        pass
    mounted(monkeypatch, tmp_path, kind)
    assert lock_holder.on_network(folder) == on_network
    from_elsewhere(folder, 60)
    if on_network:
        with pytest.raises(JobHeld, match=r"by process 4711 on office-2.*network folder.*delete \.held-by"):
            job_lock(folder, owner).__enter__()
        from_elsewhere(folder, lock_holder.LASTS + 60)
    with job_lock(folder, owner):
        pass
    assert {path.name for path in folder.iterdir()} == {".lock", ".tiedown.json"}


def test_where_locks_were_tried_between_machines_the_lock_alone_counts(
    tmp_path: Path, owner: Owner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A worker that died on another machine left its note: its job is run elsewhere at once; who lives is met."""
    folder = tmp_path / "out"
    with job_lock(folder, owner):
        pass
    mounted(monkeypatch, tmp_path, "nfs4")
    from_elsewhere(folder, 1)
    monkeypatch.setattr(lock_holder, "_reach", False)
    lock_holder.locks_reach()
    with job_lock(folder, owner):
        with pytest.raises(JobHeld):
            job_lock(folder, owner).__enter__()
        assert str(os.getpid()) in (folder / lock_holder.NAME).read_text()


def test_this_machines_own_note_and_one_that_cannot_be_read_count_for_nothing(
    tmp_path: Path, owner: Owner, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The lock says all that there is to be known here."""
    folder = tmp_path / "out"
    with job_lock(folder, owner):
        pass
    mounted(monkeypatch, tmp_path, "nfs")
    for note in (json.dumps({"host": socket.gethostname(), "pid": 1, "since": "x"}), "", "[", "7"):
        (folder / lock_holder.NAME).write_text(note)
        with job_lock(folder, owner):
            pass


def test_every_folder_that_is_made_is_certain_on_the_disk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its name stands in the folder above, which is what has to be synced (fsync(2), notes)."""
    synced: list[Path] = []
    monkeypatch.setattr(synced_write, "sync", synced.append)
    synced_write.make_folder(tmp_path / "a" / "b" / "c")
    assert set(synced) == {tmp_path, tmp_path / "a", tmp_path / "a" / "b"}
    synced_write.make_folder(tmp_path / "a")
    assert len(synced) == 3
