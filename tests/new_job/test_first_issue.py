"""A folder as somebody brings it, `new`, the answers to what is marked, `run`: the issue is the truth."""

import csv
import shutil
from pathlib import Path

import numpy as np
import pytest
from answered import answer
from folders_made import FOLDERS, NAMELESS, make
from issued import current_issue
from running import replace_in

from pipeline import run_job
from pipeline.new_job import new_job

SAMPLES = Path(__file__).resolve().parents[2] / "sample_data"

#: Metres: positions are printed with 0.1 mm or better, and nothing else is between the exports and the truth.
EXACT = 0.001


@pytest.mark.parametrize("name", FOLDERS)
def test_an_odd_folder_comes_to_the_right_issue_with_no_more_than_the_marked_answers(name: str, tmp_path: Path) -> None:
    job, answers = make(name, tmp_path)
    started = new_job(tmp_path)
    # where no file tells the place, no height datum is known to be in use there
    answer(Path(started.path), answers, own={"height"} if NAMELESS.items() <= answers.items() else ())
    outcome = run_job(started.path)
    issue = current_issue(tmp_path / "out")
    points = issue.points.rows
    assert len(points) == 24 and outcome.record["verdict"] == "proven"
    known = np.array([job.truth.of(row["name"]) for row in points])
    assert np.abs(issue.points.xyz() - known).max() < EXACT


def truth(path: Path) -> dict[str, tuple[float, float, float]]:
    with path.open(encoding="utf-8") as file:
        return {
            row["name"]: (float(row["easting"]), float(row["northing"]), float(row["height"]))
            for row in csv.DictReader(file)
        }


#: What no file says of the solar farm and its surveyor knows: what rover 2's controller applied, and since when.
APPLIED = (
    'base = "BASE-A"\nties = [{ point = "CM2-0303-1325"',
    'field_shift = { from = 2026-03-03T00:15:00Z, tie = "CM1-0303-1312", mark = "CM1" }\n',
)


def issued(
    folder: Path,
    answers: dict[str, str],
    known: dict[str, tuple[float, float, float]],
    added: tuple[str, str] = ("", ""),
) -> tuple[int, float]:
    """Start, answer and run a job; return its exit code and the median distance of its points from the truth.

    ``added`` are lines that somebody writes into it by hand, the second above the first.
    """
    started = new_job(folder)
    answer(Path(started.path), answers)
    if added[0]:
        replace_in(Path(started.path), {added[0]: added[1] + added[0]})
    outcome = run_job(started.path)
    issue = current_issue(folder / "out")
    off = issue.points.xyz() - np.array([known[row["name"]] for row in issue.points.rows])
    return outcome.exit_code, float(np.median(np.abs(off)))


def test_the_solar_farm_is_proven_with_two_answers_and_what_the_controller_applied(tmp_path: Path) -> None:
    """Noise of 8 mm in each direction and 15 mm in height (sample_data/README.md): half are within 0.67 of that."""
    for part in ("rover", "geoid"):
        shutil.copytree(SAMPLES / part, tmp_path / part)
    shutil.copy(SAMPLES / "control.csv", tmp_path)
    answers = {"height": '"EPSG:5773"', "time_zone": '"Pacific/Auckland"'}
    code, off = issued(tmp_path, answers, truth(SAMPLES / "truth.csv"), APPLIED)
    assert code == 0 and off < 0.010


def test_the_mistyped_mark_fails_as_it_should(tmp_path: Path) -> None:
    for part in ("rover", "geoid"):
        shutil.copytree(SAMPLES / part, tmp_path / part)
    shutil.copy(SAMPLES / "control-mistyped.csv", tmp_path)
    answers = {"height": '"EPSG:5773"', "time_zone": '"Pacific/Auckland"'}
    code, off = issued(tmp_path, answers, truth(SAMPLES / "truth.csv"), APPLIED)
    record = current_issue(tmp_path / "out").record
    assert code == 3 and off < 0.010
    assert [row["point"] for row in record["checks"] if row["passed"] is False] == ["CM3-0303-1441"]


def test_the_canal_is_right_in_the_grid_and_datums_that_are_answered(tmp_path: Path) -> None:
    """Its register is in another datum, and nobody has confirmed the step, good to 0.2 m: nothing counts as proven."""
    folder = tmp_path / "canal"
    shutil.copytree(SAMPLES / "canal", folder)
    shutil.copytree(SAMPLES / "geoid", folder / "geoid")
    answers = {
        "grid": '"EPSG:9489"', "height": '"EPSG:5714"', "source.crs": '"EPSG:9489"', "control.crs": '"EPSG:4898"'
    }  # fmt: skip
    code, off = issued(folder, answers, truth(SAMPLES / "canal" / "truth.csv"))
    assert code == 3 and off < 0.010
