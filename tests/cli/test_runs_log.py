"""`runs.log`: every run, what came of it, and what could not be printed; nothing of anybody else's is touched."""

import errno
import io
import json
import os
import re
import sys
from collections.abc import Callable, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from io import FileIO
from pathlib import Path
from typing import Any

import pytest
from command import SMALL, failing, spoiled, tiedown
from every import every
from issued import everything_below
from simulate import simulate
from someone_else import as_someone_else, needs_superuser, reachable_folder

from pipeline import run_job
from pipeline.cli.console import console
from pipeline.cli.issue_summary import summary
from pipeline.cli.main import app
from pipeline.run import run_log
from pipeline.run.mishaps import Died, Fault, OutOfMemory, TimedOut
from pipeline.run.run_log import Said, keep

NOW = datetime(2026, 3, 4, 5, 6, 7, tzinfo=UTC)


class Full(io.StringIO):
    """A stream on a full disk."""

    def write(self, _: str) -> int:
        raise OSError(28, "No space left on device")


def unprinted(*arguments: str | Path, stdout: Any = None, stderr: Any = None) -> int:
    """Run the command in this process with streams of ours, and return its exit code."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stdout", stdout or Full())
        patch.setattr(sys, "stderr", stderr or Full())
        with pytest.raises(SystemExit) as end, console():
            app([str(argument) for argument in arguments])
    return int(end.value.code or 0)


def entries(log: Path) -> list[str]:
    """The entries of a log: each begins with a date, and its further lines are indented."""
    head, *lines = log.read_text(encoding="utf-8").splitlines()
    assert head.startswith("# tiedown")
    found: list[str] = []
    for line in lines:
        if line and not line.startswith(" "):
            assert datetime.fromisoformat(line.split()[0]).tzinfo is not None
            found.append(line)
        else:
            found[-1] += f"\n{line}"
    return found


def said(text: str, code: int = 1) -> Said:
    return Said(code, "died", "no new issue", "tiedown 1", text)


def test_every_run_stands_in_the_log_beside_the_issues(tmp_path: Path) -> None:
    """A new issue as the summary says it, also where that was not asked for; a refused run with what is wrong; one that
    changed nothing with what needs attention; those that say the same are counted."""
    path, log = failing().write(tmp_path), tmp_path / "out" / "runs.log"
    assert tiedown("run", "--json", path).exit_code == 3
    (entry,) = entries(log)
    assert "exit code 3  issued  issue 001, failed  tiedown " in entry and entry.splitlines()[0].endswith(f"  {path}")
    assert "FAILS: S01-C2" in entry and "issue 001 written" in entry
    for _ in range(3):
        assert tiedown("run", "--quiet", path).exit_code == 3
    _, entry = entries(log)
    assert "exit code 3  unchanged  issue 001, failed  tiedown " in entry and "S01-C2 on CM3 fails" in entry
    assert "the same until" in entry.splitlines()[-1] and ", 3 runs" in entry
    before = path.read_text(encoding="utf-8")
    path.write_text(before.replace('mark = "CM1"', 'mark = "CM9"'), encoding="utf-8")
    assert tiedown("run", path).exit_code == 2
    *_, entry = entries(log)
    assert "exit code 2  refused  no new issue  tiedown " in entry and f"{path}:26: tie of session session-01" in entry
    path.write_text(before, encoding="utf-8")
    assert tiedown("run", path).exit_code == 3
    assert len(entries(log)) == 4
    assert not list((tmp_path / "out" / "issues").rglob("*.log"))


def test_a_year_of_nights_in_which_nothing_changed_is_two_lines(tmp_path: Path) -> None:
    job, log = tmp_path / "job.toml", tmp_path / "job.toml.log"
    job.touch()
    nothing = Said(0, "unchanged", "issue 001, proven", "tiedown 1", "")
    for night in range(365):
        assert keep(job, None, nothing, NOW + timedelta(days=night), unprinted=True)
    first, last = log.read_text().splitlines()[1:]
    assert first == f"2026-03-04T05:06:07Z  exit code 0  unchanged  issue 001, proven  tiedown 1  {job}"
    assert last.rstrip() == "  the same until 2027-03-03T05:06:07Z, 365 runs"
    assert keep(job, None, said("killed"), NOW + timedelta(days=365), unprinted=True)
    assert keep(job, None, nothing, NOW + timedelta(days=366), unprinted=True)
    assert len(entries(log)) == 3


def test_what_a_full_disk_cut_off_does_not_swallow_the_next_run(tmp_path: Path) -> None:
    job, log = tmp_path / "job.toml", tmp_path / "job.toml.log"
    job.touch()
    assert keep(job, None, said("one"), NOW, unprinted=True)
    with log.open("rb+") as file:
        file.truncate(log.stat().st_size - 2)
    assert keep(job, None, said("one"), NOW, unprinted=True)
    assert [entry.splitlines()[1] for entry in entries(log)] == ["  on", "  one"]


def test_a_job_file_whose_name_has_a_line_feed_makes_no_line_of_its_own(tmp_path: Path) -> None:
    job = tmp_path / "a\n2026-03-04T05:06:07Z  exit code 0.toml"
    job.touch()
    assert keep(job, None, said("one"), NOW, unprinted=True)
    assert len(entries(job.with_name(f"{job.name}.log"))) == 1


def test_a_folder_whose_name_has_a_line_feed_makes_no_line_of_the_summary(tmp_path: Path) -> None:
    folder = tmp_path / "a\nissue 999, verdict PROVEN"
    folder.mkdir()
    outcome = run_job(simulate(SMALL).write(folder))
    assert outcome.issued and "a\\x0aissue 999" in outcome.headline
    assert not any(line.startswith("issue 999") for line in summary(outcome.record, outcome.headline).splitlines())


def test_what_could_not_be_printed_stands_in_it_too(tmp_path: Path) -> None:
    path = failing().write(tmp_path)
    for _ in range(2):
        assert unprinted("run", path) == 3
    first, second = entries(tmp_path / "out" / "runs.log")
    assert "issue 001 written" in first and "nothing changed since issue 001" in second and "FAILS: S01-C2" in second
    spoiled().write(tmp_path)
    assert unprinted("run", path) == 2
    *_, refused = entries(tmp_path / "out" / "runs.log")
    assert "exit code 2" in refused and f"{path}:26: tie of session session-01" in refused and '"CM9"' in refused


def test_what_an_encoding_has_no_signs_for_stands_in_it_as_it_is(tmp_path: Path) -> None:
    job = simulate(SMALL)
    job.job["session"][0]["ties"][0]["mark"] = "Höhe 現場"
    job.job["session"][0]["name"] = "session"
    path = job.write(tmp_path)
    streams = [io.TextIOWrapper(io.BytesIO(), encoding="latin-1") for _ in range(2)]
    assert unprinted("run", path, stdout=streams[0], stderr=streams[1]) == 2
    (entry,) = entries(tmp_path / "job.toml.log")
    assert "Höhe 現場" in entry and not (tmp_path / "out").exists()


def test_what_is_refused_is_told_and_nothing_is_written(tmp_path: Path) -> None:
    path = spoiled().write(tmp_path)
    before = everything_below(tmp_path)
    assert tiedown("run", path).exit_code == 2
    assert everything_below(tmp_path) == before


@pytest.mark.parametrize("arguments", [["run", "--dry-run"], ["check"]])
def test_what_writes_nothing_writes_no_log(arguments: Sequence[str], tmp_path: Path) -> None:
    good, bad = simulate(SMALL).write(tmp_path / "good"), spoiled().write(tmp_path / "bad")
    before = everything_below(tmp_path)
    assert unprinted(*arguments, good) == 0 and unprinted(*arguments, bad) == 2
    assert everything_below(tmp_path) == before


def test_a_folder_of_another_job_is_not_written_to(tmp_path: Path) -> None:
    path = simulate(SMALL).write(tmp_path)
    assert tiedown("run", path).exit_code == 0
    before = everything_below(tmp_path / "out")
    other = path.with_name("next.toml")
    other.write_text(path.read_text(encoding="utf-8").replace('"simulated"', '"next"', 1), encoding="utf-8")
    assert unprinted("run", other) == 2
    assert everything_below(tmp_path / "out") == before
    assert "holds the issues of the job simulated" in entries(tmp_path / "next.toml.log")[0]


@pytest.mark.parametrize("what", ["text", "folder", "link", "pipe"])
def test_what_is_not_ours_is_not_written_to_whatever_its_name(what: str, tmp_path: Path) -> None:
    path = spoiled().write(tmp_path)
    log, target = tmp_path / "job.toml.log", tmp_path / "mine.txt"
    target.write_text("mine\n")
    {"text": lambda: log.write_text("mine\n"), "folder": log.mkdir, "link": lambda: log.symlink_to(target),
     "pipe": lambda: os.mkfifo(log)}[what]()  # fmt: skip
    assert unprinted("run", path) == 2
    assert target.read_text() == "mine\n" and (what != "text" or log.read_text() == "mine\n")


@pytest.mark.parametrize("change", ["new", "unchanged", "refused"])
@pytest.mark.parametrize("what", ["text", "folder", "full"])
def test_a_log_that_cannot_be_written_is_told_and_costs_nothing(
    what: str, change: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On stderr, once for each run, whatever is printed; the exit code is that of the job."""
    path = failing().write(tmp_path)
    assert tiedown("run", path).exit_code == 3
    if change != "unchanged":
        ties = ('mark = "CM1"', 'mark = "CM9"') if change == "refused" else ("horizontal = 0.03", "horizontal = 0.031")
        said = path.read_text(encoding="utf-8")
        path.write_text(said.replace(*ties), encoding="utf-8")
    log = tmp_path / "out" / "runs.log"
    log.unlink()
    {"text": lambda: log.write_text("mine\n"), "folder": log.mkdir,
     "full": lambda: monkeypatch.setattr(run_log, "_opened", full)}[what]()  # fmt: skip
    why = {"text": " is not a log of tiedown", "folder": ": ", "full": ": the disk is full"}[what]
    for switches in ([], ["--quiet"], ["--json"]):
        found = tiedown("run", *switches, path)
        assert found.exit_code == (2 if change == "refused" else 3)
        assert found.stderr.count(f"{path}: this run is not in the log: {log}{why}") == 1


