"""Two registers of the same marks, one with heights above the ellipsoid and one above a datum: which one is asked."""

from pathlib import Path

import numpy as np
import pytest
from folders_made import cells, job_of, lay, write

from pipeline.new_job import new_job
from pipeline.new_job.start import Started

EXPORT = {"name": "Point", "time": "Time UTC", "latitude": "Lat", "longitude": "Lon", "height": "Ell Ht"}


def _laid(folder: Path, registers: dict[str, dict[str, str]], *, only: int | None = None) -> Started:
    """Lay a folder whose registers each have columns with headings, of heights h, H or none ("")."""
    job = job_of()
    lay(folder, job)
    (folder / "control.csv").unlink()
    marks = [str(mark) for mark in job.register["mark"]]
    heights = {"h": job.marks.ellipsoid_height, "H": job.register["height"]}
    for name, heads in registers.items():
        lines = [",".join(["Mark", "Easting", "Northing", *heads])]
        for at, mark in enumerate(marks[:only]):
            values = [f"{np.asarray(heights[of])[at]:.4f}" if of else "" for of in heads.values()]
            plan = [f"{job.register[axis][at]:.4f}" for axis in ("easting", "northing")]
            lines.append(",".join([mark, *plan, *values]))
        (folder / name).write_text("\n".join(lines) + "\n", encoding="utf-8")
    write(folder / "rover.csv", job, {**EXPORT, "code": "Code"}, time="%Y-%m-%d %H:%M:%S.%f")
    assert cells(job, "name", str)
    return new_job(folder)


def _asked(started: Started) -> list[str]:
    return [one.question.asks for one in started.asked if one.question.key == "control.file"]


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Ellipsoidal height", "Height"),
        ("Ellipsoidal height", "Orthometric height"),
        ("Ell Ht", "RL"),
        ("h_ell", "H_orth"),
        ("Höhe ell.", "Höhe NHN"),
        ("Height", "Height"),
    ],
)
@pytest.mark.parametrize("first", [True, False])
def test_which_heights_count_is_asked(tmp_path: Path, one: str, other: str, first: bool) -> None:
    names = ("a.csv", "b.csv") if first else ("b.csv", "a.csv")
    (asks,) = _asked(_laid(tmp_path, {names[0]: {one: "h"}, names[1]: {other: "H"}}))
    assert "which of these is the register" in asks
    assert "different heights" in asks


@pytest.mark.parametrize(
    ("registers", "taken"),
    [
        ({"a.csv": {"Height": "H"}, "b.csv": {}}, "a.csv"),
        ({"a.csv": {"Height": ""}, "b.csv": {"Ellipsoidal height": "h"}}, "b.csv"),
        ({"a.csv": {"Height": "H"}, "b.csv": {"Height": "H"}}, "a.csv"),
        ({"a.csv": {"Ellipsoidal height": "h", "Height": "H"}, "b.csv": {"Ellipsoidal height": "h"}}, "a.csv"),
        ({"a.csv": {"Ellipsoidal height": "h", "Height": "H"}, "b.csv": {"Orthometric height": "H"}}, "a.csv"),
    ],
)
def test_a_register_that_says_all_of_another_is_taken(
    tmp_path: Path, registers: dict[str, dict[str, str]], taken: str
) -> None:
    started = _laid(tmp_path, registers)
    assert _asked(started) == []
    assert f'file = "{taken}"' in Path(started.path).read_text(encoding="utf-8")
