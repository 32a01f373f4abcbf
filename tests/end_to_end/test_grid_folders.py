"""Whole runs with PROJ's and GDAL's variables set as people set them: grids are found there, and nothing breaks.

Three copies of PROJ live in a run (pyproj's, and those of the GDAL that writes and of the one that reads back). Every
run is a process of its own, because each reads its environment when it is loaded.
"""

import os
import shutil
import socket
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from issued import current_issue, off_truth
from simulate import CANTERBURY, Plan, Simulation, simulate

GEOID = CANTERBURY.geoid
assert GEOID is not None
#: The name that PROJ's database gives the EGM96 grid, and the older one that PROJ takes for it.
TIF, OLDER = "us_nga_egm96_15.tif", "egm96_15.gtx"
VARIABLES = ("PROJ_DATA", "PROJ_LIB", "PROJ_NETWORK", "GDAL_DATA")


def tiedown(*words: object, cwd: Path, **variables: str) -> subprocess.CompletedProcess[str]:
    clean = {name: value for name, value in os.environ.items() if name not in VARIABLES}
    home = {"PROJ_USER_WRITABLE_DIRECTORY": str(cwd / "nobody's"), "PROJ_NETWORK": "OFF"}
    command = [sys.executable, "-m", "pipeline.cli.main", *map(str, words)]
    return subprocess.run(command, capture_output=True, text=True, check=False, cwd=cwd, env=clean | home | variables)


@pytest.fixture
def job(tmp_path: Path) -> tuple[Simulation, Path]:
    """A job whose heights need the EGM96 grid, which it does not name."""
    made = simulate(Plan(sessions=1, points=5, noise=False))
    del made.job["target"]["geoid"]
    return made, made.write(tmp_path / "job")


@pytest.fixture
def grids(tmp_path: Path) -> Path:
    """A folder of grids with nothing else in it, as a user keeps one."""
    folder = tmp_path / "grids of ñ (2026)"
    folder.mkdir()
    shutil.copy(str(GEOID), folder / OLDER)
    return folder


def assert_true(made: Simulation, path: Path) -> dict[str, Any]:
    issue = current_issue(path.parent / "out")
    assert abs(off_truth(issue.points.rows, made.truth)).max() < 1e-3
    return issue.record


def test_a_named_folder_of_grids_serves_a_whole_run(job: tuple[Simulation, Path], grids: Path) -> None:
    made, path = job
    made.job["issue"] = {"formats": ["gpkg", "dxf", "csv", "geojson", "landxml"], "by_code": True}
    path = made.write(path.parent)
    for words in (("run", path), ("trace", path, made.truth.names[0])):
        done = tiedown(*words, cwd=path.parent, PROJ_DATA=str(grids))
        assert done.returncode == 0, done.stderr
    (step,) = [one for one in assert_true(made, path)["operations"] if one["step"] == "computation to grid"]
    assert [one["name"] for one in step["grids"]] == [OLDER]


def test_the_real_grid_from_its_folder(job: tuple[Simulation, Path], grids_folder: Path) -> None:
    """The grid under PROJ's own name; that of the sample data was cut from the same model."""
    made, path = job
    done = tiedown("run", path, cwd=path.parent, PROJ_DATA=str(grids_folder))
    assert done.returncode == 0, done.stderr
    (step,) = [one for one in assert_true(made, path)["operations"] if one["step"] == "computation to grid"]
    assert [one["name"] for one in step["grids"]] == [TIF]


def test_whatever_else_the_environment_says_does_no_harm(
    job: tuple[Simulation, Path], grids: Path, knocks: tuple[str, list[object]], tmp_path: Path
) -> None:
    """Folders that are gone, a database and GDAL data of other installations, and a network that is switched on."""
    made, path = job
    (grids / "proj.db").write_bytes(b"another PROJ's")
    endpoint, came = knocks
    done = tiedown(
        "run",
        path,
        cwd=path.parent,
        PROJ_DATA=os.pathsep.join(["/gone", "../job/job.toml", f"../{grids.name}/", "/none\udcff", ""]),
        PROJ_USER_WRITABLE_DIRECTORY=str(grids),
        GDAL_DATA="/gone",
        PROJ_NETWORK="ON",
        PROJ_NETWORK_ENDPOINT=endpoint,
    )
    assert done.returncode == 0, done.stderr
    assert_true(made, path)
    assert not came


def test_a_missing_grid_tells_which_folders_cannot_be_searched(
    job: tuple[Simulation, Path], knocks: tuple[str, list[object]], tmp_path: Path
) -> None:
    """And is not fetched."""
    _, path = job
    folders = [str(tmp_path / "gone"), str(path)]
    endpoint, came = knocks
    done = tiedown(
        "check",
        path,
        cwd=path.parent,
        PROJ_DATA=os.pathsep.join(folders),
        PROJ_NETWORK="ON",
        PROJ_NETWORK_ENDPOINT=endpoint,
    )
    assert done.returncode == 2
    assert TIF in done.stderr
    assert f"{folders[0]} of PROJ_DATA is not there" in done.stderr
    assert f"{folders[1]} of PROJ_DATA is a file" in done.stderr
    assert not came


@pytest.fixture
def knocks() -> Iterator[tuple[str, list[object]]]:
    """The address of a server on this machine, and those who came."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        came: list[object] = []

        def listen() -> None:
            with suppress(OSError):
                while True:
                    came.append(server.accept())

        threading.Thread(target=listen, daemon=True).start()
        yield f"http://127.0.0.1:{server.getsockname()[1]}", came


def test_a_program_that_loaded_fiona_first(job: tuple[Simulation, Path], grids: Path) -> None:
    """fiona took the folder of grids for its database when it was loaded; a run in that process stands all the same."""
    made, path = job
    code = f"""
import fiona, os
from pipeline import run_job
print(run_job({str(path)!r}).exit_code, os.environ["PROJ_DATA"] == {str(grids)!r})
"""
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, env=os.environ | {"PROJ_DATA": str(grids)}
    )
    assert done.stdout.split() == ["0", "True"], done.stderr
    assert_true(made, path)
