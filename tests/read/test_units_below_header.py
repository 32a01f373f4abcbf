"""A row of units below a header, in brackets or as a form of numbers: told as such, and the rows below it are read."""

from pathlib import Path

import pytest
from exports_made import problems_of, text_table

_HEAD = "Point,Code,Lat,Lon,Height,Time"
_ROWS = "101,KERB,-43.5,172.6,12.3,2026-03-12T01:00:00Z\n102,KERB,-43.6,172.7,12.4,2026-03-12T01:01:00Z\n"
_COLUMNS = {"name": "Point", "code": "Code", "latitude": "Lat", "longitude": "Lon", "height": "Height", "time": "Time"}


@pytest.mark.parametrize(
    "units",
    [",,[deg],[deg],[m],UTC", ",,(°),(°),(m),", ",,dd.dddd,ddd.dddd,m,yyyy-mm-dd", "-,-,deg,deg,m,[UTC]", ",,,,[m],"],
)
def test_it_is_told_as_such(units: str, tmp_path: Path) -> None:
    table = text_table(tmp_path, f"{_HEAD}\n{units}\n{_ROWS}", _COLUMNS)
    assert table["detail"].to_pylist() == ["this is the row of units below the header", None, None]
    assert [bool(held) for held in table["held"].to_pylist()] == [True, False, False]


def test_a_reading_without_a_position_is_none(tmp_path: Path) -> None:
    table = text_table(tmp_path, f"{_HEAD}\n100,KERB,,,,2026-03-12T00:59:00Z\n{_ROWS}", _COLUMNS)
    assert "units" not in table["detail"].to_pylist()[0]


def test_a_reading_with_one_odd_cell_is_none(tmp_path: Path) -> None:
    table = text_table(tmp_path, f"{_HEAD}\n100,KERB,-43.4,172.5,m,2026-03-12T00:59:00Z\n{_ROWS}", _COLUMNS)
    assert "units" not in table["detail"].to_pylist()[0]


_SIGMAS = {**_COLUMNS, "sigma_east": "sE", "sigma_north": "sN", "sigma_up": "sU"}
_IN_MM = (
    "101,KERB,-43.5,172.6,12.3,2026-03-12T01:00:00Z,8,9,15\n102,KERB,-43.6,172.7,12.4,2026-03-12T01:01:00Z,7,8,14\n"
)


@pytest.mark.parametrize("unit", ["mm", "[mm]", "(mm)", "Millimeter"])
def test_precisions_are_read_as_it_says(unit: str, tmp_path: Path) -> None:
    text = f"{_HEAD},sE,sN,sU\n,,deg,deg,m,,{unit},{unit},{unit}\n{_IN_MM}"
    table = text_table(tmp_path, text, _SIGMAS)
    assert table["detail"].to_pylist() == ["this is the row of units below the header", None, None]
    assert table["sigma_east"].to_pylist()[1:] == pytest.approx([0.008, 0.007])
    assert table["sigma_up"].to_pylist()[1:] == pytest.approx([0.015, 0.014])


def test_each_precision_has_its_own(tmp_path: Path) -> None:
    """Centimetres, millimetres by the heading with nothing below it, and metres."""
    columns = {**_SIGMAS, "sigma_north": "sN [mm]"}
    rows = "101,KERB,-43.5,172.6,12.3,2026-03-12T01:00:00Z,0.8,9,0.015\n"
    table = text_table(tmp_path, f"{_HEAD},sE,sN [mm],sU\n,,deg,deg,m,,cm,,m\n{rows}", columns)
    found = [table[f"sigma_{side}"].to_pylist()[1] for side in ("east", "north", "up")]
    assert found == pytest.approx([0.008, 0.009, 0.015])


def test_the_same_row_again_is_no_other(tmp_path: Path) -> None:
    """Two exports put together, each with its heading and its row of units."""
    part = f"{_HEAD},sE,sN,sU\n,,deg,deg,m,,mm,mm,mm\n{_IN_MM}"
    table = text_table(tmp_path, part + part, _SIGMAS)
    assert table["sigma_up"].to_pylist()[5:] == pytest.approx([0.015, 0.014])


@pytest.mark.parametrize(
    ("names", "first", "then", "told"),
    [
        ("sE,sN,sU", "m,m,m", "mm,mm,mm", "read in, metre"),
        ("sE,sN,sU", "mm,mm,mm", "m,m,m", "read in, millimetre"),
        ("sE,sN,sU", "mm,mm,mm", "cm,mm,mm", "read in, millimetre"),
        ("sE [m],sN [m],sU [m]", "mm,mm,mm", "", "different unit"),
        ("sE [mm],sN [mm],sU [mm]", "m,m,m", "", "read in, millimetre"),
    ],
)
def test_two_that_say_different_units_are_refused(names: str, first: str, then: str, told: str, tmp_path: Path) -> None:
    heads = dict(zip(("sigma_east", "sigma_north", "sigma_up"), names.split(","), strict=True))
    text = f"{_HEAD},{names}\n,,deg,deg,m,,{first}\n{_IN_MM}"
    text += f"{_HEAD},{names}\nx,x,deg,deg,m,UTC,{then}\n{_IN_MM}" if then else ""
    columns = {**_COLUMNS, **heads}
    found = problems_of(tmp_path, "made.csv", text, columns=columns)
    assert len(found) == 1 and told in found[0] and f"made.csv:{2 if not then else 6}:" in found[0]
