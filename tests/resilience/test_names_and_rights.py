"""Names, places and rights as an office's disks have them: whatever is met ends in an issue or in words, never a fault.

What a person may not do is tried as somebody who has none of root's rights (Linux). What larger sweeps gave stands in
`README.md` beside this.
"""

import errno
import json
import os
import resource
import shutil
import sqlite3
import sys
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import pytest
from every import every
from kill_runs import as_anybody, may_not_write
from simulate import Plan, simulate
from typer.testing import CliRunner
from warm import COMMAND, Warm

from pipeline import run_job
from pipeline.aside import set_aside
from pipeline.check import check_job
from pipeline.cli.main import app
from pipeline.history import history
from pipeline.issue.geopackage.write_errors import refusal
from pipeline.problems import JobError
from pipeline.trace.walk import trace
from pipeline.verify import verify

_PLAN = Plan(sessions=1, points=4, noise=False)

#: Every command as a function of the job file.
COMMANDS: dict[str, Callable[[Path], object]] = {
    "run": run_job,
    "dry run": lambda job: run_job(job, dry_run=True),
    "check": check_job,
    "trace": lambda job: trace(job, "S01-00001"),
    "history": history,
    "aside": lambda job: set_aside(job, 1),
    "verify": lambda job: verify(job.parent / "out"),
}


