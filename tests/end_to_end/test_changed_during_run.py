"""Inputs that somebody writes to while a job runs: nothing is issued, and the file is named.

A change is made when the run says that it has come to its second pass; where the old bytes are put back, that is before
the run ends.
"""

import os
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from issued import everything_below
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.problems import JobError
from pipeline.read import exports

PLAN = Plan(sessions=1, points=400, noise=False)
DEMO = Path(__file__).resolve().parents[2]


def refused(path: Path, named: str, change: Callable[[], object], stage: str = "correcting") -> None:
    """Run a job, make the change once at this stage, and see that nothing is issued."""
    made = []

    def progress(at: str, done: int, total: int) -> None:
        if at == stage and not made:
            made.append(change())

    with pytest.raises(JobError) as caught:
        run_job(path, progress=progress)
    assert made, "the change was not made"
    assert [problem.file for problem in caught.value.problems] == [named]
    assert "changed" in caught.value.problems[0].what
    issues = path.parent / "out" / "issues"
    assert not issues.exists() or not list(issues.iterdir())


def rewritten(path: Path, old: str, new: str) -> Callable[[], object]:
    def change() -> None:
        text = path.read_text()
        assert old in text
        path.write_text(text.replace(old, new, 1))

    return change


@pytest.mark.parametrize("form", ["csv", "geojson", "gpkg"])
@pytest.mark.parametrize("stage", ["reading", "correcting"])
def test_an_export_is_written_to(tmp_path: Path, form: str, stage: str) -> None:
    path = simulate(PLAN).write(tmp_path, form)
    (export,) = tmp_path.glob("rover*")

    def change() -> None:
        if form == "gpkg":
            with sqlite3.connect(export) as file:
                file.execute("PRAGMA user_version = 10301")
        else:
            with export.open("r+b") as file:
                file.seek(-3, os.SEEK_END)
                file.write(b"   ")

    refused(path, export.name, change, stage)


@pytest.mark.parametrize("stage", ["reading", "correcting"])
def test_a_large_text_is_written_to(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stage: str) -> None:
    """Its rows are kept from the first pass, so that the second does not see it; the run does."""
    monkeypatch.setattr(exports, "MUCH", 1)
    path = simulate(PLAN).write(tmp_path)

    def change() -> None:
        with (tmp_path / "rover001.csv").open("a") as file:
            file.write("X,2026-03-02T03:45:00Z,-43.7,171.8,300,0.003,0.003,0.007,fix,P,BASE-01\n")

    refused(path, "rover001.csv", change, stage)


@pytest.mark.parametrize("form", ["csv", "geojson"])
def test_a_text_is_altered_between_the_passes_and_put_back(tmp_path: Path, form: str) -> None:
    """The sum of the file is right before and after; what the second pass read is not what has that sum."""
    path = simulate(PLAN).write(tmp_path, form)
    (export,) = tmp_path.glob("rover*")
    before = export.read_bytes()
    at = export.stat()
    seen = []

    def progress(stage: str, done: int, total: int) -> None:
        if stage == "reading" and not seen:
            seen.append(stage)
            export.write_bytes(before.replace(b"0.008", b"0.009"))
            assert export.read_bytes() != before
        elif stage == "correcting" and len(seen) == 1:
            seen.append(stage)
            export.write_bytes(before)
            os.utime(export, ns=(at.st_atime_ns, at.st_mtime_ns))

    with pytest.raises(JobError, match="changed while it was being read"):
        run_job(path, progress=progress)
    assert len(seen) >= 1


def test_a_geopackage_is_replaced_and_put_back(tmp_path: Path) -> None:
    path = simulate(PLAN).write(tmp_path, "gpkg")
    (export,) = tmp_path.glob("rover*")
    shutil.copy2(export, tmp_path / "kept")

    def change() -> None:
        with sqlite3.connect(export) as file:
            file.execute("PRAGMA user_version = 10301")
        shutil.copy2(tmp_path / "kept", export)  # bytes and time of change as they were

    refused(path, export.name, change)


@pytest.mark.parametrize("name", ["register.csv", "sessions.csv", "job.toml"])
def test_a_table_or_the_job_file_is_written_to(tmp_path: Path, name: str) -> None:
    path = simulate(PLAN).write(tmp_path, session_file=True)
    with pytest.raises(JobError) as caught:
        run_job(path, progress=lambda *_: (tmp_path / name).write_text((tmp_path / name).read_text() + "\n"))
    assert [Path(problem.file).name for problem in caught.value.problems] == [name]


def test_the_sum_of_the_sessions_table_is_recorded(tmp_path: Path) -> None:
    import hashlib

    path = simulate(PLAN).write(tmp_path, session_file=True)
    inputs = {entry["path"]: entry for entry in run_job(path, dry_run=True).record["inputs"]}
    assert inputs["sessions.csv"] == {
        "path": "sessions.csv",
        "rows": 1,
        "sha256": hashlib.sha256((tmp_path / "sessions.csv").read_bytes()).hexdigest(),
    }


@pytest.fixture
def demo(tmp_path: Path) -> tuple[Path, Path]:
    """The sample job, which names a geoid; its file and the geoid's."""
    for folder in ("configs", "sample_data"):
        shutil.copytree(DEMO / folder, tmp_path / folder)
    return tmp_path / "configs" / "demo.toml", tmp_path / "sample_data" / "geoid" / "egm96_canterbury.gtx"


@pytest.mark.parametrize("put_back", [False, True])
@pytest.mark.parametrize("in_place", [False, True])
def test_the_geoid_is_replaced(demo: tuple[Path, Path], put_back: bool, in_place: bool) -> None:
    """By one whose heights are 0.5 m off: the issue would bear the sum of the other."""
    path, geoid = demo
    shutil.copy2(geoid, geoid.with_name("kept"))
    data = geoid.read_bytes()
    shifted = np.frombuffer(data[40:], ">f4") + np.float32(0.5)  # a GTX header has 40 bytes, then big-endian floats

    def change() -> None:
        if in_place:
            geoid.write_bytes(data[:40] + shifted.astype(">f4").tobytes())
        else:
            geoid.with_name("new").write_bytes(data[:40] + shifted.astype(">f4").tobytes())
            geoid.with_name("new").replace(geoid)
        if put_back:
            shutil.copy2(geoid.with_name("kept"), geoid)

    made = []
    with pytest.raises(JobError) as caught:
        run_job(path, progress=lambda stage, *_: made or stage != "correcting" or made.append(change()))
    assert made
    assert [problem.file for problem in caught.value.problems] == [f"grid file {geoid.name}"]
    out = path.parent.parent / "out"
    assert not [name for name in everything_below(out) if name.endswith("issue.json")]


def test_a_file_that_is_touched_only_changes_nothing(tmp_path: Path) -> None:
    path = simulate(PLAN).write(tmp_path)
    (export,) = tmp_path.glob("rover*")
    assert run_job(path, progress=lambda *_: os.utime(export)).exit_code == 0
