"""Bytes of NUL in an export stand where a card, a disk or a copy failed: the rows that were there are lost.

Expectations: how many rows were overwritten is known here.
"""

from pathlib import Path

import pytest
from running import record_of
from simulate import ELLIPSOIDAL, Plan, simulate

from pipeline import run_job

PLAN = Plan(sessions=1, points=40, checks=3, place=ELLIPSOIDAL)


def written(folder: Path) -> tuple[Path, Path, list[bytes]]:
    """Return a job's file, its export, and the lines of that, with their ends."""
    path = simulate(PLAN).write(folder)
    (export,) = folder.glob("rover*.csv")
    return path, export, export.read_bytes().splitlines(keepends=True)


def nuls(lines: list[bytes], count: int = 0) -> bytes:
    return b"\0" * (count or sum(map(len, lines)))


@pytest.mark.parametrize("first", [0, 13])
def test_rows_in_the_middle_are_told_with_about_how_many(first: int, tmp_path: Path) -> None:
    """Whether the bytes begin with a row or within one."""
    path, export, lines = written(tmp_path)
    lost = b"".join(lines[15:25])
    export.write_bytes(
        b"".join(lines[:15]) + lost[:first] + b"\0" * (len(lost) - first - 1) + b"".join((b"\n", *lines[25:]))
    )
    record = record_of(path, 3)
    (doubt,) = record["doubts"]
    assert doubt["kind"] == "cut-off"
    assert doubt["what"].startswith(f"{export.name}:16: {len(lost) - first - 1:,} bytes of NUL stand here")
    assert "about as many as 10 rows" in doubt["what"]
    assert record["rows"]["by_reason"] == {"unreadable": 1}
    assert run_job(path, dry_run=True).exit_code == 3


def test_an_end_of_nuls_is_told(tmp_path: Path) -> None:
    path, export, lines = written(tmp_path)
    export.write_bytes(b"".join(lines) + nuls(lines[-6:]))
    (doubt,) = record_of(path, 3)["doubts"]
    assert doubt["what"].startswith(f"{export.name}:{len(lines) + 1}: ") and "about as many as 6 rows" in doubt["what"]


@pytest.mark.parametrize("count", [1, 4])
@pytest.mark.parametrize("place", ["cell", "end"])
def test_a_few_are_no_lost_rows(count: int, place: str, tmp_path: Path) -> None:
    """A cell that was padded, and the end of a string at the end of a file, are one unreadable row as ever."""
    path, export, lines = written(tmp_path)
    if place == "cell":
        lines[15] = lines[15].replace(b",", b"\0" * count + b",", 1)
    export.write_bytes(b"".join(lines) + (b"\0" * count if place == "end" else b""))
    record = record_of(path)
    assert not record["doubts"] and record["rows"]["by_reason"] == {"unreadable": 1}


@pytest.mark.parametrize("tail", [b"\0" * 100, b"\x1a" + b"\0" * 511, b"\0\r\n"])
def test_what_fills_up_a_sector_behind_the_last_row_is_none(tail: bytes, tmp_path: Path) -> None:
    """Disks of old are written in sectors of 512 bytes, and a text ends with control-Z there (both from memory)."""
    path, export, lines = written(tmp_path)
    export.write_bytes(b"".join(lines) + tail)
    assert not record_of(path)["doubts"]


def test_two_bytes_a_sign_are_none(tmp_path: Path) -> None:
    path, export, lines = written(tmp_path)
    export.write_text(b"".join(lines).decode(), encoding="utf-16")
    assert not record_of(path)["doubts"]
