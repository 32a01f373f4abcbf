"""Heights of features, as of trees and poles, beside those of readings: which column a draft takes, and when it asks.

The heights of marks and of readings are invented; a base that stands 2.6 m too low puts all readings 2.6 m too low.
"""

import tomllib
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from folders_made import drafted

from pipeline.new_job import new_job

#: Heights of four marks, and of what is read in turn, marks by their name.
_MARKS = {"CP1": 65.807, "CP2": 62.413, "CP3": 55.793, "CP4": 57.747}
_READ = ["CP1", "CP2", "CP3", *(str(number) for number in range(101, 119)), "CP4", "CP2", "CP1"]

Feature = Callable[[int, str], str]


def _ground(at: int, name: str) -> float:
    return _MARKS.get(name, 58.0 + at * 37 % 11 * 0.731)


def _of_trees(at: int, name: str) -> str:
    return f"{4 + at % 4 / 2:.1f}" if at % 5 == 0 and name not in _MARKS else ""


def _of_all(at: int, name: str) -> str:
    return f"{3 + at * 7 % 11 / 2:.1f}"


def _of_poles(at: int, name: str) -> str:
    return "1.800" if at < 9 else "2.300"


def _lay(folder: Path, feature: str, real: str, below: Feature, like: str, level: float = -2.6) -> None:
    """Write a register whose heights are headed ``like``, and an export with the heights of features before its own."""
    marks = [f"Mark,E,N,{like}", *(f"{name},{7000 + 60 * at}.000,{3000 + 45 * at}.000,{height:.3f}"
             for at, (name, height) in enumerate(_MARKS.items()))]  # fmt: skip
    rows = [f"Point,{feature},E,N,{real},UTC"]
    for at, name in enumerate(_READ):
        number = list(_MARKS).index(name) if name in _MARKS else at
        east, north = (7000 + 60 * number, 3000 + 45 * number) if name in _MARKS else (7100 + 9 * at, 3200 - 7 * at)
        rows.append(f"{name},{below(at, name)},{east}.412,{north}.207,{_ground(at, name) + level:.3f},"
                    f"2026-03-17T07:{30 + at:02d}:00Z")  # fmt: skip
    (folder / "control.csv").write_text("\n".join(marks) + "\n")
    (folder / "day.csv").write_text("\n".join(rows) + "\n")


def _heights(folder: Path) -> tuple[str | None, list[str]]:
    """Return the column that is taken for the heights, and those that are asked for."""
    started = new_job(folder)
    (block,) = tomllib.loads(Path(started.path).read_text())["points"]
    (drawn,) = drafted(started).blocks
    asked = [one.value for each in drawn.asks if each.key == "height" for one in each.candidates]
    return block["columns"].get("height"), asked


@pytest.mark.parametrize("below", [_of_trees, _of_all, _of_poles])
@pytest.mark.parametrize(
    ("feature", "real"),
    [("Höhe", "DHHN2016"), ("Höjd", "RH2000"), ("Altura", "Cota"), ("Height", "ODN"), ("Wysokość", "Rzędna")],
)
def test_the_heights_of_readings_are_taken(tmp_path: Path, feature: str, real: str, below: Feature) -> None:
    _lay(tmp_path, feature, real, below, real)
    assert _heights(tmp_path) == (real, [])


@pytest.mark.parametrize("below", [_of_trees, _of_all])
def test_they_are_so_too_where_the_register_calls_its_heights_as_the_features_are(
    tmp_path: Path, below: Feature
) -> None:
    _lay(tmp_path, "Height", "RL", below, "Height")
    assert _heights(tmp_path) == ("RL", [])


def test_without_a_known_heading_a_column_that_follows_the_marks_is_asked_for(tmp_path: Path) -> None:
    _lay(tmp_path, "Height", "Result3", _of_poles, "Height")
    assert _heights(tmp_path) == (None, ['"Result3"'])


def test_where_marks_are_level_the_two_are_asked_for(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for mark in _MARKS:
        monkeypatch.setitem(_MARKS, mark, 61.2)
    _lay(tmp_path, "Height", "ODN", _of_all, "ODN")
    assert _heights(tmp_path) == (None, ['"ODN"', '"Height"'])


@pytest.mark.parametrize("heads", [("Ort. height", "Height"), ("Design level", "Height"), ("Code", "H")])
def test_heights_that_follow_the_marks_stay(tmp_path: Path, heads: Sequence[str]) -> None:
    _lay(tmp_path, heads[0], heads[1], _of_trees, "Height")
    assert _heights(tmp_path) == (heads[1], [])
