"""Registers of old datums that lie farther beside those of satellites than marks lie from one another."""

from pathlib import Path

import numpy as np
import pytest
from pyproj import Transformer

from pipeline.new_job import new_job
from pipeline.new_job.common_shift import Names, agreement, agreement_by_name

#: Grids of such datums, a place in each [deg], and how far the registry's transformations move a position there [m].
GRIDS = {6316: (20.46, 44.80, 427), 24878: (-77.04, -12.05, 432), 30169: (139.70, 35.70, 463)}
#: Metres to the east and north at which the marks lie: the step between the datums leads from one beside another.
_MARKS = {
    "CP1": (0, 0),
    "CP2": (-520, 610),
    "CP3": (60, 830),
    "CP4": (-650, 10),
    "CP5": (-300, 300),
    "CP6": (250, -330),
}


def laid(folder: Path, grid: int, called: dict[str, str] | None = None) -> None:
    """Lay marks in a grid and readings on them, and points, in degrees of WGS 84; ``called`` are readings' names."""
    lon, lat, _ = GRIDS[grid]
    way = Transformer.from_crs(4326, grid, always_xy=True)
    marks, rows = ["Mark,E,N,Ellipsoidal height"], ["Point,UTC,Latitude,Longitude,Ellipsoidal height,Solution"]
    for number, (name, (east, north)) in enumerate(_MARKS.items()):
        x, y = lon + east / 111_000 / np.cos(np.radians(lat)), lat + north / 111_000
        first, second = way.transform(x, y)
        marks.append(f"{name},{first:.3f},{second:.3f},{100 + number}.250")
        read = (called or {}).get(name, name)
        rows.append(f"{read},2026-03-17T08:{number:02d}:00Z,{y + 9e-6:.9f},{x - 7e-6:.9f},{101 + number}.700,fix")
        rows.append(f"{number + 101},2026-03-17T08:{number + 20}:00Z,{y + 4e-4:.9f},{x:.9f},{102 + number}.1,fix")
    (folder / "control.csv").write_text("\n".join(marks))
    (folder / "rover.csv").write_text("\n".join(rows))


@pytest.mark.parametrize("grid", GRIDS)
def test_readings_are_on_the_marks_that_they_are_called_after(grid: int, tmp_path: Path) -> None:
    laid(tmp_path, grid)
    started = new_job(tmp_path)
    (asked,) = [one.question for one in started.asked if one.question.key == "target.grid"]
    assert f'"EPSG:{grid}"' in [one.value for one in asked.candidates]
    text = Path(started.path).read_text(encoding="utf-8")
    assert all(f'{{ point = "{name}", mark = "{name}" }}' in text for name in _MARKS)
    assert not any("states mark" in note for note in started.notes)


def test_a_chance_pair_of_other_names_is_none_beyond_a_base_s_error() -> None:
    marks = np.array([[0.0, 0.0], [0.0, 500.0], [700.0, 900.0]])
    readings = marks + np.array([0.0, 480.0])  # the first lies 20 m from the second mark, and 480 m from its own
    names = Names(np.arange(3), np.arange(3), 10.0)
    assert agreement(readings, marks, 400.0, 8.0) is not None
    assert agreement(readings, marks, 400.0, 8.0, names) is None
    found = agreement_by_name(readings, marks, names, 1500.0, 8.0)
    assert found is not None and found.distinct == 3
    assert found.shift == pytest.approx([0.0, -480.0])


def test_readings_beside_marks_of_other_names_are_still_on_these() -> None:
    marks = np.array([[0.0, 0.0], [0.0, 500.0], [700.0, 900.0]])
    names = Names(np.array([1, 2, 0]), np.arange(3), 30.0)  # numbered anew in the field
    found = agreement(marks + 2.0, marks, 400.0, 8.0, names)
    assert found is not None and found.distinct == 3
