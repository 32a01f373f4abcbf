"""A row of units below a header, in brackets or as a form of numbers: told as such, and the rows below it are read."""

from pathlib import Path

import pytest
from exports_made import text_table

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
