"""An unchanged job is answered by sums alone; whatever may change its issue makes a run look."""

import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import pytest
from simulate import Plan, simulate
from typer.testing import CliRunner

from pipeline import JobHeld, run_job
from pipeline.cli import run_command
from pipeline.cli.main import app
from pipeline.cli.plain_run import plain_run
from pipeline.issue.folder.publish import job_lock
from pipeline.run import surroundings
from pipeline.run.glance import unchanged_at_a_glance
from pipeline.sealed import sealed_off

Alteration = Callable[[Path], AbstractContextManager[None]]


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("glance")
    (folder / "grids").mkdir()
    before, os.environ["PROJ_DATA"] = os.environ.get("PROJ_DATA"), str(folder / "grids")
    try:
        path = simulate(Plan(sessions=2, points=3)).write(folder)
        assert run_job(path).issued
    finally:
        os.environ.pop("PROJ_DATA")
        os.environ |= {"PROJ_DATA": before} if before is not None else {}
    return path


@pytest.fixture(autouse=True)
def grids(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PROJ_DATA", str(job.parent / "grids"))


@contextmanager
def held_by(path: Path, content: bytes | None) -> Iterator[None]:
    """Let a file hold something else for a while, or be gone, and be as it was after, its time too."""
    was = (path.read_bytes(), path.stat()) if path.exists() else None
    path.unlink(missing_ok=True)
    if content is not None:
        path.write_bytes(content)
    yield
    path.unlink(missing_ok=True)
    if was is not None:
        path.write_bytes(was[0])
        os.utime(path, ns=(was[1].st_atime_ns, was[1].st_mtime_ns))


def added(name: str, content: bytes = b"\n") -> Alteration:
    """More at a file's end, or a file that was not there."""

    def alter(folder: Path) -> AbstractContextManager[None]:
        path = folder / name
        return held_by(path, (path.read_bytes() if path.exists() else b"") + content)

    return alter


def gone(name: str) -> Alteration:
    return lambda folder: held_by(folder / name, None)


@contextmanager
def renamed(folder: Path) -> Iterator[None]:
    (folder / "rover001.csv").rename(folder / "rover009.csv")
    yield
    (folder / "rover009.csv").rename(folder / "rover001.csv")


@contextmanager
def linked(folder: Path) -> Iterator[None]:
    """The same rows under another name, which every point bears."""
    (folder / "rover001.csv").rename(folder / "kept.csv")
    (folder / "rover002.csv").symlink_to("kept.csv")
    yield
    (folder / "rover002.csv").unlink()
    (folder / "kept.csv").rename(folder / "rover001.csv")


@contextmanager
def other_folder_of_grids(folder: Path) -> Iterator[None]:
    os.environ["PROJ_DATA"] = str(folder)
    yield


@contextmanager
def resealed(folder: Path) -> Iterator[None]:
    """A record that says something else by a sum of its own, with its size and time as they were."""
    path = folder / "out" / "issues" / "001" / "issue.json"
    said, at = path.read_bytes(), path.stat()
    path.write_bytes(said.replace(b'"proven"', b'"PROVEN"'))
    os.utime(path, ns=(at.st_atime_ns, at.st_mtime_ns))
    yield
    path.write_bytes(said)
    os.utime(path, ns=(at.st_atime_ns, at.st_mtime_ns))


def noting(content: bytes) -> Alteration:
    return lambda folder: held_by(folder / "out" / ".confirmed", content)


@contextmanager
def another_owner(folder: Path) -> Iterator[None]:
    """A folder that another job file names too, and whose it was before."""
    (folder / "other.toml").write_bytes((folder / "job.toml").read_bytes())
    marker = folder / "out" / ".tiedown.json"
    with held_by(marker, marker.read_bytes().replace(b"job.toml", b"other.toml")):
        yield
    (folder / "other.toml").unlink()


ALTERATIONS: dict[str, Alteration] = {
    "a comment in the job file": added("job.toml", b"# checked\n"),
    "a row of an export": added("rover001.csv", b" "),
    "an export more": added("rover002.csv"),
    "no export": gone("rover001.csv"),
    "an export renamed": renamed,
    "an export renamed and linked": linked,
    "the register": added("register.csv", b" "),
    "a file of the name that a text of the job has": added("simulated"),
    "a grid where PROJ looks": added("grids/x.gtx"),
    "another folder of grids": other_folder_of_grids,
    "a file in the issue": added("out/issues/001/x"),
    "the GeoPackage of the issue": added("out/issues/001/simulated-001.gpkg"),
    "the report gone": gone("out/issues/001/simulated-001.html"),
    "the record": resealed,
    "an issue of which nobody was told": added("out/.untold", b"[1]"),
    "no note": gone("out/.confirmed"),
    "a note of before": noting(b'{"issue": 1, "at_hand": "0", "signs": {}}'),
    "a note that is none": noting(b"[]"),
    "a folder that is another job's": another_owner,
}


def at_a_glance(path: Path) -> bool:
    with sealed_off():
        return unchanged_at_a_glance(path) is not None


def test_a_glance_says_what_a_run_says(job: Path) -> None:
    with sealed_off():
        glanced = unchanged_at_a_glance(job)
    assert glanced == run_job(job)
    assert not glanced.issued


@pytest.mark.parametrize("what", ALTERATIONS)
def test_whatever_may_change_an_issue_makes_a_run_look(what: str, job: Path) -> None:
    with ALTERATIONS[what](job.parent):
        assert not at_a_glance(job)
    os.environ["PROJ_DATA"] = str(job.parent / "grids")
    assert at_a_glance(job)


def test_another_program_makes_a_run_look(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(surroundings, "_program", lambda: ["another"])
    assert not at_a_glance(job)


def test_a_job_that_is_held_is_so_at_a_glance(job: Path) -> None:
    with job_lock(job.parent / "out"), pytest.raises(JobHeld):
        at_a_glance(job)


def test_a_current_that_is_gone_is_put_right_at_a_glance(job: Path) -> None:
    (job.parent / "out" / "current").unlink()
    assert at_a_glance(job)
    assert (job.parent / "out" / "current" / "issue.json").is_file()


def test_a_run_that_finds_nothing_changed_notes_what_it_saw(job: Path) -> None:
    with added("job.toml", b"# looked at again\n")(job.parent):
        assert not at_a_glance(job)
        assert not run_job(job).issued
        assert at_a_glance(job)
    assert not run_job(job).issued
    assert at_a_glance(job)


def test_what_changes_under_a_run_was_not_seen_by_it(job: Path) -> None:
    def changed(*_: object) -> None:
        (job.parent / "rover002.csv").write_bytes((job.parent / "rover001.csv").read_bytes().replace(b"S0", b"S9"))

    with added("rover001.csv", b"\n")(job.parent):
        try:
            assert run_job(job, progress=changed).issued
            assert not at_a_glance(job)
        finally:
            (job.parent / "rover002.csv").unlink()


@pytest.mark.parametrize(
    "words",
    ["a.toml", "a.toml b.toml", "--quiet a.toml", "a.toml --json", "--dry-run a.toml --quiet --json", "./a b.toml"],
)
def test_a_plain_run_is_understood_as_the_library_does(words: str, monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[object, dict[str, object]]] = []

    def note(jobs: object, **ways: object) -> int:
        asked.append(
            (
                jobs,
                {
                    "fail_on": None,
                    "notify": None,
                    "silent": False,
                    "cluster": None,
                    "workers": 1,
                    "timeout": None,
                    **ways,
                },
            )
        )
        return 3

    monkeypatch.setattr(run_command, "run_jobs", note)
    plain = plain_run(["run", *words.split()])
    assert plain is not None
    with pytest.raises(SystemExit) as ended:
        plain()
    assert ended.value.code == CliRunner().invoke(app, ["run", *words.split()]).exit_code == 3
    assert asked[0] == asked[1]


@pytest.mark.parametrize(
    "words", ["", "run", "run --quiet", "run --help", "run a --workers 2", "run -- a", "check a", "run a --fail-on x"]
)
def test_what_is_not_plain_is_left_to_the_library(words: str) -> None:
    assert plain_run(words.split()) is None


def test_a_job_is_as_it_was_from_any_working_folder(job: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand beside the job, from a timer in the root: what nobody names hangs on neither."""
    for name in ("PROJ_DATA", "PROJ_LIB"):
        monkeypatch.delenv(name, raising=False)
    told = set()
    for folder in (tmp_path, job.parent, Path("/")):
        monkeypatch.chdir(folder)
        told.add(surroundings.surroundings(job, ()))
    assert len(told) == 1 and told != {""}


@pytest.mark.parametrize(
    "way",
    ["gone/../marks.csv", "marks.csv/.", "link/marks.csv", "../{}/marks.csv", " marks.csv", "./marks.csv", "by-gone"],
)
def test_a_register_is_seen_by_whatever_way_a_run_finds_it(way: str, tmp_path: Path) -> None:
    """A run takes names as the file system resolves them, through folders that are gone and through links."""
    (tmp_path / "link").symlink_to(".")
    (tmp_path / "by-gone").symlink_to("gone/../marks.csv")
    path, register = tmp_path / "job.toml", tmp_path / "marks.csv"
    path.write_text(f'[control]\nfile = "{way.format(tmp_path.name)}"\n', encoding="utf-8")
    told = []
    for content in ("mark\nCM1\n", "mark\nCM2\n"):
        register.write_text(content, encoding="utf-8")
        told.append(surroundings.surroundings(path, ()))
    assert told[0] != told[1] and all(told)
