"""Every odd file of ``tests/odd_files``, alone in a folder with its register, comes to the right issue.

Raw positions and register are `odd_files.truth` and its marks, without noise: the truth of a point is its raw position
and what the marks differ by, one geocentric vector over 300 m, which bends by less than half a millimetre there
(1.25 mm for a kilometre and 8 m of height: geometry).
"""

import csv
import shutil
from pathlib import Path

import numpy as np
import odd_files
import pytest
from answered import answer
from issued import current_issue

from pipeline import run_job
from pipeline.new_job import new_job

#: Which of its sheets is meant stands in no file; it is told, and no export.
SEVERAL_SHEETS = "two_sheets.xlsx"

#: What nobody can know from the files.
ANSWERS = {
    "units": '"us-survey-foot"',
    "pole_height": '"Pole"',
    "target.grid": '"EPSG:2193"',
}


def answers_to(name: str, asked: list[str]) -> dict[str, str]:
    keys = {"time_zone": "UTC", **odd_files.ODD[name].keys}
    found = {key: ANSWERS[key] if key in ANSWERS else f'"{keys[key]}"' for key in asked}
    grid = dict.fromkeys(("control.crs", "source.crs"), ANSWERS["target.grid"])
    return found | (grid if "target.grid" in asked else {})


@pytest.mark.parametrize("name", [name for name in odd_files.ODD if name != SEVERAL_SHEETS])
def test_an_odd_file_comes_to_the_right_issue(name: str, tmp_path: Path) -> None:
    shutil.copy(odd_files.FOLDER / name, tmp_path)
    shutil.copy(odd_files.FOLDER / "register.csv", tmp_path)
    started = new_job(tmp_path)
    answer(Path(started.path), answers_to(name, [one.question.key for one in started.asked]))
    outcome = run_job(started.path)
    points = current_issue(tmp_path / "out").points
    assert outcome.record["verdict"] == "proven" and len(points.rows) == 5
    assert np.abs(points.xyz() - np.array([truth()[row["name"]] for row in points.rows])).max() < 0.002


def truth() -> dict[str, "np.ndarray[tuple[int], np.dtype[np.float64]]"]:
    def place(row: dict[str, str], height: str) -> "np.ndarray[tuple[int], np.dtype[np.float64]]":
        return np.array([row["easting"], row["northing"], row[height]], float)

    with (odd_files.FOLDER / "register.csv").open(encoding="utf-8") as file:
        marks = {row["mark"]: place(row, "ellipsoid_height") for row in csv.DictReader(file)}
    raw = {row["name"]: place(row, "height") for row in odd_files.truth()}
    return {name: at + marks["CM1"] - raw["CM1-AM"] for name, at in raw.items()}
