"""What a spreadsheet did to one column of a grid is told of a job in feet, of either kind, as of the same in metres.

The grids are those of one zone of the State Plane Coordinate System of 1983 in the registry: Illinois East in metres
and in US survey feet, and the same zone with the foot of 0.3048 m as a CRS of the office's own.
"""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyproj
import pytest
from closed_forms import GRS80
from feet import FEET, FOOT, GEOGRAPHIC, METRES, NAVD88, SURVEY, ZONE, geoid, raw_grid, with_grid_columns, with_source
from numpy.typing import NDArray
from running import run_written
from simulate import Place, Plan, Simulation, simulate

from pipeline import run_job

Grid = NDArray[np.float64]
ROWS = 60


def in_feet() -> str:
    """The zone in the foot of 0.3048 m."""
    about = pyproj.CRS(METRES).to_json_dict()
    for axis in about["coordinate_system"]["axis"]:
        axis["unit"] = {"type": "LinearUnit", "name": "foot", "conversion_factor": FOOT}
    about.pop("id", None)
    about["name"] = "Illinois East in feet"
    return json.dumps(about)


UNITS = {"metre": (METRES, 1.0), "us-survey-foot": (FEET, SURVEY), "foot": (in_feet(), FOOT)}


def day(folder: Path) -> Simulation:
    at = geoid(folder / "geoid")
    place = Place(-88.2, 40.1, 210.0, GRS80, ZONE, METRES, GEOGRAPHIC, NAVD88, at)
    return simulate(Plan(sessions=1, points=ROWS, ties=1, checks=2, marks=3, noise=True, place=place, seed=3))


def written(folder: Path, unit: str, change: Callable[[Grid], None], decimals: int = 3) -> Path:
    """Write the day with eastings, northings and heights in a unit, to so many decimals of it."""
    job = day(folder)
    values = raw_grid(job)
    change(values)
    crs, metres = UNITS[unit]
    path = job.write(folder)
    with_grid_columns(path, np.round(values / metres, decimals), metres)
    with_source(path, crs, unit)
    return path


def pasted(axis: int) -> Callable[[Grid], None]:
    def change(values: Grid) -> None:
        values[30:36, axis] = values[10:16, axis]

    return change


def copied_down(axis: int) -> Callable[[Grid], None]:
    def change(values: Grid) -> None:
        values[20:30, axis] = values[20, axis]

    return change


def sorted_alone(axis: int) -> Callable[[Grid], None]:
    def change(values: Grid) -> None:
        values[10:60, axis] = np.sort(values[10:60, axis])

    return change


def nothing(values: Grid) -> None:
    """An honest day."""


def told(path: Path) -> list[str]:
    """Return what a run says of rows one after another, without what it measures them by."""
    record = run_job(path, dry_run=True).record
    said = [*record["notes"], *(doubt["what"] for doubt in record["doubts"])]
    return sorted({what.split(" to the last digit")[0] for what in said if "in a row" in what})


@pytest.mark.parametrize("unit", ["us-survey-foot", "foot"])
@pytest.mark.parametrize(
    ("change", "word"),
    [
        *((pasted(axis), f"have the {name}s of rows 12 to 17") for axis, name in enumerate(["easting", "northing"])),
        (pasted(2), "have the heights of rows 12 to 17"),
        *((copied_down(axis), f"have one {name}") for axis, name in enumerate(["easting", "northing", "height"])),
    ],
)
def test_cells_of_one_column_are_told_as_in_metres(
    change: Callable[[Grid], None], word: str, unit: str, tmp_path: Path
) -> None:
    metres, feet = (told(written(tmp_path / of, of, change)) for of in ("metre", unit))
    assert [what for what in metres if word in what]
    assert feet == metres


@pytest.mark.parametrize("unit", [*UNITS])
@pytest.mark.parametrize("decimals", [2, 3, 4])
def test_an_honest_day_is_told_nothing_of(unit: str, decimals: int, tmp_path: Path) -> None:
    path = written(tmp_path, unit, nothing, decimals)
    assert told(path) == []
    assert run_written(path).record["verdict"] == "proven"