@pytest.fixture(scope="module")
def issued(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with an issue."""
    job = simulate(_PLAN).write(tmp_path_factory.mktemp("issued"))
    run_job(job)
    return job


@pytest.fixture
def job(issued: Path, tmp_path: Path) -> Iterator[Path]:
    """A copy of it, whose rights are given back at the end."""
    folder = tmp_path / "job"
    shutil.copytree(issued.parent, folder, symlinks=True)
    yield folder / issued.name
    for place, *_ in os.walk(folder):
        os.chmod(place, 0o700)


def revise(job: Path) -> None:
    """Move a mark of the register by a millimetre, so that the next run has something to issue."""
    path = job.parent / "register.csv"
    head, first, *others = path.read_text(encoding="utf-8").splitlines()
    cells = first.split(",")
    cells[3] = f"{float(cells[3]) + 0.001:.5f}"
    path.write_text("\n".join([head, ",".join(cells), *others]) + "\n", encoding="utf-8")


def problem(command: Callable[[Path], object], job: Path) -> str:
    """Return how a command that is refused says so; it has to be refused."""
    with pytest.raises(JobError) as refused:
        command(job)
    assert all(one.file and one.what for one in every(refused.value.problems))
    return str(refused.value)


def elsewhere(near: Path) -> Path:
    """Return a new folder on another file system than a path's."""
    other = Path("/dev/shm")
    if not other.is_dir() or other.stat().st_dev == near.stat().st_dev:
        pytest.skip("there is no second file system")
    place = other / f"{near.name}-{os.getpid()}"
    place.mkdir()
    return place


@pytest.mark.parametrize(
    "name", [os.fsdecode(b"caf\xe9"), "a\nb\t\"'%20#?[c", "--json", "trailing ", "e\u0301\U0001f600"]
)
@pytest.mark.skipif(sys.platform != "linux", reason="names may be any bytes")
def test_names_of_the_job_file_and_its_folder(issued: Path, tmp_path: Path, name: str) -> None:
    folder = tmp_path / name
    try:
        shutil.copytree(issued.parent, folder, symlinks=True)
    except OSError:
        pytest.skip("the file system has no such names")
    (folder / "job.toml").rename(folder / name)
    if not name.isprintable() and "\n" not in name:  # a byte that is no text
        for each, command in COMMANDS.items():
            if each != "verify":
                assert "not UTF-8 text" in problem(command, folder / name)
        return
    assert not run_job(folder / name).issued
    assert history(folder / name) and verify(folder / "out").intact


@pytest.mark.parametrize("of", ["name", "path"])
def test_a_folder_whose_name_or_path_is_too_long(job: Path, of: str) -> None:
    folder = "o" * 300 if of == "name" else "/".join(["o" * 200] * 30)
    job.write_text(job.read_text(encoding="utf-8").replace('folder = "out"', f'folder = "{folder}"'), encoding="utf-8")
    assert "too long" in problem(run_job, job)
    assert "too long" in problem(lambda _: verify(job.parent / folder), job)


def test_a_path_that_only_the_files_of_an_issue_make_too_long(issued: Path, tmp_path: Path) -> None:
    """The longest path of a system counts its end, so that 4,050 of 4,095 bytes leave room for a job file alone.

    What is read here has no longer one than it may; what is written would: the run says so before it makes anything.
    """
    folder, longest = tmp_path, os.pathconf(tmp_path, "PC_PATH_MAX")
    if not 0 < longest <= 8192:
        pytest.skip("paths have no such end")
    while (left := longest - 46 - len(os.fsencode(folder))) > 1:
        folder /= "d" * (left - 1 if left <= 201 else min(200, left - 3))
        folder.mkdir()
    for name in ("job.toml", "register.csv", "rover001.csv"):
        shutil.copy(issued.parent / name, folder)
    assert "too long" in problem(run_job, folder / "job.toml")
    assert not (folder / "out").exists()


@pytest.mark.parametrize("name", ["register.csv", "rover001.csv", "out/issues", "out/.lock"])
def test_links_that_lead_to_themselves(job: Path, name: str) -> None:
    path = job.parent / name
    shutil.rmtree(path) if path.is_dir() else path.unlink()
    path.symlink_to(path.name)
    problem(run_job, job)


@pytest.mark.parametrize("command", sorted(COMMANDS.keys() - {"verify", "aside"}))
def test_issues_on_another_file_system(job: Path, command: str) -> None:
    other, issues = elsewhere(job), job.parent / "out" / "issues"
    try:
        shutil.move(issues, other)
        issues.symlink_to(other / "issues")
        revise(job)
        assert "is on a different file system" in problem(COMMANDS[command], job)
        assert [path.name for path in (other / "issues").iterdir()] == ["001"]
        assert verify(job.parent / "out").intact
    finally:
        shutil.rmtree(other)


def test_the_whole_folder_on_another_file_system(job: Path) -> None:
    other, folder = elsewhere(job), job.parent / "out"
    try:
        shutil.move(folder, other)
        folder.symlink_to(other / "out")
        revise(job)
        assert run_job(job).record["issue"] == 2
        assert verify(folder).intact
    finally:
        shutil.rmtree(other)


def test_a_working_folder_that_is_gone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    gone = tmp_path / "gone"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    for command in ("run", "dry run", "check", "trace", "history", "aside", "verify"):
        assert "working folder" in problem(COMMANDS[command], Path("job.toml"))


def test_whatever_counts_from_a_working_folder_that_is_gone(
    job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    gone, there = tmp_path / "gone", tmp_path / "there"
    gone.mkdir()
    there.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    commands = [
        ("new", "."),
        ("new", str(there), "--to", "job.toml"),
        ("office", ".", "--to", str(there / "page.html")),
        ("office", str(job), "--to", "page.html"),
        ("marks", str(job), "--to", "marks.csv"),
        ("run", "a.toml", "b.toml"),
        ("run", "--timeout", "60", "a.toml"),
    ]
    for words in every(commands):
        ran = CliRunner().invoke(app, words)
        assert ran.exit_code == 2, (words, ran.output)
        assert "the working folder" in ran.output and "change to a folder that exists" in ran.output
        assert "Traceback" not in ran.output
    ran = CliRunner().invoke(app, ("run", "a.toml", str(job), str(there / "none.toml")))
    assert ran.exit_code == 2 and "unchanged" in ran.output  # those that count from nowhere stop no other
    assert not list(there.iterdir())


#: What may be closed, with its rights, and the commands that need none of it.
CLOSED = [
    ("out", 0o444, ()),
    ("out/issues", 0o444, ()),
    ("out/issues", 0, ()),
    ("out/issues/001", 0, ("verify",)),
    ("out/issues/001", 0o311, ("run", "dry run", "check", "trace", "history", "verify")),
    ("out/issues/001/issue.json", 0, ("verify",)),
    ("out/set-aside", 0, ()),
    ("out/.tiedown.json", 0, ("check", "verify")),
    ("out/.lock", 0, ("dry run", "check", "trace", "history", "verify")),
    ("out/register.csv", 0, ("verify",)),
    ("register.csv", 0, ("history", "aside", "verify")),
    ("rover001.csv", 0, ("history", "aside", "verify")),
    ("job.toml", 0, ("verify",)),
    (".", 0o311, ("history", "aside", "verify")),
]

#: Tries every command on every case, in one process; prints how each ended.
TRIED = """
import json, os, sys
from functools import partial
from pathlib import Path
sys.path.append({place!r})
from test_names_and_rights import CLOSED, COMMANDS
from pipeline.problems import JobError
job, told = Path(sys.argv[1]), []
for name, rights, unharmed in CLOSED:
    path = job.parent / name
    before = path.stat().st_mode
    os.chmod(path, rights)
    for command in COMMANDS.keys() - set(unharmed):
        try:
            COMMANDS[command](job)
            how = "done"
        except JobError as error:
            how = str(error)
        except Exception as error:
            how = f"fault: {{error!r}}"
        told.append((name, rights, command, how))
    os.chmod(path, before)
print(json.dumps(told))
"""


@pytest.fixture
def rights(job: Path) -> Path:
    """The job, where rights are heeded."""
    folder = job.parent / "closed"
    folder.mkdir(0o555)
    heeded = os.name != "nt" and may_not_write(folder)
    folder.chmod(0o700)
    folder.rmdir()
    if not heeded:
        pytest.skip("rights are not heeded here")
    return job


def as_somebody(*words: str | Path, code: str = COMMAND) -> tuple[int, str, str]:
    """Run the command, or other code, as somebody without root's rights; return exit code and what it said."""
    done = Warm(*words, code=code, before=as_anybody).end()
    return done.returncode, done.stdout.decode(), done.stderr.decode()


def test_whatever_may_not_be_read_or_written_is_told(rights: Path) -> None:
    (rights.parent / "out" / "set-aside").mkdir()
    code, said, wrong = as_somebody(rights, code=TRIED.format(place=str(Path(__file__).parent)))
    assert code == 0, wrong
    told = json.loads(said)
    assert len(told) > len(CLOSED)
    for name, mode, command, how in told:
        if (command, "is what was issued" in how) != ("aside", True):
            assert "Permission denied" in how and not how.startswith("fault"), (name, mode, command, how)
        if name == "out/register.csv" and "Permission denied" in how:  # it is whole: nobody is to move it away
            assert "check the permissions of it" in how and "writes a new one" not in how, (command, how)
    assert verify(rights.parent / "out").issues == (1,)


def test_what_may_not_be_read_of_removed_files_is_told_as_that(rights: Path) -> None:
    """Files that `issue.keep` removed do not pass for lost because the note of it is closed."""
    revise(rights)
    with rights.open("a", encoding="utf-8") as file:
        file.write("\n[issue]\nkeep = 1\n")
    assert run_job(rights).record["issue"] == 2
    note = rights.parent / "out" / "issues" / "001" / "removed.json"
    note.chmod(0)
    page = rights.with_name("page.html")
    for words in (
        ("history", rights),
        ("verify", rights.parent / "out"),
        ("aside", rights, "1"),
        ("office", rights, "--to", page),
    ):
        code, said, wrong = as_somebody(*words)
        told = page.read_text(encoding="utf-8") if words[0] == "office" else said + wrong
        assert code in (2, 3) and "Permission denied" in told and "Traceback" not in wrong, (words, said, wrong)
        assert "is damaged" not in told and "is missing" not in told and "is gone" not in told, (words, told)
        assert words[0] == "office" or "removed.json" in told, (words, told)
    assert as_somebody("run", rights)[0] == 0, "the newest issue has all of its files"
    note.chmod(0o644)
    assert as_somebody("history", rights)[0] == 0


def test_a_job_file_that_may_not_be_read_costs_no_other(rights: Path) -> None:
    closed = rights.with_name("closed.toml")
    shutil.copy(rights, closed)
    closed.chmod(0)
    code, said, wrong = as_somebody("run", closed, rights)
    assert code == 2
    assert "closed.toml: 1 problem, nothing written" in wrong and "Permission denied" in wrong
    assert "issue 001 stands" in said or "nothing changed" in said, said


def test_a_folder_that_a_pattern_may_not_look_into_is_told(rights: Path) -> None:
    """Else the exports in it would be left out, and nobody would know."""
    folder = rights.parent / "second day"
    folder.mkdir()
    shutil.copy(rights.parent / "rover001.csv", folder / "rover002.csv")
    text = rights.read_text(encoding="utf-8").replace('"rover*.csv"', '"**/rover*.csv"')
    rights.write_text(text, encoding="utf-8")
    folder.chmod(0)
    code, _, wrong = as_somebody("check", rights)
    assert code == 2 and 'the folder second day cannot be searched for "**/rover*.csv"' in wrong, wrong


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no device that is always full")
@pytest.mark.parametrize("said", ["database disk image is malformed", "bad application_id", "disk I/O error"])
def test_whatever_a_library_takes_a_file_for_that_was_cut_short_the_disk_is_full(said: str) -> None:
    told = refusal(Path("/dev/full"), "points", sqlite3.DatabaseError(said))
    assert (str(told), told.errno if isinstance(told, OSError) else None) == ("full: the disk is full", errno.ENOSPC)


@pytest.mark.parametrize(
    ("words", "written"),
    [
        (("office", "job.toml", "--to", "page.html"), ("page.html",)),
        (("marks", "job.toml", "--to", "marks.csv"), ("marks.csv", "marks.html")),
        (("new", ".", "--to", "new.toml"), ("new.toml",)),
    ],
)
def test_what_is_written_elsewhere_on_a_full_disk(words: tuple[str, ...], written: tuple[str], job: Path) -> None:
    """As where no file may grow: all of it is there or nothing, and what there was is as it was."""
    before = sorted(path.name for path in job.parent.iterdir())
    limit = partial(resource.setrlimit, resource.RLIMIT_FSIZE, (700, 700))
    ended = Warm(*words, before=limit, folder=job.parent).end()
    assert ended.returncode == 2 and b"no file may grow so large" in ended.stderr, ended.stderr.decode()
    assert sorted(path.name for path in job.parent.iterdir()) == before
    assert Warm(*words, folder=job.parent).end().returncode in (0, 3)
    assert sorted({path.name for path in job.parent.iterdir()} - {*before}) == sorted(written)
