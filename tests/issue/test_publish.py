"""An issue appears whole or not at all, and `current` shows the newest, whatever happens in between."""

import errno
import json
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from issue_folder import MADE_AT, issue, record, whole
from someone_else import as_someone_else, needs_superuser, reachable_folder

from pipeline.issue.folder import publish
from pipeline.issue.folder.issues_list import Entry, read_issues_list
from pipeline.issue.folder.publish import issues, job_lock, open_issue, recover
from pipeline.problems import JobError, JobHeld


def newest(folder: Path) -> tuple[int, Path] | None:
    """Return number and record's path of the newest issue, None where there is none."""
    return max(issues(folder), default=None)


def test_the_folder_is_the_contracts(tmp_path: Path) -> None:
    """issues/001, issues/002, a relative link to the newest, and the issues list outside."""
    folder = tmp_path / "out" / "solar-farm"
    assert issue(folder) == folder / "issues" / "001"
    assert issue(folder) == folder / "issues" / "002"
    assert os.readlink(folder / "current") == os.path.join("issues", "002")
    assert (folder / "register.csv").read_text() == (
        "issue,made_at,verdict,because\n"
        "001,2026-03-03T08:00:05Z,proven,because of 1\n"
        "002,2026-03-03T08:00:05Z,proven,because of 2\n"
    )
    assert newest(folder) == (2, folder / "issues" / "002" / "issue.json")
    assert whole(folder) == 2


def test_nothing_yet(tmp_path: Path) -> None:
    """No folder, an empty one: no newest issue, and looking makes nothing."""
    assert newest(tmp_path / "none") is None
    assert newest(tmp_path) is None
    assert not list(tmp_path.iterdir())


def test_the_number_follows_the_highest(tmp_path: Path) -> None:
    """Also past a gap, past 999, and past a folder without a record, which is no issue."""
    issue(tmp_path)
    (tmp_path / "issues" / "998").mkdir()
    (tmp_path / "issues" / "998" / "j-998.gpkg").write_text("points")
    (tmp_path / "issues" / "998" / "issue.json").write_text(record(998))
    (tmp_path / "issues" / "999").mkdir()
    (tmp_path / "issues" / "notes").mkdir()
    assert newest(tmp_path) == (998, tmp_path / "issues" / "998" / "issue.json")
    assert issue(tmp_path).name == "1000"
    assert [number for number, _ in issues(tmp_path)] == [1, 998, 1000]


def test_a_failure_while_staging_changes_nothing(tmp_path: Path) -> None:
    """Any exception: the staging folder goes, the previous issue stands, its number is given again."""
    issue(tmp_path)
    before = (tmp_path / "register.csv").read_bytes()
    with pytest.raises(ZeroDivisionError), job_lock(tmp_path), open_issue(tmp_path) as staged:
        (staged.path / "half").write_text("x")
        raise ZeroDivisionError
    assert (tmp_path / "register.csv").read_bytes() == before
    assert whole(tmp_path) == 1
    assert issue(tmp_path).name == "002"


def test_leaving_without_publishing_changes_nothing(tmp_path: Path) -> None:
    """Nothing has changed since the previous issue: the caller just leaves."""
    issue(tmp_path)
    with job_lock(tmp_path), open_issue(tmp_path):
        pass
    assert whole(tmp_path) == 1


def test_an_issue_without_a_record_is_refused(tmp_path: Path) -> None:
    """It would never be seen."""
    with pytest.raises(FileNotFoundError), job_lock(tmp_path), open_issue(tmp_path) as staged:
        staged.publish("proven", "", MADE_AT)
    assert newest(tmp_path) is None


def test_a_time_without_its_zone_is_refused(tmp_path: Path) -> None:
    """A list that people of two zones read."""
    with pytest.raises(ValueError, match="offset"):
        Entry(1, datetime(2026, 3, 3), "proven", "")


def test_the_staging_folder_is_on_the_same_file_system_and_shared_like_the_rest(tmp_path: Path) -> None:
    """A rename is one step only there; and colleagues must be able to read the issue."""
    with job_lock(tmp_path), open_issue(tmp_path) as staged:
        assert staged.path.parent == tmp_path
        (tmp_path / "beside").mkdir()
        assert staged.path.stat().st_mode == (tmp_path / "beside").stat().st_mode


