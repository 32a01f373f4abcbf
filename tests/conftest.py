"""Fixtures that several rooms share."""

import gc
import multiprocessing
import os
import sys
from collections.abc import Iterator
from multiprocessing import forkserver
from pathlib import Path

import pyproj
import pytest
from hypothesis import settings

# The same examples on every run, and no limit on their time: machines are shared and noisy.
settings.register_profile("house", deadline=None, derandomize=True)
settings.load_profile("house")

# The tests share the cores among themselves: threads of linear algebra that wait on one another for matrices of a few
# rows would take several times the processor time. Set before numpy is loaded, and for every process started from here.
for _threads in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_threads, "1")

# Every command that the tests start would recompile the whole house where Python is told to keep no compiled files,
# and every worker all tests.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# The tree under test is the one that the tests lie in, also for processes that are started from here in other folders:
# another checkout may be installed.
_ROOT = str(Path(__file__).resolve().parents[1])
os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, (_ROOT, os.environ.get("PYTHONPATH"))))

# Processes that the tests fork come from one that has done a job: its first is five times as dear as the next.
multiprocessing.set_forkserver_preload(["warmed"])
_SEARCH = [str(Path(__file__).resolve().parents[1] / part) for part in ("tests/support", "sample_data", "")]

_GRIDS = Path(__file__).resolve().parents[2] / "shared" / "grids"


def pytest_xdist_auto_num_workers() -> int:
    """Return how many processes share the tests: one more than there are cores, since some tests wait."""
    return 1 + (len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1)


def pytest_collection_finish() -> None:
    """Let the collector of garbage pass over what is loaded by now, and over thousands of tests, for good."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session", autouse=True)
def _without_waiting_for_the_disk() -> Iterator[None]:
    """What is written here need not outlive a power cut; a thousand small jobs would wait fourteen times each."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(os, "fsync", os.fstat)  # as strict about what it is given
        yield


@pytest.fixture(scope="session", autouse=True)
def _forks_find_the_support() -> Iterator[None]:
    """The process that is forked from begins where Python begins, and not with the modules of this one."""
    begin = forkserver.ForkServer.ensure_running

    def ensure_running(server: forkserver.ForkServer) -> None:
        with pytest.MonkeyPatch.context() as patch:
            patch.setenv("PYTHONPATH", os.pathsep.join(_SEARCH))
            begin(server)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(forkserver.ForkServer, "ensure_running", ensure_running)
        yield


@pytest.fixture
def grids_folder() -> Path:
    """The folder of real geoid grids beside the checkout; a test that needs one skips where it is absent."""
    if not _GRIDS.is_dir():
        pytest.skip("the real geoid grids are not beside this checkout (../shared/grids)")
    return _GRIDS


@pytest.fixture
def real_grids(grids_folder: Path) -> Iterator[Path]:
    """The same folder, on PROJ's search path for the length of one test."""
    before = pyproj.datadir.get_data_dir()
    pyproj.datadir.append_data_dir(str(grids_folder))
    yield grids_folder
    pyproj.datadir.set_data_dir(before)
