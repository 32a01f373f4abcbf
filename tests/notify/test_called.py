"""A command that is called: what it is given, what is kept of what it says, and that nothing of it is left behind."""

import os
import sys
import time
from pathlib import Path

import pytest

from pipeline.job.command_named import callers_command, command_named
from pipeline.notify.called import call
from pipeline.notify.job_change import JobChange
from pipeline.notify.message import message
from pipeline.notify.state import Event, Stand, ToldState
from pipeline.problems import JobError, Problem

posix = pytest.mark.skipif(os.name != "posix", reason="shell scripts and groups of processes")


def script(folder: Path, text: str, name: str = "tell.sh") -> str:
    path = folder / name
    path.write_text(f"#!/bin/sh\n{text}\n", encoding="utf-8")
    path.chmod(0o755)
    return f"./{name}"


def gone(number: int) -> bool:
    """Say whether a process has ended, of which nobody may have taken note yet."""
    for _ in range(100):
        try:
            if Path(f"/proc/{number}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()[0] == "Z":
                return True
            os.kill(number, 0)
        except (FileNotFoundError, ProcessLookupError):
            return True
        time.sleep(0.02)
    return False


@posix
def test_it_gets_document_environment_and_folder_and_its_output_is_kept(tmp_path: Path) -> None:
    name = script(tmp_path, 'cat; echo "$WORD"; pwd; echo to stderr >&2')
    found = call([name], tmp_path, {"WORD": "a b", "PATH": os.environ["PATH"]}, b"{}\n", 10)
    assert found.well and found.how.startswith("ended with code 0")
    assert found.output.splitlines() == ["{}", "a b", os.path.realpath(tmp_path), "to stderr"]


@posix
@pytest.mark.parametrize(
    ("text", "how"),
    [
        ("exit 7", "ended with code 7"),
        ("kill -9 $$", "was killed (signal 9)"),
        ("exec 0<&-; exit 1", "code 1"),
    ],
)
def test_one_that_ends_badly_is_said_to(text: str, how: str, tmp_path: Path) -> None:
    found = call([script(tmp_path, text)], tmp_path, dict(os.environ), b"x" * 300_000, 10)
    assert not found.well and how in found.how


def test_one_that_cannot_be_started_is_said_to(tmp_path: Path) -> None:
    (tmp_path / "plain").write_text("no program", encoding="utf-8")
    for words in (["./none"], ["none-of-that-name"], ["./plain"], [str(tmp_path)]):
        found = call(words, tmp_path, dict(os.environ), b"", 10)
        assert not found.well and "cannot be started" in found.how and words[0] in found.how


@posix
def test_one_that_hangs_is_ended_with_its_children(tmp_path: Path) -> None:
    name = script(tmp_path, "sleep 60 & echo $!; sleep 60")
    begun = time.monotonic()
    found = call([name], tmp_path, dict(os.environ), b"", 0.4)
    assert not found.well and "longer than 0.4 s" in found.how and time.monotonic() - begun < 10
    assert gone(int(found.output))


@posix
def test_what_it_leaves_in_the_background_is_not_waited_for(tmp_path: Path) -> None:
    begun = time.monotonic()
    found = call([script(tmp_path, "sleep 30 & echo $!")], tmp_path, dict(os.environ), b"", 20)
    assert found.well and time.monotonic() - begun < 10
    os.kill(int(found.output), 9)


def test_one_that_says_without_end_fills_nothing(tmp_path: Path) -> None:
    talks = [sys.executable, "-c", "import sys\nfor _ in range(400): sys.stdout.write('y' * 10000)"]
    found = call(talks, tmp_path, dict(os.environ), b"", 60)
    assert found.well and len(found.output) < 21_000 and found.output.endswith("left out here)")


def test_a_message_has_no_line_that_a_mail_would_take_for_another(tmp_path: Path) -> None:
    refused = JobError([Problem("x", 0, "a", "b")])
    change = JobChange(tmp_path / "a\nBcc: b\0.toml", refused, 2, "a\x1b[31m\nb" * 5000)
    said = message(change, None, [Event.REFUSED], None, ToldState(Stand.REFUSED))
    around = said.environment({"KEPT": "1"})
    assert around["KEPT"] == "1" and around["TIEDOWN_EVENTS"] == "refused" and around["TIEDOWN_ISSUE"] == ""
    assert "\n" not in around["TIEDOWN_SUBJECT"] and not any("\0" in word for word in around.values())
    assert "\x1b" not in around["TIEDOWN_TEXT"] and len(around["TIEDOWN_TEXT"]) < 9_000


NAMED = '[notify]\ncommand = ["./tell.sh", "a b"]\ntimeout = 5\n'


def test_a_command_is_known_whatever_else_is_wrong_with_the_job_file(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(f"nonsense = 1\n{NAMED}", encoding="utf-8")
    path.chmod(0o644)
    named = command_named(path)
    assert named is not None and (named.words, named.folder, named.timeout) == (("./tell.sh", "a b"), tmp_path, 5.0)
    for text in ("", "no toml [notify]", "[notify]\ncommand = []", '[notify]\ncommand = "x"', "notify = 1",
                 '[notify]\ncommand = ["x"]\ntimeout = 0', '[notify]\ncommand = ["x"]\ntimeout = nan'):  # fmt: skip
        path.write_text(text, encoding="utf-8")
        assert command_named(path) is None, text
    assert command_named(tmp_path / "none.toml") is None and command_named(tmp_path) is None
    assert callers_command("tell 'a b'").words == ("tell", "a b")


@posix
def test_whoever_else_may_write_the_job_file_gives_no_command(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text(NAMED, encoding="utf-8")
    for mode, trusted in ((0o600, True), (0o644, True), (0o646, False), (0o666, False)):
        path.chmod(mode)
        named = command_named(path)
        assert named is not None and (named.distrusted is None) == trusted, oct(mode)
    if os.geteuid() == 0:
        for user, group in ((12345, -1), (0, 12345)):
            path.chmod(0o664)
            os.chown(path, user, group)
            named = command_named(path)
            assert named is not None and named.distrusted
