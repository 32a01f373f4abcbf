"""Cells that hold a whole position are told as such, with what to do; cells that hold one number are not."""

from pathlib import Path

import pytest

from pipeline.new_job.look import FileLook
from pipeline.new_job.numbers_together import numbers_together


@pytest.mark.parametrize(
    "cells",
    [
        ["POINT Z (-74.101202948 4.704144153 2575.647)", "POINT Z (-74.1 4.7 2575.1)"],
        ["point(172.1 -43.5)"],
        ["SRID=4326;POINT (8.5 47.1)"],
        ["-34.404403373, -56.195015489", "-34.400253850, -56.196341118"],
        ["(47.123456,8.512345,412.3)"],
        ["47,123456; 8,512345"],
        ["1507317.384 5160325.821 326.3"],
    ],
)
def test_a_whole_position_in_a_cell_is_told(cells: list[str]) -> None:
    look = FileLook(Path("a.csv"), "a.csv", {"Point": ["101"] * len(cells), "geom": cells})
    told = numbers_together(look)
    assert told.startswith('"geom" holds a whole position in each cell') and "a column of its own" in told
    assert ("longitude or easting stands first" in told) == ("POINT" in cells[0].upper())


@pytest.mark.parametrize(
    "cells",
    [
        ["5,123,456.789"], ["5123456,789"], ["5 123 456,789"], ["36 50 12.345 S"], ["36 50.12345"],
        ["2026-03-17 08:00"], ["12.5"], ["POINT Z (8.5 47.1 3.2)", "x"], ["FENCE 12.345"], [""],
    ],
)  # fmt: skip
def test_one_number_or_another_text_is_not(cells: list[str]) -> None:
    assert numbers_together(FileLook(Path("a.csv"), "a.csv", {"a": cells})) == ""