@pytest.mark.parametrize("step", ["rename", "replace", "symlink", "fsync"])
@pytest.mark.parametrize("nth", [1, 2, 3])
def test_a_full_disk_at_any_step_leaves_what_was(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str, nth: int
) -> None:
    """The nth call of a step fails: the previous issue or the new one is whole; the next run puts the rest right."""
    issue(tmp_path)
    real, calls = getattr(os, step), []

    def failing(*args: Any, **keywords: Any) -> Any:
        calls.append(args)
        if len(calls) == nth:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return real(*args, **keywords)

    with monkeypatch.context() as patch:
        patch.setattr(os, step, failing)
        try:
            issue(tmp_path)
        except OSError as error:
            assert error.errno == errno.ENOSPC
    shown = json.loads((tmp_path / "current" / "issue.json").read_text())["issue"]
    assert shown in {number for number, _ in issues(tmp_path)}
    with job_lock(tmp_path):
        recover(tmp_path)
    assert whole(tmp_path) in (1, 2)
    issue(tmp_path)
    whole(tmp_path)


def test_a_line_missing_in_the_issues_list_is_put_back(tmp_path: Path) -> None:
    """From the record, made when the record was written; lines and notes that stand there are left as they are."""
    for _ in range(3):
        issue(tmp_path)
    path = tmp_path / "register.csv"
    lines = path.read_text().splitlines()
    note = '2,"03/03/2026 21:00",proven,"edited, by hand",note'
    path.write_text("\r\n".join([lines[0], lines[1], note]), encoding="utf-8-sig", newline="")
    os.utime(tmp_path / "issues" / "003" / "issue.json", (1_772_500_000, 1_772_500_000))
    with job_lock(tmp_path):
        recover(tmp_path)
    assert path.read_text().splitlines() == [
        lines[0],
        lines[1],
        note,
        "003,2026-03-03T01:06:40Z,proven,CM2 revised; two files more",
    ]


def test_an_issues_list_lost_is_written_anew(tmp_path: Path) -> None:
    """One line per issue."""
    for _ in range(2):
        issue(tmp_path)
    (tmp_path / "register.csv").unlink()
    with job_lock(tmp_path):
        recover(tmp_path)
    assert [entry.issue for entry in read_issues_list(tmp_path)] == [1, 2]


@pytest.mark.parametrize("damage", ["older", "dangling", "missing", "copy"])
def test_current_is_put_right(tmp_path: Path, damage: str) -> None:
    """It showed the previous issue, or nothing, or is a copy of an older one."""
    for _ in range(2):
        issue(tmp_path)
    current = tmp_path / "current"
    current.unlink()
    if damage == "older":
        current.symlink_to(Path("issues/001"))
    elif damage == "dangling":
        current.symlink_to(Path("issues/007"))
    elif damage == "copy":
        shutil.copytree(tmp_path / "issues" / "001", current)
    with job_lock(tmp_path):
        recover(tmp_path)
    assert whole(tmp_path) == 2


@pytest.fixture
def no_links(monkeypatch: pytest.MonkeyPatch) -> None:
    """A file system, or a user on Windows, without symbolic links."""

    def refuse(*_: Any, **__: Any) -> None:
        raise OSError(errno.EPERM, os.strerror(errno.EPERM))

    monkeypatch.setattr(os, "symlink", refuse)


def test_current_is_a_copy_where_links_are_not_to_be_had(tmp_path: Path, no_links: None) -> None:
    """With the same content, replaced by the next; a run that finds it right leaves it."""
    for number in (1, 2):
        issue(tmp_path)
        assert not (tmp_path / "current").is_symlink()
        assert whole(tmp_path) == number
    before = (tmp_path / "current").stat().st_ino
    with job_lock(tmp_path):
        recover(tmp_path)
    assert (tmp_path / "current").stat().st_ino == before


