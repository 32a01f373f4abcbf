"""Exports whose degrees, minutes and seconds stand in columns of their own, with a sign or a hemisphere or without."""

from pathlib import Path

import pyarrow as pa
import pytest
from exports_made import block, problems_of, read, text_table
from openpyxl import Workbook

_BEHIND = "EllHt,Time"
_REST = "12.3,2026-03-12T01:00:00Z"
#: 36 + 50 / 60 + 12.345 / 3600 and 174 + 42 / 60 + 0.5 / 3600 degrees.
_SOUTH, _EAST = -36.83676250, 174.70013889


def _table(folder: Path, heading: str, row: str, latitude: str = "Lat deg", longitude: str = "Lon deg") -> pa.Table:
    columns = {"name": "Point", "latitude": latitude, "longitude": longitude, "height": "EllHt", "time": "Time"}
    text = f"Point,{heading},{_BEHIND}\n101,{row},{_REST}\n"
    return text_table(folder, text, columns, angles="dms")


@pytest.mark.parametrize(
    ("heading", "row"),
    [
        ("Lat deg,Lat min,Lat sec,Lon deg,Lon min,Lon sec", "-36,50,12.345,174,42,0.5"),
        ("Lat deg,Lat min,Lat sec,N/S,Lon deg,Lon min,Lon sec,E/W", "36,50,12.345,S,174,42,0.5,E"),
        ("N/S,Lat deg,Lat min,Lat sec,E/W,Lon deg,Lon min,Lon sec", "South,36,50,12.345,East,174,42,0.5"),
        ("sign,Lat deg,Lat min,Lat sec,sign2,Lon deg,Lon min,Lon sec", "-,36,50,12.345,+,174,42,0.5"),
        ("Lat deg,Lat min,Lon deg,Lon min", "-36,50.20575,174,42.0083333"),
        ("Lat deg,Min,Sec,Lon deg,Lon min,Lon sec", "-36,50,12.345,174,42,0.5"),
    ],
)
def test_they_are_read(heading: str, row: str, tmp_path: Path) -> None:
    table = _table(tmp_path, heading, row)
    assert table["detail"].to_pylist() == [None]
    found = table["first"].to_pylist() + table["second"].to_pylist()
    assert found == pytest.approx([_EAST, _SOUTH], abs=2e-9)


def test_minus_is_of_the_whole_angle(tmp_path: Path) -> None:
    table = _table(tmp_path, "Lat deg,Lat min,Lat sec,Lon deg,Lon min,Lon sec", "51,30,0,-0,7,30")
    assert table["first"].to_pylist() == pytest.approx([-0.125])


@pytest.mark.parametrize("row", ["36,,12.3,S,174,42,0.5,E", "36,60,12.3,S,174,42,0.5,E", "-36,50,12.3,S,174,42,0.5,E"])
def test_a_row_of_which_a_part_is_wrong_is_held(row: str, tmp_path: Path) -> None:
    heading = "Lat deg,Lat min,Lat sec,N/S,Lon deg,Lon min,Lon sec,E/W"
    table = _table(tmp_path, heading, f"36,50,12.345,S,174,42,0.5,E,{_REST}\n102,{row}")
    assert [detail is None for detail in table["detail"].to_pylist()] == [True, False]


def test_numbers_of_a_spreadsheet_are_read(tmp_path: Path) -> None:
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    names = "Lat deg,Lat min,Lat sec,N/S,Lon deg,Lon min,Lon sec,E/W"
    sheet.append(["Point", *names.split(","), "EllHt", "Time"])
    sheet.append(["101", 36, 50, 12.345, "S", 174, 42, 0.5, "E", 12.3, "2026-03-12T01:00:00Z"])
    book.save(tmp_path / "made.xlsx")
    columns = {"name": "Point", "latitude": "Lat deg", "longitude": "Lon deg", "height": "EllHt", "time": "Time"}
    table = read(tmp_path, block("made.xlsx", columns, angles="dms"))
    found = table["first"].to_pylist() + table["second"].to_pylist()
    assert found == pytest.approx([_EAST, _SOUTH], abs=2e-9)


def test_as_decimal_degrees_they_are_refused_with_the_key(tmp_path: Path) -> None:
    columns = {"name": "Point", "latitude": "Lat deg", "longitude": "Lon deg", "height": "EllHt", "time": "Time"}
    text = f"Point,Lat deg,Lat min,Lat sec,Lon deg,{_BEHIND}\n101,-36,50,12.345,174.7,{_REST}\n"
    (told,) = problems_of(tmp_path, "made.csv", text, columns=columns)
    assert 'state angles = "dms" for its block, which puts them together' in told


def test_whole_minutes_alone_are_refused(tmp_path: Path) -> None:
    """There may be seconds in a column that is called otherwise."""
    columns = {"name": "Point", "latitude": "Lat deg", "longitude": "Lon", "height": "EllHt", "time": "Time"}
    text = f"Point,Lat deg,Lat min,Lon,{_BEHIND}\n101,-36,50,174 42 0.5,{_REST}\n102,-36,51,174 42 0.6,{_REST}\n"
    (told,) = problems_of(tmp_path, "made.csv", text, columns=columns, angles="dms")
    assert '"Lat deg" (latitude) holds only degrees' in told
