"""A small table: its heading that comes again among the rows, and a spreadsheet that is not read."""

from pathlib import Path

import pytest

from pipeline.files.sheet import read_sheet
from pipeline.problems import Problems

KNOWN = ("mark", "easting", "northing", "height")
ROW = "CM1,399707.491,5800277.947,83.165"


@pytest.mark.parametrize(
    "again, says",
    [
        ("mark,easting,northing,height", "delete this line"),
        ("Mark, Easting ,NORTHING,height", "delete this line"),
        ("mark,northing,easting,height", "differ from those above"),
        ("mark,easting,northing,remark,height", "differ from those above"),
    ],
)
def test_a_heading_again_is_told_once_at_its_line(tmp_path, again, says):
    (tmp_path / "marks.csv").write_text(f"mark,easting,northing,height\n{ROW}\n{again}\n{ROW}\n")
    problems = Problems()
    assert read_sheet(tmp_path / "marks.csv", "marks.csv", problems, KNOWN) is None
    (problem,) = map(str, problems.found)
    assert "marks.csv:3" in problem and says in problem


def test_a_mark_called_like_a_column_is_a_mark(tmp_path):
    (tmp_path / "marks.csv").write_text(f"mark,easting,northing,height\n{ROW}\nheight,1.0,2.0,3.0\n")
    assert read_sheet(tmp_path / "marks.csv", "marks.csv", Problems(), KNOWN) is not None


@pytest.mark.parametrize(
    ("name", "head", "says"),
    [
        ("marks.ods", b"PK\x03\x04mimetype", "the format .ods is not read"),
        ("marks.xls", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "the format .xls is not read"),
        ("marks.csv", b"PK\x03\x04mimetype", "the content does not match the ending .csv"),
        ("marks.txt", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", "the content does not match the ending .txt"),
    ],
)
def test_a_spreadsheet_that_is_not_read_is_told_as_one(name: str, head: bytes, says: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(head + b"\x14\x00\x00")
    problems = Problems()
    assert read_sheet(tmp_path / name, name, problems, KNOWN) is None
    (problem,) = problems.found
    assert says in problem.what and problem.fix == "save it as .xlsx or .csv"