def test_links_come_and_go(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A copy takes a link's place and a link a copy's."""
    issue(tmp_path)
    with monkeypatch.context() as patch:
        patch.setattr(os, "symlink", lambda *_, **__: (_ for _ in ()).throw(OSError(errno.ENOSYS, "no links")))
        issue(tmp_path)
    assert not (tmp_path / "current").is_symlink()
    issue(tmp_path)
    assert (tmp_path / "current").is_symlink()
    assert whole(tmp_path) == 3


def test_a_copy_held_open_leaves_what_was(tmp_path: Path, no_links: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """On Windows a folder with a file open in it cannot be renamed: no new issue, `current` as before."""
    issue(tmp_path)
    real = os.rename

    def held(source: Any, target: Any) -> None:
        if Path(source).name == "current":
            raise PermissionError(errno.EACCES, "held open")
        real(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(os, "rename", held)
        with pytest.raises(PermissionError):
            issue(tmp_path)
    assert whole(tmp_path) == 1
    issue(tmp_path)
    assert whole(tmp_path) == 2


def test_a_copy_moved_aside_is_put_back(tmp_path: Path, no_links: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """The new issue could not appear after `current` had made room: it shows the previous issue, without a repair."""
    issue(tmp_path)
    real = os.rename

    def full(source: Any, target: Any) -> None:
        if Path(target).parent.name == "issues":
            raise OSError(errno.ENOSPC, "full")
        real(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(os, "rename", full)
        with pytest.raises(OSError, match="full"):
            issue(tmp_path)
    assert whole(tmp_path) == 1


HOLD = """
import sys
sys.path.insert(0, {path!r})
from pathlib import Path
from pipeline.issue.folder.publish import job_lock
with job_lock(Path(sys.argv[1])):
    print("held", flush=True)
    sys.stdin.read()
"""
ROOT = str(Path(__file__).parents[2])


@contextmanager
def other_run(folder: Path) -> Iterator[subprocess.Popen[str]]:
    """Another process that holds the job until its input ends."""
    command = [sys.executable, "-c", HOLD.format(path=ROOT), str(folder)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "held\n"
        yield process
        process.kill()


def test_a_second_run_is_refused_at_once(tmp_path: Path) -> None:
    """In another process and in this one; another job's folder is free."""
    with other_run(tmp_path), pytest.raises(JobHeld, match="already being run"), job_lock(tmp_path):
        pass
    with job_lock(tmp_path), pytest.raises(JobHeld), job_lock(tmp_path):
        pass
    with job_lock(tmp_path), job_lock(tmp_path / "other"):
        pass


def test_the_lock_is_free_after_a_kill(tmp_path: Path) -> None:
    """Without cleaning up by hand."""
    with other_run(tmp_path) as process:
        process.kill()
        process.wait()
        with job_lock(tmp_path):
            pass


RACE = """
import sys
sys.path.insert(0, {path!r})
from pathlib import Path
from pipeline.issue.folder.publish import job_lock
from pipeline.problems import JobHeld
sys.stdin.readline()
try:
    with job_lock(Path(sys.argv[1])):
        print("held", flush=True)
        sys.stdin.readline()
except JobHeld:
    print("refused", flush=True)
"""


def test_of_racing_runs_one_wins(tmp_path: Path) -> None:
    """Four processes started on one word."""
    command = [sys.executable, "-c", RACE.format(path=ROOT), str(tmp_path)]
    pipes = dict(stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
    racers = [subprocess.Popen(command, **pipes) for _ in range(4)]  # type: ignore[call-overload]
    for racer in racers:
        racer.stdin.write("go\n")
        racer.stdin.flush()
    said = sorted(racer.stdout.readline().strip() for racer in racers)
    for racer in racers:
        racer.communicate("end\n")
    assert said == ["held", "refused", "refused", "refused"]


def test_a_folder_that_cannot_be_written_is_the_users_problem() -> None:
    """Named, with what to do; the previous issue is left and can be read."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name, "job")
        Path(name).chmod(0o755)
        issue(folder)
        before = sorted(str(path) for path in folder.rglob("*"))
        (folder / ".lock").chmod(0o444)
        folder.chmod(0o555)
        with as_someone_else():
            for place in (folder, folder / "deeper"):
                with pytest.raises(JobError) as caught, job_lock(place):
                    pass
                assert caught.value.problems[0].file == str(place)
            assert newest(folder) is not None
        folder.chmod(0o755)
        assert sorted(str(path) for path in folder.rglob("*")) == before


@needs_superuser
def test_a_lock_that_cannot_be_opened_is_named() -> None:
    """All else may be written there; once it is deleted the run goes on."""
    with reachable_folder() as folder:
        issue(folder)
        folder.chmod(0o777)
        (folder / ".lock").chmod(0o644)
        with as_someone_else():
            with pytest.raises(JobError) as caught, job_lock(folder):
                pass
            (problem,) = caught.value.problems
            assert problem.file == str(folder / ".lock") and "delete it" in problem.fix
            (folder / ".lock").unlink()
            with job_lock(folder):
                pass


def test_a_file_in_the_folders_place_is_the_users_problem(tmp_path: Path) -> None:
    """[job] folder names a file."""
    (tmp_path / "job").write_text("x")
    with pytest.raises(JobError), job_lock(tmp_path / "job"):
        pass


def test_the_room_starts_without_heavy_libraries() -> None:
    """`history` reads issues: numpy, pyarrow and GDAL are not loaded for that."""
    script = (
        f"import sys; sys.path.insert(0, {ROOT!r}); import pipeline.issue.folder.publish;"
        "print({'numpy', 'pyarrow', 'pyogrio', 'fiona', 'pandas'} & set(sys.modules))"
    )
    out = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True).stdout
    assert out == "set()\n"
    assert publish.ISSUES == "issues"