def full(*_: object) -> FileIO:
    raise OSError(errno.ENOSPC, "No space left on device")


def test_it_is_bounded_and_loses_the_oldest_first(tmp_path: Path) -> None:
    job, log = tmp_path / "job.toml", tmp_path / "job.toml.log"
    job.touch()
    for number in range(40):
        assert keep(job, None, said(f"number {number}\n" + "x" * 60_000), NOW, unprinted=True)
    assert keep(job, None, said("long\n" + "long line\n" * 100_000), NOW, unprinted=True)
    assert 400_000 < log.stat().st_size < 1_100_000
    *some, last = entries(log)
    numbers = [int(entry.splitlines()[1].split()[1]) for entry in some]
    assert numbers == list(range(numbers[0], 40)) and numbers[0] > 10
    assert "left out" in last and len(last) < 110_000
    assert {one.name for one in tmp_path.iterdir()} == {job.name, log.name}


# What mishaps look like


def test_mishaps_are_told_in_words_and_logged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    mishaps = [
        Died.of(-9, twice=True), TimedOut.after(30), OutOfMemory.told(), Fault.of(ZeroDivisionError("planted"))
    ]  # fmt: skip
    paths = [simulate(SMALL).write(tmp_path / str(number)) for number in range(5)]
    assert tiedown("run", paths[0]).exit_code == 0
    ends = list(zip(paths, [*mishaps, KeyError("no words")], strict=True))

    def ended(*_: object, **__: object) -> list[tuple[Path, Any]]:
        return list(reversed(ends))

    monkeypatch.setattr("pipeline.cli.run_command.run_many", ended)
    found = tiedown("run", *paths)
    assert found.exit_code == 2
    said = ["(SIGKILL), twice", "longer than the 30 s", "more memory", "a fault in", "a fault in"]
    for path, words in every(zip(paths, said, strict=True)):
        assert f"{path}: " in found.stderr and words in found.stderr
    assert found.stderr.count("Traceback") <= 1 and "ZeroDivisionError: planted" in found.stderr
    assert found.stdout.splitlines()[-1] == "5 jobs: 1 timed out, 2 died, 2 fault"
    document = json.loads(tiedown("run", "--json", *paths).stdout)["jobs"]
    assert [(one["file"], one["outcome"], one["exit_code"]) for one in document] == [
        (str(path), word, code)
        for path, (word, code) in zip(
            paths, [("died", 1), ("timed out", 2), ("died", 1), ("fault", 1), ("fault", 1)], strict=True
        )
    ]
    assert "SIGKILL" in entries(paths[0].parent / "out" / "runs.log")[-1]
    assert not (paths[1].parent / "job.toml.log").exists()
    assert unprinted("run", *paths) == 2
    assert "30 s" in entries(paths[1].parent / "job.toml.log")[0]


