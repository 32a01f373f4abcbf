"""Nothing is lost: whole runs killed, starved, refused and crowded. `kills.py` beside it does more of it, by hand."""

import shutil
from pathlib import Path

import pytest
from kill_runs import Bench, crowd, hold_open, kills, refuse, starve


@pytest.fixture(scope="module")
def issued(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of a small job with one issue."""
    bench = Bench(tmp_path_factory.mktemp("issued") / "job", points=200)
    assert bench.run()[0] == 0
    bench.tidy()
    return bench.place


@pytest.fixture
def bench(issued: Path, tmp_path: Path) -> Bench:
    """A small job with one issue."""
    shutil.copytree(issued, tmp_path / "job", symlinks=True)
    return Bench(tmp_path / "job", points=200)


def test_killed_at_seeded_moments_every_issue_stands_and_the_next_run_succeeds(tmp_path: Path) -> None:
    """Twice by the clock and twice by requests; `kills.py` does hundreds."""
    counts = kills(tmp_path, times=4, seed=20260302, points=200)
    assert counts["killed"] >= 2, counts


def test_on_a_full_disk_it_is_said_and_the_issue_before_stands(bench: Bench) -> None:
    """Too small for the GeoPackage, and for all but its last page."""
    package = next((bench.folder / "current").glob("*.gpkg")).stat().st_size
    starve(bench, [package // 2, package - 4096])


def test_a_full_disk_at_the_first_issue_leaves_a_folder_that_a_run_can_use(tmp_path: Path) -> None:
    starve(Bench(tmp_path / "job", points=200), [4096])


@pytest.mark.parametrize("part", ["", "issues"])
def test_a_folder_that_may_not_be_written_is_said(bench: Bench, part: str) -> None:
    if not refuse(bench, part):
        pytest.skip("no user without rights can be taken on here")


@pytest.mark.parametrize("how", ["plain", "log"])
def test_a_viewer_with_the_issue_before_open_hinders_nothing(bench: Bench, how: str) -> None:
    hold_open(bench, how)


def test_of_four_runs_at_once_one_issues(tmp_path: Path) -> None:
    """In a folder that is not there yet, where it takes longest until one of them holds it."""
    crowd(Bench(tmp_path / "job", points=200), 4)
