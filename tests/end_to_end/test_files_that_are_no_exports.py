"""Files that a pattern of `[[points]]` catches and that hold no readings: told, with the file and what to do."""

import shutil
from pathlib import Path

import pytest
from base_logged import SMALL
from issued import current_issue
from running import replace_in
from simulate import Simulation, simulate

from pipeline import run_job
from pipeline.problems import JobError

#: What is read of a reading, so that other files with these columns can be caught.
LEAST = '{ name = "Point", time = "Observed", latitude = "Lat", longitude = "Lon", height = "EllHt" }'
HEADINGS = "Point,Observed,Lon,Lat,EllHt"


def job_that_catches_all(folder: Path) -> tuple[Simulation, Path]:
    job = simulate(SMALL)
    path = job.write(folder)
    columns = next(line for line in path.read_text(encoding="utf-8").splitlines() if line.startswith("columns"))
    replace_in(path, {"rover*.csv": "*.csv", columns: f"columns = {LEAST}"})
    return job, path


def keep_register_elsewhere(path: Path) -> None:
    (path.parent / "control").mkdir()
    (path.parent / "register.csv").rename(path.parent / "control" / "register.csv")
    replace_in(path, {'file = "register.csv"': 'file = "control/register.csv"'})


def refused(path: Path) -> str:
    with pytest.raises(JobError) as raised:
        run_job(path)
    return "\n".join(f"{one.file}:{one.line}: {one.what} -> {one.fix}" for one in raised.value.problems)


def test_the_register_among_the_exports_is_refused_as_the_register(tmp_path: Path) -> None:
    _, path = job_that_catches_all(tmp_path)
    told = refused(path)
    assert "register.csv is the register" in told and "no column" not in told


def test_a_register_that_has_the_columns_of_readings_too_is_refused(tmp_path: Path) -> None:
    _, path = job_that_catches_all(tmp_path)
    register = tmp_path / "register.csv"
    head, *rows = register.read_text(encoding="utf-8").splitlines()
    place = "CM1,2026-03-02T21:00:00Z,171.8,-43.7,300.0"
    lines = [f"{head},{HEADINGS}", *(f"{row},{place}" for row in rows)]
    register.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert "register.csv is the register" in refused(path)


def test_points_of_an_issue_among_the_exports_are_refused_whatever_columns_are_mapped(tmp_path: Path) -> None:
    _, path = job_that_catches_all(tmp_path)
    keep_register_elsewhere(path)
    replace_in(path, {"[[points]]": '[issue]\nformats = ["csv"]\n\n[[points]]'})
    run_job(path)
    issued = next((tmp_path / "out" / "issues" / "001").glob("*-001.csv"))
    shutil.copy(issued, tmp_path / "points.csv")
    assert "points.csv:1: it is of an issue, not raw readings" in refused(path)
    head, rest = (tmp_path / "points.csv").read_text(encoding="utf-8").split("\n", 1)
    for old, new in (("name", "Point"), ("observed", "Observed"), ("longitude", "Lon"), ("latitude", "Lat")):
        head = head.replace(f",{old},", f",{new},") if old != "name" else head.replace("name,", f"{new},", 1)
    head = head.replace(",ellipsoid_height,", ",EllHt,")
    (tmp_path / "points.csv").write_text(f"{head}\n{rest}", encoding="utf-8")
    assert "points.csv:1: it is of an issue, not raw readings" in refused(path)


def test_a_log_of_bases_among_the_exports_is_told(tmp_path: Path) -> None:
    job, path = job_that_catches_all(tmp_path)
    keep_register_elsewhere(path)
    place = job.broadcast
    rows = [
        f"{one['base']},{one['start']:%Y-%m-%dT%H:%M:%S}Z,{place.longitude[at]:.9f},{place.latitude[at]:.9f},"
        f"{place.ellipsoid_height[at]:.4f}"
        for at, one in enumerate(job.job["session"])
    ]
    (tmp_path / "setups.csv").write_text("\n".join([HEADINGS, *rows]) + "\n", encoding="utf-8")
    run_job(path)
    notes = [note for note in current_issue(tmp_path / "out").record["notes"] if "log of bases" in note]
    assert len(notes) == 1 and notes[0].startswith(
        "setups.csv: its 2 readings are named as bases are (BASE-01, BASE-02)"
    )


@pytest.mark.parametrize("named", ["rover", "marks"])
def test_readings_beside_bases_are_not_taken_for_a_log_of_bases(named: str, tmp_path: Path) -> None:
    """A base's own peg is shot, among points; and marks that bases stood on are occupied under their names."""
    job, path = job_that_catches_all(tmp_path)
    keep_register_elsewhere(path)
    export = tmp_path / "rover001.csv"
    text = export.read_text(encoding="utf-8")
    if named == "rover":
        export.write_text(text.replace("S01-00001", "BASE-01"), encoding="utf-8")
    else:
        replace_in(path, {'base = "BASE-01"': 'base = "CM1"', 'base = "BASE-02"': 'base = "CM2"'})
        head, *rows = text.splitlines()
        (tmp_path / "second.csv").write_text(
            "\n".join([head, *(row.replace("S01-C1", "CM2") for row in rows if row.startswith("S01-C1"))]) + "\n",
            encoding="utf-8",
        )
    run_job(path)
    assert not [note for note in current_issue(tmp_path / "out").record["notes"] if "log of bases" in note]
    assert job.rows["name"][0]
