"""What a terminal, a pipe or a file may be: of any encoding, closed, full, read no further; names of any characters."""

import io
import json
import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from command import SMALL, command, failing, process, spoiled, surroundings
from every import every
from simulate import simulate

from pipeline.cli.console import console
from pipeline.cli.main import app
from pipeline.verify import verify

#: A name in four scripts with escape sequences, a bell and turns of the writing direction.
NAME = "現場 Ж é 😀\x1b[31m\x07\x9b2J\u202e\u2066"
#: Nothing of this may reach a terminal (ISO 6429 control functions; Unicode's bidirectional formatting characters).
ACTS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
#: The part of it that a job file may have in a name.
PLAIN = ACTS.sub("", NAME)
ENCODINGS = ["utf-8", "cp1252", "latin-1", "ascii", "utf-16"]


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A job with a failing check, whose session, point and job file have odd names; it has been issued."""
    made = failing()
    made.job["session"][0]["name"] = f"session {PLAIN}"
    made.rows["name"] = made.rows["name"].astype(object)
    made.rows["name"][made.rows["name"] == "S01-C2"] = f"check {NAME}"
    made.rows["code"] = made.rows["code"].astype(object)
    made.rows["code"][made.rows["name"] == f"check {NAME}"] = "CHK"  # no job file can spell its name
    del made.job["session"][0]["checks"][1]
    path = made.write(tmp_path_factory.mktemp("odd names"))
    text = path.read_text(encoding="utf-8").replace("\\ud83d\\ude00", "\\U0001F600")  # as TOML has it
    path.write_text(text, encoding="utf-8")
    assert printed("utf-8", "run", path)[0] == 3
    return path


def shown(name: str, encoding: str) -> str:
    """A name as it must come out: Python's escapes for what acts on a terminal or is not in the encoding."""
    hidden = ACTS.sub(lambda found: ascii(found[0])[1:-1], name)
    return hidden.encode(encoding, "backslashreplace").decode(encoding)


