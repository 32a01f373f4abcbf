"""A small table: its heading that comes again among the rows, cells in other columns, a workbook that is not read."""

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


SET = "{:<10} {:>13} {:>13} {:>9}  {:<8}"


@pytest.mark.parametrize(
    "row",
    [
        ("CM 5", "", "5800280.001", "80.113", "peg"),
        ("CM5", "", "5800280.001", "80.113", "peg"),
        ("CM5", "399710.004", "", "80.113", ""),
        ("CM5", "399710.004", "5800280.001", "", "old peg"),
        ("CM5", "399710.004", "5800280.001", "", "1912"),
    ],
)
def test_cells_set_with_blanks_stand_in_their_own_columns(row: tuple[str, ...], tmp_path: Path) -> None:
    """A row may leave out cells at its end, and a number may be too long; none in between may be empty."""
    sound = [(f"CM{at}", f"{399700 + at}.123", f"{5800277 + at}.947", f"{83 + at}.165", "") for at in range(6)]
    sound += [("CORNER-OF-THE-HOUSE", "399707.491", "5800277.947", "83.165", "bolt")]
    header, known = (*KNOWN, "source"), (*KNOWN, "source")
    path = tmp_path / "marks.txt"
    for rows in (sound, [*sound, row]):
        path.write_text("\n".join(SET.format(*cells) for cells in [header, *rows]) + "\n")
        problems = Problems()
        sheet = read_sheet(path, "marks.txt", problems, known)
        assert (sheet is None) == (row in rows)
    (problem,) = map(str, problems.found)
    assert "marks.txt:9" in problem and "stand in other columns" in problem
