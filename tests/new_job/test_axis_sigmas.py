"""Precisions along X, Y and Z go with the axes of the positions: the axes of grids differ, those of the earth's centre
are none of east, north and up."""

from pathlib import Path

import pytest
from folders_made import drafted, job_of, lay, write

from pipeline.new_job import new_job
from pipeline.new_job.start import Started

_HEADS = {"name": "Point", "time": "Time (UTC)", "height": "EllHt", "solution": "Sol", "base": "Base"}
_NAMES = {"sE": "sigma_east", "sN": "sigma_north", "sU": "sigma_up"}
_DEGREES = {"latitude": "Lat", "longitude": "Lon"}


def laid(folder: Path, places: dict[str, str], sigmas: dict[str, str]) -> Started:
    """Lay an export with positions and precisions under these headings by our words."""
    job = job_of()
    lay(folder, job)
    write(folder / "rover.csv", job, {**_HEADS, **places, **sigmas}, time="%Y-%m-%d %H:%M:%S.%f")
    return new_job(folder)


def sigmas_of(started: Started) -> dict[str, object]:
    return {word: name for word, name in drafted(started).blocks[0].columns.items() if word.startswith("sigma")}


GEOCENTRIC = {"x": "X", "y": "Y", "z": "Z"}


@pytest.mark.parametrize("form", ["s{}", "Std {}", "sigma_{}", "s{} [m]"])
def test_those_from_the_earths_centre_are_not_mapped_and_told(form: str, tmp_path: Path) -> None:
    east, north, up = (form.format(letter) for letter in "XYZ")
    started = laid(tmp_path, GEOCENTRIC, {"sigma_east": east, "sigma_north": north, "sigma_up": up})
    assert sigmas_of(started) == {}
    assert sum("geocentric axis" in note for note in drafted(started).blocks[0].notes) == 3


def test_of_positions_from_the_earths_centre_those_that_say_their_side_are_mapped(tmp_path: Path) -> None:
    started = laid(tmp_path, GEOCENTRIC, {word: name for name, word in _NAMES.items()})
    assert sigmas_of(started) == {word: name for name, word in _NAMES.items()}


@pytest.mark.parametrize("north", ["X", "X (North)", "Y"])
def test_those_of_a_grid_go_with_its_axes(north: str, tmp_path: Path) -> None:
    """The register says easting and northing, so that it is known which of X and Y of the export is which."""
    east = {"X": "Y", "X (North)": "Y (East)", "Y": "X"}[north]
    sigmas = {"sigma_north": f"s{north[0]}", "sigma_east": f"s{east[0]}", "sigma_up": "sZ"}
    started = laid(tmp_path, {"northing": north, "easting": east}, sigmas)
    block = drafted(started).blocks[0]
    assert (block.columns["northing"], block.columns["easting"]) == (north, east)
    assert sigmas_of(started) == sigmas


def test_where_the_axes_are_asked_they_are_asked_with_them(tmp_path: Path) -> None:
    sigmas = {"sigma_north": "sX", "sigma_east": "sY", "sigma_up": "sZ"}
    job = job_of()
    lay(tmp_path, job)
    register = (tmp_path / "control.csv").read_text(encoding="utf-8")
    register = register.replace("easting", "Y", 1).replace("northing", "X", 1)
    (tmp_path / "control.csv").write_text(register, encoding="utf-8")
    heads = {**_HEADS, "northing": "X", "easting": "Y", **sigmas}
    write(tmp_path / "rover.csv", job, heads, time="%Y-%m-%d %H:%M:%S.%f")
    started = new_job(tmp_path)
    assert "easting" in {one.question.key for one in started.asked}
    page = Path(started.path).read_text(encoding="utf-8")
    assert sigmas_of(started) == {"sigma_up": "sZ"}
    assert all(f'# {word} = "s{letter}"' in page for word in ("sigma_east", "sigma_north") for letter in "XY")


@pytest.mark.parametrize("up", ["sZ", "sU"])
def test_beside_degrees_nothing_says_where_their_axes_point(up: str, tmp_path: Path) -> None:
    started = laid(tmp_path, _DEGREES, {"sigma_east": "sX", "sigma_north": "sY", "sigma_up": up})
    assert sigmas_of(started) == ({"sigma_up": "sU"} if up == "sU" else {})
    notes = " ".join(drafted(started).blocks[0].notes)
    assert "which direction X is" in notes and "which direction Y is" in notes


def test_a_precision_to_the_height_alone_may_be_called_by_its_axis(tmp_path: Path) -> None:
    started = laid(tmp_path, _DEGREES, {"sigma_east": "sE", "sigma_north": "sN", "sigma_up": "sZ"})
    assert sigmas_of(started) == {"sigma_east": "sE", "sigma_north": "sN", "sigma_up": "sZ"}