def test_a_run_whose_folder_is_closed_to_it_is_logged_beside_the_job_file(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As on a disk that is mounted read-only; the next one that can be logged among the issues is."""
    path = simulate(SMALL).write(tmp_path)
    assert tiedown("run", path).exit_code == 0
    opened = os.open

    def closed(file: Any, flags: int, *rest: Any, **more: Any) -> int:
        if flags & (os.O_WRONLY | os.O_RDWR) and Path(os.fsdecode(file)).is_relative_to(tmp_path / "out"):
            raise OSError(errno.EROFS, os.strerror(errno.EROFS), str(file))
        return opened(file, flags, *rest, **more)

    with monkeypatch.context() as patch:
        patch.setattr(os, "open", closed)
        assert keep(path, TimedOut.after(60), said("no issue can be written"), NOW, unprinted=False)
    (entry,) = entries(tmp_path / "job.toml.log")
    assert "no issue can be written" in entry
    assert keep(path, TimedOut.after(60), said("again"), NOW, unprinted=False)
    assert "again" in entries(tmp_path / "out" / "runs.log")[-1] and len(entries(tmp_path / "job.toml.log")) == 1


def _cut(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:300])


def _without_folder(path: Path) -> None:
    path.write_text(re.sub("^folder = .*$", "", path.read_text(encoding="utf-8"), flags=re.MULTILINE), encoding="utf-8")


def _as_folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


def _as_pipe(path: Path) -> None:
    path.unlink()
    os.mkfifo(path)


#: What may become of a job file, so that not even the folder of its issues can be read in it.
SPOILT: dict[str, Callable[[Path], object]] = {
    "empty": lambda path: path.write_bytes(b""),
    "blank": lambda path: path.write_bytes(b"\n \n"),
    "zeros": lambda path: path.write_bytes(bytes(4096)),
    "binary": lambda path: path.write_bytes(bytes(range(256))),
    "UTF-16": lambda path: path.write_text(path.read_text(encoding="utf-8"), encoding="utf-16"),
    "no TOML": lambda path: path.write_text("[job\n", encoding="utf-8"),
    "cut off": _cut,
    "no folder": _without_folder,
    "another file's text": lambda path: path.write_text("[tool]\n", encoding="utf-8"),
    "too large": lambda path: os.truncate(path, 5 << 20),
    "a folder": _as_folder,
    "a pipe": _as_pipe,
    "gone": Path.unlink,
}


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes are of other systems")
def test_job_files_that_cannot_be_read_any_more_are_told_everywhere(tmp_path: Path) -> None:
    """Each is refused with 2 on its own, told among several, quietly too, stands in its log, and on the page."""
    paths = {kind: simulate(SMALL).write(_made(tmp_path / "jobs" / str(n))) for n, kind in enumerate(SPOILT)}
    good = simulate(SMALL).write(_made(tmp_path / "jobs" / "good"))
    assert tiedown("run", good, *paths.values(), "--quiet").exit_code == 0
    for kind, path in paths.items():
        SPOILT[kind](path)
    told = tiedown("run", good, *paths.values(), "--quiet")
    assert told.exit_code == 2 and not told.stdout
    page = tiedown("office", tmp_path / "jobs", "--to", tmp_path / "page.html")
    assert page.exit_code == 3
    for kind, path in paths.items():
        assert re.search(rf"^{re.escape(str(path))}: \d+ problems?, nothing written", told.stderr, re.MULTILINE), kind
        assert str(path.parent) in page.output, kind
        *_, last = entries(path.parent / "out" / "runs.log")
        assert "exit code 2  refused  no new issue" in last, kind
        assert not path.with_name("job.toml.log").exists()
    assert len(entries(good.parent / "out" / "runs.log")) == 2
    summary_of_all = tiedown("run", good, *paths.values())
    assert summary_of_all.stdout.count("  refused  ") == len(paths)


def _made(folder: Path) -> Path:
    folder.mkdir(parents=True)
    return folder


def test_what_cannot_be_read_is_logged_where_issues_lie_beside_the_folder_of_job_files(tmp_path: Path) -> None:
    """As in `configs`; only the folder that was last run from the job file, though another lies there too."""
    path = simulate(SMALL).write(_made(tmp_path / "configs"))
    text = path.read_text(encoding="utf-8").replace('folder = "out"', 'folder = "../out/north"')
    path.write_text(text, encoding="utf-8")
    other = path.with_name("other.toml")
    other.write_text(text.replace("out/north", "out/another"), encoding="utf-8")
    assert tiedown("run", path, other).exit_code == 0
    path.write_bytes(b"")
    assert tiedown("run", path).exit_code == 2
    assert [len(entries(tmp_path / "out" / name / "runs.log")) for name in ("north", "another")] == [2, 1]


def test_what_cannot_be_read_and_was_never_run_leaves_nothing_behind(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.touch()
    told = tiedown("run", path)
    assert told.exit_code == 2 and "the job file is empty" in told.stderr
    assert list(tmp_path.iterdir()) == [path]


@pytest.fixture
def shared() -> Iterator[Path]:
    """A folder that other users can reach."""
    with reachable_folder() as folder:
        yield folder


@needs_superuser
@pytest.mark.parametrize("closed", [".", ".tiedown.json"])
def test_what_is_refused_where_whose_the_folder_is_cannot_be_read_is_logged_beside_the_job_file(
    shared: Path, closed: str
) -> None:
    """Another member of a group made the folder; who looks over the jobs reads of it; if that fails too, it is said."""
    path = simulate(SMALL).write(shared)
    assert tiedown("run", path).exit_code == 0
    (shared / "out" / closed).chmod(0o700)
    shared.chmod(0o777)
    with as_someone_else():
        assert tiedown("run", path).exit_code == 2
    (entry,) = entries(shared / "job.toml.log")
    assert "refused" in entry and "Permission denied" in entry
    told = tiedown("office", path, "--to", shared.parent / "page.html")
    assert told.exit_code == 3 and "Permission denied" in told.output
    (shared / "job.toml.log").unlink()
    shared.chmod(0o755)
    with as_someone_else():
        told = tiedown("run", path)
    assert told.exit_code == 2 and "this run is not in the log" in told.stderr
