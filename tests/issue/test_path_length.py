"""A folder that lies too deep for GeoPackages is refused before anything is computed, in a check too.

SQLite (os_unix.c, MAX_PATHNAME) opens no path of more than 512 bytes, of which it keeps 8 for "-journal".
"""

import os
from pathlib import Path

import pytest
from simulate import Plan, simulate

from pipeline import run_job
from pipeline.check import check_job
from pipeline.issue.folder.path_length import path_too_long
from pipeline.problems import JobError

#: The bytes of a path beside those of the job's folder: "/.staging-1234567-01234567/simulated-001.gpkg".
BESIDE = 1 + 25 + 1 + 18

pytestmark = pytest.mark.skipif(os.name != "posix", reason="elsewhere paths have other limits")


def deep(top: Path, length: int, sign: str = "d") -> Path:
    """Return a folder, made below another, such that "out" in it has a path of so many bytes."""
    folder, step = top, len(os.fsencode(sign))
    while (rest := length - len("/out") - len(os.fsencode(folder))) > 0:
        name = rest - 1 if rest < 100 else 60
        folder = folder / (sign * (name // step) + "x" * (name % step))
    folder.mkdir(parents=True)
    return folder


def test_the_longest_that_sqlite_opens_is_issued(tmp_path: Path) -> None:
    job = simulate(Plan(sessions=1, points=6, noise=False))
    assert run_job(job.write(deep(tmp_path, 504 - BESIDE))).issued


@pytest.mark.parametrize("sign", ["d", "š", "測"])
def test_one_byte_more_is_told_with_the_key(sign: str, tmp_path: Path) -> None:
    """Bytes count, not signs."""
    path = simulate(Plan(sessions=1, points=6, noise=False)).write(deep(tmp_path, 505 - BESIDE, sign))
    for refuse in (run_job, check_job):
        with pytest.raises(JobError) as error:
            refuse(path)
        (problem,) = error.value.problems
        assert Path(problem.file) == path and problem.line > 0
        assert f"too long for a GeoPackage in it: {505 - BESIDE} bytes" in problem.what and "1 fewer" in problem.what
        assert ("signs" in problem.what) == (sign != "d") and "[job] folder" in problem.fix
    assert not (path.parent / "out").exists()


def test_a_usual_folder_is_not() -> None:
    assert path_too_long(Path("/srv/jobs/2026/north drain/out"), "north-drain") is None
