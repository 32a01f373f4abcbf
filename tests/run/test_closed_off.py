"""A run under another umask that shuts others out of what `current` shows says so; one that opens it says nothing."""

import os
from pathlib import Path

import pytest
from running import replace_in
from simulate import Plan, simulate

from pipeline import run_job

pytestmark = pytest.mark.skipif(os.name != "posix", reason="rights of a folder are those of POSIX")


def test_who_is_shut_out_of_current_is_told_of(tmp_path: Path) -> None:
    path = simulate(Plan(sessions=1, points=6, noise=False)).write(tmp_path)
    told = []
    before = os.umask(0o022)
    try:
        for umask, code in ((0o022, "ROAD-EDGE"), (0o022, "A"), (0o077, "B"), (0o077, "C"), (0o022, "D"), (0o027, "E")):
            os.umask(umask)
            old = (tmp_path / "rover001.csv").read_text(encoding="utf-8").split("\n")[2].split(",")[-2]
            replace_in(tmp_path / "rover001.csv", {f",{old},": f",{code},"})
            outcome = run_job(path)
            assert outcome.issued
            told.append(" ".join(note for note in outcome.new_notes() if "shut out" in note))
            assert not any("shut out" in note for note in outcome.record["notes"])
    finally:
        os.umask(before)
    assert [bool(one) for one in told] == [False, False, True, False, False, True]
    assert "issue 003 now, whose folder is drwx------; that of issue 002 is drwxr-xr-x" in told[2]
    # that is a matter of the run, not of the job
    assert run_job(path).new_notes() == []
