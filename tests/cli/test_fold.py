"""Lines on a terminal: broken at blanks to its width, with nothing lost; whole everywhere else."""

import os
import struct
import sys
from contextlib import suppress
from pathlib import Path
from threading import Thread

import pytest
from command import ROOT, failing, spoiled, surroundings, tiedown
from every import every
from warm import COMMAND, Warm

if sys.platform == "win32":
    pytest.skip("the system has no pseudo-terminals", allow_module_level=True)

import fcntl
import pty
import termios

COLUMNS = 80


def on_terminal(stream: str, *arguments: str | Path) -> str:
    """Run the command with stdout or stderr on a terminal of so many columns; return what that shows."""
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, COLUMNS, 0, 0))
    shown: list[bytes] = []

    def read() -> None:
        with suppress(OSError):  # how Linux says that nobody writes any more
            while piece := os.read(ours, 65536):
                shown.append(piece)

    reader = Thread(target=read)
    reader.start()
    number = {"stdout": 1, "stderr": 2}[stream]
    code = f"import os; os.dup2(os.open({os.ttyname(theirs)!r}, os.O_RDWR), {number}); {COMMAND}"
    Warm(*arguments, code=code, folder=ROOT, variables=surroundings()).end()
    os.close(theirs)
    reader.join(60)
    os.close(ours)
    return b"".join(shown).decode().replace("\r\n", "\n")


def test_a_terminal_gets_lines_of_its_width_and_a_pipe_whole_ones(tmp_path: Path) -> None:
    path = failing().write(tmp_path)
    assert tiedown("run", path).exit_code == 3
    for options in ([], ["--quiet"]):
        whole = tiedown("run", *options, path).stdout
        shown = on_terminal("stdout", "run", *options, path)
        assert shown.split() == whole.split()
        assert max(map(len, whole.splitlines())) > COLUMNS
        # a table, and what is to be copied into a job file, stay as they are laid out
        for line in whole.splitlines():
            assert len(line) > COLUMNS or line in shown.splitlines()
        for line in shown.splitlines():
            assert len(line) <= COLUMNS or line in whole.splitlines()
        assert len(max((line for line in shown.splitlines() if "  session" not in line), key=len)) <= COLUMNS


def test_problems_are_broken_on_a_terminal_too(tmp_path: Path) -> None:
    folder = tmp_path / (COLUMNS * "d")
    folder.mkdir()
    path = spoiled().write(folder)
    # quiet: without a bar
    whole = tiedown("run", "--quiet", path).stderr
    shown = on_terminal("stderr", "run", "--quiet", path)
    assert shown.split() == whole.split()
    long = [line for line in shown.splitlines() if len(line) > COLUMNS]
    assert all(str(folder) in line for line in every(long))  # a path is not broken


def test_json_is_never_broken(tmp_path: Path) -> None:
    path = failing().write(tmp_path)
    assert tiedown("run", path).exit_code == 3
    assert on_terminal("stdout", "run", "--json", path) == tiedown("run", "--json", path).stdout
