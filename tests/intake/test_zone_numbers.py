"""Eastings that carry the number of their zone: told with the CRS that has them, left alone where the CRS has them."""

from pathlib import Path

import pytest
from registers_read import read_all_marks

from pipeline.intake.zone_numbers import check_zone_numbers, zone_before
from pipeline.problems import Problems

#: A place near Berlin in zone 33 (EPSG:25833; with the zone's number EPSG:5650), and in a Gauss-Krueger zone 5.
UTM, GK = (399707.491, 5800277.947), (5399707.0, 5802100.0)


def told(folder: Path, stated: str, *places: tuple[float, float]) -> list[str]:
    rows = "".join(f"CM{at},{east},{north},83.1\n" for at, (east, north) in enumerate(places, start=1))
    register, problems = read_all_marks(folder, f"mark,easting,northing,height\n{rows}"), Problems()
    check_zone_numbers(register, stated, problems)
    return [str(problem) for problem in problems.found]


def test_a_zone_before_eastings_of_utm_is_told_with_the_crs_that_has_it(tmp_path: Path) -> None:
    (problem,) = told(tmp_path, "EPSG:25833", (33e6 + UTM[0], UTM[1]), (33e6 + UTM[0] + 50, UTM[1]))
    assert problem.startswith("marks.csv:2: ") and "zone 33 and 399707.491" in problem and "EPSG:5650" in problem


@pytest.mark.parametrize(
    ("stated", "places"),
    [
        ("EPSG:25833", [UTM]),
        ("EPSG:5650", [(33e6 + UTM[0], UTM[1])]),
        ("EPSG:31469", [GK]),  # its eastings have the zone's number by definition
        ("EPSG:25833", [(33e6 + UTM[0], UTM[1]), UTM]),  # one slip: no zone's number
        ("EPSG:2193", [(1570000.0, 5180000.0)]),
    ],
)
def test_registers_that_are_in_order(tmp_path: Path, stated: str, places: list[tuple[float, float]]) -> None:
    assert told(tmp_path, stated, *places) == []


@pytest.mark.parametrize("easting", [399707.0, 1_570_000.0 - 700_000.0, 61_500_000.0])
def test_no_zone(easting: float) -> None:
    assert zone_before(easting) == ""