def printed(encoding: str, *arguments: str | Path) -> tuple[int, str, str]:
    """Run the command in this process, with streams of an encoding; return exit code, stdout and stderr."""
    streams = [io.TextIOWrapper(io.BytesIO(), encoding=encoding) for _ in range(2)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(sys, "stdout", streams[0])
        patch.setattr(sys, "stderr", streams[1])
        with pytest.raises(SystemExit) as end, console():
            app([str(argument) for argument in arguments])
    stdout, stderr = (stream.buffer.getvalue().decode(encoding) for stream in streams)  # type: ignore[attr-defined]
    return int(end.value.code or 0), stdout, stderr


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_every_command_writes_what_it_can_and_escapes_the_rest(encoding: str, job: Path) -> None:
    odd = f"{NAME}.toml"
    commands: dict[tuple[str | Path, ...], tuple[int, str]] = {
        ("run", job): (3, NAME), ("run", "--quiet", job): (3, NAME), ("check", job): (0, ""),
        ("trace", job, "S01-00001"): (0, PLAIN), ("trace", job, f"gone {NAME}"): (2, NAME), ("history", job): (0, ""),
        ("verify", job.parent / "out"): (0, ""), ("run", odd): (2, NAME), ("check", odd): (2, NAME),
        ("run", odd, job): (3, NAME), ("run", odd, odd): (2, NAME), ("verify", NAME): (2, NAME),
        ("run", f"--{NAME}", job): (2, ""), (f"walk {NAME}",): (2, NAME), ("run", "--workers", NAME, job): (2, ""),
    }  # fmt: skip
    for arguments, (code, name) in every(commands.items()):
        found, stdout, stderr = printed(encoding, *arguments)
        text = stdout + stderr
        assert found == code, (arguments, text)
        assert "Traceback" not in text and not ACTS.search(text), (arguments, text)
        assert shown(name, encoding) in text, (arguments, text)


@pytest.mark.parametrize("encoding", ENCODINGS)
def test_json_is_json_in_every_encoding(encoding: str, job: Path) -> None:
    written = json.loads((job.parent / "out" / "current" / "issue.json").read_text(encoding="utf-8"))
    assert written["sessions"][0]["session"] == f"session {PLAIN}"
    for word, *rest in (["run", job], ["trace", job, "S01-00001"], ["history", job], ["verify", job.parent / "out"]):
        _, stdout, stderr = printed(encoding, word, "--json", *rest)
        assert stderr == "" and not ACTS.search(stdout)
        said = json.loads(stdout)
        assert word != "run" or said == written


def test_a_locale_without_letters_of_its_own_stops_nothing(job: Path) -> None:
    found = process("run", job, LC_ALL="C", PYTHONUTF8="0", PYTHONCOERCECLOCALE="0")
    assert found.returncode == 3 and b"Traceback" not in found.stdout + found.stderr
    assert b"FAILS: check " in found.stdout and b"\x1b" not in found.stdout


def test_a_turkish_office_gets_no_errors_of_a_library(tmp_path: Path) -> None:
    """In Turkish the capital of i is another letter, and C libraries find their own words no more."""
    made = shutil.which("localedef") and subprocess.run(
        ["localedef", "-i", "tr_TR", "-f", "ISO-8859-9", tmp_path / "tr_TR"], capture_output=True, check=False
    )
    if not made or not (tmp_path / "tr_TR").is_dir():
        pytest.skip("the system makes no Turkish locale")
    job = simulate(SMALL).write(tmp_path / "job")
    found = process("run", "--quiet", job, LC_ALL="tr_TR", LOCPATH=str(tmp_path))
    assert (found.returncode, found.stderr) == (0, b"")


# Where it goes


def into(target: str, *arguments: str | Path) -> tuple[int, bytes, bytes]:
    """Run the command with its streams sent elsewhere by a shell; return exit code, stdout and stderr."""
    found = subprocess.run(
        ["sh", "-c", f'"$@" {target}', "sh", *map(str, command(*arguments))],
        capture_output=True, check=False, env=surroundings(), timeout=120, stdin=subprocess.DEVNULL,
    )  # fmt: skip
    return found.returncode, found.stdout, found.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no device that is always full")
def test_a_full_disk_under_the_output_is_told_and_changes_no_exit_code(job: Path) -> None:
    code, _, stderr = into(">/dev/full", "run", "--json", job)
    assert code == 3
    assert stderr.decode() == "tiedown: the output could not be written: No space left on device\n"
    assert into(">/dev/full 2>/dev/full", "run", job)[0] == 3


@pytest.mark.parametrize("closed", [">&-", "<&- >&- 2>&-"])
def test_a_closed_stdout_stops_no_issue_and_no_file_takes_its_place(closed: str, tmp_path: Path) -> None:
    """A file that were opened under number 1 would get whatever a library prints."""
    good, bad = simulate(SMALL).write(tmp_path / "good"), spoiled().write(tmp_path / "bad")
    assert into(closed, "run", good) == (0, b"", b"")
    assert verify(tmp_path / "good" / "out").findings == ()
    code, _, stderr = into(closed, "run", bad)
    assert code == 2 and (b"CM9" in stderr) is ("2>" not in closed)


def test_a_reader_that_stops_stops_no_job(tmp_path: Path) -> None:
    """As `| head -1` does: the pipe breaks in the first summary, and the second job is issued all the same."""
    first, second = failing().write(tmp_path / "first"), simulate(SMALL).write(tmp_path / "second")
    begun = subprocess.Popen(
        command("run", first, second), stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=surroundings()
    )
    assert begun.stdout is not None and begun.stderr is not None
    begun.stdout.close()
    assert begun.stderr.read() == b""
    begun.stderr.close()
    assert begun.wait(120) == 3
    assert (tmp_path / "second" / "out" / "current" / "issue.json").is_file()


def test_a_slow_reader_of_a_pipe_that_does_not_wait_gets_everything() -> None:
    """As some programs make their pipes: what does not fit at once would be refused."""
    ours, theirs = os.pipe()
    os.set_blocking(theirs, False)
    got: list[bytes] = []

    def read() -> None:
        while piece := os.read(ours, 1 << 16):
            got.append(piece)
            time.sleep(0.001)

    reader = Thread(target=read)
    with pytest.MonkeyPatch.context() as patch, os.fdopen(theirs, "w", encoding="utf-8") as stream:
        patch.setattr(sys, "stdout", stream)
        with console():
            reader.start()
            for _ in range(2000):
                print("x" * 499)
    reader.join(60)
    os.close(ours)
    assert len(b"".join(got)) == 1_000_000


# Names of files


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="names of files are text there")
def test_a_job_file_may_have_any_bytes_for_its_name(tmp_path: Path) -> None:
    path = simulate(SMALL).write(tmp_path)
    odd = os.fsencode(tmp_path) + b"/j\xff\x1b[31m.toml"
    os.rename(path, odd)
    for word in ("run", "check"):
        code, stdout, stderr = printed("utf-8", word, os.fsdecode(odd))
        assert code == 0 and "\x1b" not in stdout and stderr == "", stderr
    both = process("run", "--json", odd, b"gone\xfe.toml", PYTHONIOENCODING="utf-8")
    said: list[dict[str, Any]] = json.loads(both.stdout)["jobs"]
    assert [os.fsencode(one["file"]) for one in said] == [odd, b"gone\xfe.toml"]
    assert b"gone\\xfe.toml: there is no such job file" in both.stderr


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="names of files are text there")
@pytest.mark.parametrize("what", ["export", "folder"])
def test_other_names_that_are_no_text_are_refused_in_words(what: str, tmp_path: Path) -> None:
    folder = os.fsencode(tmp_path) + (b"/f\xff" if what == "folder" else b"/f")
    simulate(SMALL).write(tmp_path / "made")
    os.rename(tmp_path / "made", folder)
    if what == "export":
        os.rename(folder + b"/rover001.csv", folder + b"/rover\xff.csv")
    code, _, stderr = printed("utf-8", "run", Path(os.fsdecode(folder)) / "job.toml")
    assert code == 2 and "Traceback" not in stderr
    assert "is not UTF-8 text" in stderr and "\\xff" in stderr
    assert not os.path.exists(folder + b"/out")
