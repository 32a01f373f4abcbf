"""The file of marks in a site's own system: what is taken, and what is refused at its line."""

from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_array_equal

from pipeline.control.site_marks import SiteMarks, read_site_marks
from pipeline.problems import Problems


def read(folder: Path, text: str, heights: bool = True) -> tuple[SiteMarks | None, str]:
    path, problems = folder / "site.csv", Problems()
    path.write_text(text, encoding="utf-8")
    found = read_site_marks(path, "site.csv", problems, heights=heights)
    return found, "\n".join(f"{one.line}: {one.what}; {one.fix}" for one in problems.found)


def test_marks_with_and_without_heights(tmp_path: Path) -> None:
    text = "mark,easting,northing,height,note\nA,1000,5000.25,12.5,x\nB,1100,5050,,\n"
    found, told = read(tmp_path, text)
    assert found is not None and not told
    assert found.names == ("A", "B") and found.lines == (2, 3) and found.rows == 2
    assert_array_equal(found.places, [[1000, 5000.25, 12.5], [1100, 5050, np.nan]])
    assert len(found.sha256) == 64


@pytest.mark.parametrize(
    "text", ["mark,easting,northing\nA,1,2\nB,3,4\n", "mark;easting;northing\nA;1,0;2,0\nB;3,0;4,0\n"]
)
def test_heights_may_be_absent_where_they_stay(text: str, tmp_path: Path) -> None:
    found, told = read(tmp_path, text, heights=False)
    assert found is not None and not told
    assert_array_equal(found.places[:, :2], [[1, 2], [3, 4]])
    missing, told = read(tmp_path, text)
    assert missing is None and "'height'" in told and 'height = "none"' in told


@pytest.mark.parametrize(
    "text",
    ["mark,easting,northing,height\nA,1,2,12.5\nB,3,4,-\n", "mark;easting;northing;height\nA;1;2;12,5\nB;3;4;-\n"],
)
def test_heights_that_are_not_wanted_are_kept_with_the_decimal_sign_of_the_file(text: str, tmp_path: Path) -> None:
    found, told = read(tmp_path, text, heights=False)
    assert found is not None and not told
    assert_array_equal(found.unused_heights, [12.5, np.nan])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("mark,east,northing,height\nA,1,2,3\n", "1: the column 'easting'"),
        ("mark,easting,northing,height\nA,1,x,3\n", "2: mark 'A': northing 'x' is not a number"),
        ("mark,easting,northing,height\nA,1,2,3\nA,1,2.5,3\n", "3: mark 'A' is listed twice"),
        ("mark,easting,northing,height\nA,1,,3\n", "2: mark 'A' has no northing"),
        ("mark,easting,northing,height\nA,1,2,1e99\n", "is not a place on earth"),
        ("", "site.csv"),
    ],
)
def test_what_is_refused(text: str, words: str, tmp_path: Path) -> None:
    found, told = read(tmp_path, text)
    assert found is None
    assert words in told or not text, told
    assert told
