"""A small table of text: its heading that comes again among the rows."""

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
